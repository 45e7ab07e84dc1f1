"""What was known when: corrections, meters, engines and installations, lives, doubts."""
