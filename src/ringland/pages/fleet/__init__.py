"""The week's list."""
