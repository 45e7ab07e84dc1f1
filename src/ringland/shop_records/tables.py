"""The tables this room hands on, each declared once."""

from __future__ import annotations

import dataframely as dy

from ringland.shop_records.contracts import FAILURE_MODES

LIFE_STATES = ["failed", "removed", "withdrawn", "running"]


class EngineSessions(dy.Schema):
    """One row per rental, with the engine that ran it and its hours.

    Engine hours follow the hour meter where two good readings enclose the session:
    the sessions between them are stretched to explain the difference.
    """

    hull_id = dy.String()
    started_at = dy.Datetime(time_zone="UTC")
    ended_at = dy.Datetime(time_zone="UTC")
    dock_id = dy.String(description="the hull's home dock")
    engine_id = dy.String()
    piston_set_id = dy.String(nullable=True)
    calibration = dy.String(nullable=True, description="class in force; null: not on record")
    octane_need_aki = dy.Float64(nullable=True)
    cruise_burn_l_h = dy.Float64(nullable=True)
    full_burn_l_h = dy.Float64(nullable=True)
    full_throttle_share = dy.Float64(nullable=True)
    burned_l = dy.Float64(nullable=True, description="only where somebody measured it")
    running_h = dy.Float64(description="as recorded")
    engine_h_start = dy.Float64(description="engine hours before the session")
    engine_h_stop = dy.Float64(description="engine hours after the session")
    set_h_start = dy.Float64(nullable=True, description="hours since the piston set was fitted")
    set_h_stop = dy.Float64(nullable=True)
    is_on_meter = dy.Bool(description="hours agree with two good meter readings around it")


class PistonLives(dy.Schema):
    """One row per piston set: from when it was seen, to what happened to it.

    Hours count from when the set was fitted.  The set was under observation in
    (entry_h, exit_h].  `mode` is set if and only if `state` is 'failed'.
    """

    piston_set_id = dy.String(primary_key=True)
    engine_id = dy.String()
    hull_id = dy.String(nullable=True, description="the hull it sat in last: the cluster")
    dock_id = dy.String(nullable=True)
    piston_type = dy.String()
    supplier_grade = dy.String()
    build_number = dy.Int64(min=1, description="1 for the engine's first set on record")
    fitted_at = dy.Datetime(time_zone="UTC")
    ended_at = dy.Datetime(time_zone="UTC", nullable=True)
    entry_h = dy.Float64(min=0)
    exit_h = dy.Float64(min=0)
    state = dy.String(check=lambda col: col.is_in(LIFE_STATES))
    mode = dy.String(nullable=True, check=lambda col: col.is_in(FAILURE_MODES))
    last_good_h = dy.Float64(
        nullable=True,
        description="for a failure found at an inspection: last hours known good",
    )
