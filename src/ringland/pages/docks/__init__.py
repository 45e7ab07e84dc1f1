"""Docks side by side."""
