"""The tables of the score, each declared once."""

from __future__ import annotations

import dataframely as dy


class ForecastScores(dy.Schema):
    """One row per forecaster: how far its chances were from what came true."""

    forecaster = dy.String(primary_key=True)
    n_hull_weeks = dy.Int64(min=0)
    n_failures = dy.Int64(min=0, description="hull-weeks followed by a failure in time")
    brier = dy.Float64(min=0, description="mean squared error of the chance; lower is better")
    tool_better_by = dy.Float64(nullable=True, description="its Brier less the tool's")
    tool_better_low = dy.Float64(nullable=True, description="limits by drawing hulls")
    tool_better_high = dy.Float64(nullable=True)
    verdict = dy.String(description="in words")


class Warnings(dy.Schema):
    """One row per warning: a hull flagged in one report or in several in a row."""

    hull_id = dy.String(primary_key=True)
    first_at = dy.Datetime(time_zone="UTC", primary_key=True)
    last_at = dy.Datetime(time_zone="UTC")
    n_weeks = dy.Int64(min=1)
    failed_at = dy.Datetime(
        time_zone="UTC", nullable=True, description="within the horizon of one of its flags"
    )
    lead_d = dy.Float64(nullable=True, description="days from the first flag to that failure")


class FailureLeads(dy.Schema):
    """One row per failure in the scored weeks: was the hull flagged, and how long before?"""

    hull_id = dy.String(primary_key=True)
    failed_at = dy.Datetime(time_zone="UTC", primary_key=True)
    weeks_before = dy.Int64(min=1, description="reports in the horizon before it that named it")
    weeks_flagged = dy.Int64(min=0)
    lead_d = dy.Float64(nullable=True, description="days from the first flag; null: not flagged")
    last_chance = dy.Float64(nullable=True, description="the chance in the last report before")


class CalibrationRows(dy.Schema):
    """One row per group of hull-weeks of like chance: what was said and what came true."""

    said = dy.Float64(min=0, max=1)
    came_true = dy.Float64(
        nullable=True, min=0, max=1, description="null: nobody was followed to the end"
    )
    low = dy.Float64()
    high = dy.Float64()
    n_hull_weeks = dy.Int64(min=1)
    n_failures = dy.Int64(min=0)
