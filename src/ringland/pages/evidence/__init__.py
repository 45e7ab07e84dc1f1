"""How we know."""
