"""Cause reports, rebuild sheets and the bench form as pages."""
