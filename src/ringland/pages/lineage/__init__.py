"""The sets and failures behind each effect."""
