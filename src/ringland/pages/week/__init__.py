"""A week's numbers and lines that several pages show."""
