"""The tables this room hands on, each declared once."""

from __future__ import annotations

import dataframely as dy


class HullChances(dy.Schema):
    """One row per hull in service: the chance that its running piston set fails."""

    hull_id = dy.String(primary_key=True)
    dock_id = dy.String()
    engine_id = dy.String(nullable=True)
    piston_set_id = dy.String(nullable=True)
    age_h = dy.Float64(nullable=True, description="engine hours since the set was fitted")
    expected_h_7d = dy.Float64(nullable=True)
    expected_h_30d = dy.Float64(nullable=True)
    chance_7d = dy.Float64(nullable=True)
    chance_7d_low = dy.Float64(nullable=True)
    chance_7d_high = dy.Float64(nullable=True)
    chance_30d = dy.Float64(nullable=True)
    chance_30d_low = dy.Float64(nullable=True)
    chance_30d_high = dy.Float64(nullable=True)
    why_not = dy.String(nullable=True, description="why no chance is given; null: one is given")


class HullDrivers(dy.Schema):
    """One row per hull and factor: its part of the log hazard against the fleet's middle."""

    hull_id = dy.String()
    factor = dy.String()
    value = dy.Float64()
    fleet_middle = dy.Float64()
    log_hazard_part = dy.Float64(description="(value - fleet middle) x coefficient")
    is_assumed = dy.Bool(description="rests to a good part on what is not on record")


class ChanceInputs(dy.Schema):
    """One row per running set and input of its chance, so that next week can say what changed."""

    hull_id = dy.String(primary_key=True)
    piston_set_id = dy.String()
    name = dy.String(primary_key=True)
    value = dy.Float64(nullable=True)


class ChanceParts(dy.Schema):
    """One row per hull and part of the change of its chance in 30 days since the week before.

    `by` of a hull's rows adds up to `chance_now` less `chance_then`.
    """

    hull_id = dy.String(primary_key=True)
    place = dy.Int64(min=1, description="the order in which the parts were taken")
    part = dy.String(
        primary_key=True,
        description="refit, hours, season, fuel, throttle, calibration, other; or set: renewed",
    )
    chance_then = dy.Float64(min=0, max=1)
    chance_now = dy.Float64(min=0, max=1)
    by = dy.Float64(min=-1, max=1)
