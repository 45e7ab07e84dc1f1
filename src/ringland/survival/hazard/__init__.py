"""Hazards that give chances, and the checks of their fit."""
