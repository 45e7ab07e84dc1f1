"""Repeated repairs: mean cumulative function and power law."""
