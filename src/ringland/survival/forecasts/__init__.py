"""Judging forecasts: scores, ranking and calibration."""
