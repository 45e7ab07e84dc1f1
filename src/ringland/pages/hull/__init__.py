"""A hull's page."""
