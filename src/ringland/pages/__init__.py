"""What a person reads: one folder a page."""
