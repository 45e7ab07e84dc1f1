"""The week's mail."""
