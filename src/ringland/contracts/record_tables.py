"""The tables this room hands on, each declared once."""

from __future__ import annotations

import dataframely as dy

from ringland.contracts.record_columns import FAILURE_MODES

LIFE_STATES = ["failed", "removed", "withdrawn", "running"]
BENCH_VERDICTS = ["pass", "fail", "lap and retest", "cannot be", "cannot judge"]
HOUR_LINE_REPAIRS = ["rolled over", "reset", "new meter"]
RECORD_CHANGES = ["corrected", "withdrawn", "came later"]
RECORD_FLAGS = [
    "meter_runs_backwards",
    "meter_over_24_h_a_day",
    "meter_factor_ten",
    "meter_digits_swapped",
    "meter_rolled_over",
    "meter_reset",
    "meter_counts_key_on",
    "sessions_overlap",
    "sessions_without_fills",
    "fills_without_sessions",
    "written_in_batches",
    "fill_above_tank",
    "fill_written_twice",
    "fill_taken_back",
    "ran_on_no_fuel",
    "pump_counts_back",
    "fuel_balance_off",
    "fuel_unexplained",
    "label_off_blend",
    "calibration_gap",
    "need_below_spark",
    "reading_cannot_be",
    "reading_asks",
    "two_engines_in_hull",
    "engine_in_two_hulls",
    "meter_and_sessions_disagree",
    "no_engine_in_hull",
    "before_engine_record",
    "fitted_hours_disagree",
    "failure_without_piston_set",
    "failure_on_failed_set",
    "job_unknown",
    "job_without_result",
    "hull_left_out",
]


class SetAside(dy.Schema):
    """One row per fault in a row that was not loaded; a row with two faults stands twice.

    `raw_row` is the whole row as it was written, as JSON, so that nothing is lost.
    """

    kind = dy.String(description="record kind the row was meant for")
    source_file = dy.String()
    source_row = dy.Int64(description="row in the file as the user sees it; the header is row 1")
    field = dy.String(nullable=True, description="column at fault; null: the row as a whole")
    fault = dy.String(description="what is wrong, in plain words")
    remedy = dy.String(description="what to do about it, in plain words")
    value = dy.String(nullable=True, description="the text found there")
    raw_row = dy.String()


class LostCells(SetAside):
    """One row per cell that could not be read of a row that was loaded without it."""

    record_key = dy.String(description="of the record, as a correction names it")


class RecordChanges(dy.Schema):
    """One row per cell that differs, and one per record that came or went."""

    record_kind = dy.String()
    record_key = dy.String()
    change = dy.String(check=lambda col: col.is_in(RECORD_CHANGES))
    field = dy.String(nullable=True, description="null: the whole record")
    before = dy.String(nullable=True)
    after = dy.String(nullable=True)
    why = dy.String()


class RecordFlags(dy.Schema):
    """One row per doubt about loaded records: what does not fit, and what was done about it."""

    flag = dy.String(check=lambda col: col.is_in(RECORD_FLAGS))
    hull_id = dy.String(nullable=True)
    engine_id = dy.String(nullable=True)
    noted_at = dy.Datetime(time_zone="UTC", description="the instant of the record in doubt")
    sentence = dy.String(description="what does not fit and what was done, in plain words")
    remedy = dy.String(description="what its operator can do about it, in plain words")
    record_kind = dy.String(nullable=True, description="null: the doubt is about no one record")
    record_key = dy.String(
        nullable=True, description="of the record in doubt, as a correction names it"
    )


class HourLine(dy.Schema):
    """One row per good meter reading: the hull's hours along its meters and by its rentals.

    Both lines begin at zero with the hull's first good reading.  Where a meter was replaced
    or reset the line goes on with the rentals' hours.
    """

    hull_id = dy.String()
    meter_id = dy.String()
    read_at = dy.Datetime(time_zone="UTC")
    meter_h = dy.Float64(description="as shown")
    line_h = dy.Float64(description="hours of the hull along its meters since the first reading")
    rentals_h = dy.Float64(description="running hours written down for its rentals since then")
    residual_h = dy.Float64(description="line_h less rentals_h: running on no rental's record")
    repair = dy.String(
        nullable=True,
        description="how the line was carried on here; null: the meter alone",
        check=lambda col: col.is_in(HOUR_LINE_REPAIRS),
    )


