"""What a reading means: tests, limits, trends, verdicts."""
