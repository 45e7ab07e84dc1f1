"""What the cheap fuel costs."""
