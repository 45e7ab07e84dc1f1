"""What may be done, at what price, and within which rules and limits."""
