"""What each step changes, in money and in the chance of a failure."""
