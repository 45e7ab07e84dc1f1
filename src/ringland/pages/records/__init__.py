"""The state of the records."""
