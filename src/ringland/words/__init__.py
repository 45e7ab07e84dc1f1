"""Figures as words and the fixed words that two rooms or more share."""