class OctaneScaleChances(dy.Schema):
    """One row per fill or delivery with an octane number whose scale nobody wrote down."""

    kind = dy.String(check=lambda col: col.is_in(["fills", "deliveries"]))
    hull_id = dy.String(nullable=True)
    dock_id = dy.String(nullable=True, description="of the bulk tank, else the hull's home dock")
    at = dy.Datetime(time_zone="UTC")
    octane_unlabelled = dy.Float64()
    chance_aki = dy.Float64(min=0, max=1)
    chance_ron = dy.Float64(min=0, max=1)
    chance_mon = dy.Float64(min=0, max=1)


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


class BenchVerdicts(dy.Schema):
    """One row per inspection reading: raw value, judged value, limit, verdict and why."""

    engine_id = dy.String()
    inspected_at = dy.Datetime(time_zone="UTC")
    measure = dy.String()
    cylinder = dy.Int64(nullable=True)
    port = dy.String(nullable=True)
    state = dy.String()
    value = dy.Float64(nullable=True, description="as read")
    unit = dy.String(nullable=True, description="as read")
    standard_value = dy.Float64(nullable=True, description="in the measure's standard unit")
    standard_unit = dy.String()
    station_kpa = dy.Float64(nullable=True)
    station_source = dy.String(nullable=True)
    verdict = dy.String(
        description="pass, fail, lap and retest, cannot be, cannot judge",
        check=lambda col: col.is_in(BENCH_VERDICTS),
    )
    reason = dy.String()
    judged_value = dy.Float64(nullable=True, description="what was held against the limit")
    judged_unit = dy.String(nullable=True)
    limit = dy.Float64(nullable=True)
    is_limit_least = dy.Bool(nullable=True, description="the judged value must reach the limit")
    mark = dy.String(nullable=True, description="how well founded the limit is")
    asks = dy.String(nullable=True, description="what has to be written before it is sure")
    rebuilt_at = dy.Datetime(
        time_zone="UTC", nullable=True, description="the rebuild this reading accepts"
    )
    signed_by = dy.String(nullable=True)
    accepted_because = dy.String(nullable=True)


class StandingFailures(dy.Schema):
    """One row per engine and measure whose newest failed test no later test answers."""

    engine_id = dy.String(primary_key=True)
    measure = dy.String(primary_key=True)
    failed_at = dy.Datetime(time_zone="UTC")
    cylinder = dy.Int64(nullable=True, description="of the first failed reading of that test")
    port = dy.String(nullable=True)
    reason = dy.String()
    retested_at = dy.Datetime(
        time_zone="UTC", nullable=True, description="the last test since, which answers nothing"
    )
    released_by = dy.String(nullable=True, description="null: it binds")
    released_at = dy.Datetime(time_zone="UTC", nullable=True)
    released_because = dy.String(nullable=True)
    released_until = dy.Datetime(time_zone="UTC", nullable=True)


class OpenSheets(dy.Schema):
    """One row per engine whose rebuild has not passed its acceptance."""

    engine_id = dy.String(primary_key=True)
    rebuilt_at = dy.Datetime(time_zone="UTC")
    open_lines = dy.Int64(
        min=1, description="of the build sheet: missing, out of limit, not signed"
    )
    first_open = dy.String()


class SheetWaivers(dy.Schema):
    """One row per line of a rebuild's sheet that somebody let go and no later sheet passed."""

    engine_id = dy.String(primary_key=True)
    line = dy.String(primary_key=True, description="the check and its place")
    rebuilt_at = dy.Datetime(time_zone="UTC")
    waiver = dy.String(description="what was wrong, who let it go and why")


class RecordQuality(dy.Schema):
    """One row per hull in service: how much of what it did is on record."""

    hull_id = dy.String(primary_key=True)
    engine_id = dy.String(nullable=True, description="the engine in it; null: none on record")
    days_since_session = dy.Float64(nullable=True, description="null: no rental on record")
    days_since_reading = dy.Float64(nullable=True, description="null: no good meter reading")
    on_meter_share = dy.Float64(
        nullable=True, description="share of the hull's running hours kept to the hour meter"
    )
    has_bench_test = dy.Bool(
        description="compression or leak-down measured on this engine since its set was fitted"
    )
    has_calibration = dy.Bool(description="a calibration of this engine is on record")
    labelled_fuel_share = dy.Float64(
        nullable=True,
        min=0,
        max=1,
        description="share of the litres filled whose octane and its scale are written down, at "
        "the pump or on a delivery to the dock before; null: no fill on record",
    )
    hours_explained_share = dy.Float64(
        nullable=True,
        min=0,
        max=1,
        description="share of the hours along the hull's meters that its rentals account for; "
        "null: the meters never moved",
    )
