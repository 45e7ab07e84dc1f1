"""The assets of each room."""
