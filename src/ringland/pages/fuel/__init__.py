"""The fuel pages: docks and tanks."""
