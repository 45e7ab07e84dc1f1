"""The week's tables."""
