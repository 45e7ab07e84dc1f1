"""The contract of each record kind: one schema per kind of file a shop or operator keeps.

Instants are UTC.  A null means "not written down" and stays null.  `recorded_at` is when
the row was written down; where it is null the row counts as known from its own event
time.  Each schema is used by the intake, by the warehouse, by the demo generator and by
the data dictionary, so a column is declared here and nowhere else.
"""

from __future__ import annotations

import dataframely as dy
import polars as pl

from ringland.contracts.record_columns import (
    FAILURE_MODES,
    INDUCTIONS,
    LOOKED_AT,
    MEASURES,
    PISTON_TYPES,
    barometer_told,
    choice,
    instant,
    number,
    octane,
    recorded,
    text,
    whole,
)


class Docks(dy.Schema):
    """One row per dock."""

    dock_id = text("the dock's short name")
    bulk_tank_l = number("l", "capacity of the dock's bulk tank; empty: no tank", 100, 1e6, True)
    altitude_m = number("m", "height above sea level", -430, 5000, True)
    time_zone = text("IANA zone of the dock's clock, e.g. 'America/Chicago'")
    country = text("ISO 3166-1 code, 'US'; tells its pumps' octane scale", nullable=True)
    operator = text("who runs it; empty: the home's operator", nullable=True)
    recorded_at = recorded()


class Hulls(dy.Schema):
    """One row per hull."""

    hull_id = text("the hull's number as painted")
    dock_id = text("home dock")
    tank_l = number("l", "capacity of the craft's tank", 5, 400)
    in_service_at = instant("first day in the fleet")
    out_of_service_at = instant("sold or withdrawn; empty: still in the fleet", nullable=True)
    operator = text("who runs it; empty: the operator of its dock", nullable=True)
    recorded_at = recorded()

    @dy.rule()
    def leaves_after_it_came(cls) -> pl.Expr:
        """out_of_service_at lies before in_service_at"""
        return cls.out_of_service_at.col.is_null() | (
            cls.out_of_service_at.col > cls.in_service_at.col
        )


class Engines(dy.Schema):
    """One row per engine (crankcase serial)."""

    engine_id = text("engine serial")
    family = text("the shop's name for engines alike in design")
    induction = choice(INDUCTIONS, "how the engine breathes")
    cylinders = whole("number of cylinders", 1, 12)
    cruise_burn_l_h = number("l/h", "rated consumption at cruise", 1, 200, True)
    full_burn_l_h = number("l/h", "rated consumption at full throttle", 1, 300, True)
    bore_mm = number("mm", "cylinder bore; the ring-gap limit is a share of it", 20, 300, True)
    journal_mm = number("mm", "crank journal; the bearing limit is a share of it", 10, 200, True)
    book_compression_kpa = number(
        "kPa", "the maker's compression figure at sea level", 300, 3000, True
    )
    first_recorded_at = instant("when the record of this engine begins")
    first_recorded_engine_h = number("h", "engine hours when the record begins", 0, 20000)
    recorded_at = recorded()


class Installations(dy.Schema):
    """One row per stay of an engine in a hull."""

    engine_id = text("engine serial")
    hull_id = text("the hull it sat in")
    installed_at = instant("fitted to the hull")
    removed_at = instant("lifted out; empty: still fitted", nullable=True)
    recorded_at = recorded()

    @dy.rule()
    def leaves_after_it_came(cls) -> pl.Expr:
        """removed_at lies before installed_at"""
        return cls.removed_at.col.is_null() | (cls.removed_at.col > cls.installed_at.col)


class PistonSets(dy.Schema):
    """One row per piston set an engine ran."""

    piston_set_id = text("the shop's number of the set")
    engine_id = text("the engine it was fitted to")
    fitted_at = instant("when it was fitted; for the first on record, when the record begins")
    fitted_engine_h = number("h", "engine hours when it was fitted", 0, 20000)
    piston_type = choice(PISTON_TYPES, "how the piston is made")
    supplier_grade = choice(["original", "aftermarket"], "grade of the supplier")
    reason = choice(["factory", "after_failure", "planned", "unknown"], "why it was fitted")
    batch = text("the maker's batch or lot number", nullable=True)
    recorded_at = recorded()


class HourReadings(dy.Schema):
    """One row per reading of an hour meter."""

    hull_id = text("the hull the meter is mounted in")
    meter_id = text("serial of the meter; a new one when it is replaced")
    read_at = instant("when it was read")
    meter_h = number("h", "hours shown", 0, 100000)
    recorded_at = recorded()


class Deliveries(dy.Schema):
    """One row per delivery into a dock's bulk tank."""

    dock_id = text("the dock")
    tank_id = text("which of the dock's tanks; empty: told by its grade", nullable=True)
    delivered_at = instant("when it was pumped in")
    volume_l = number("l", "litres delivered", 1, 100000)
    octane_aki = octane("AKI")
    octane_ron = octane("RON")
    octane_mon = octane("MON")
    octane_unlabelled = number(
        "ON", "octane number whose scale nobody wrote down; stays unresolved", 60, 130, True
    )
    price_per_l = number("money/l", "price paid", 0, 100, True)
    recorded_at = recorded()


class Fills(dy.Schema):
    """One row per fill of a craft's tank."""

    hull_id = text("the hull filled")
    filled_at = instant("when")
    volume_l = number("l", "litres put in", 0.1, 400)
    source = choice(["dock", "outside"], "a dock's bulk tank, or an outside pump or can")
    source_dock_id = text("the dock whose bulk tank it came from", nullable=True)
    source_tank_id = text("which of the dock's tanks; empty: told by its grade", nullable=True)
    octane_aki = octane("AKI")
    octane_ron = octane("RON")
    octane_mon = octane("MON")
    octane_unlabelled = number(
        "ON", "octane number whose scale nobody wrote down; stays unresolved", 60, 130, True
    )
    price_per_l = number("money/l", "price paid", 0, 100, True)
    booster_points = number(
        "points", "octane booster, as labelled; ten points are one octane number", 0, 100, True
    )
    is_full = dy.Bool(description="filled to the brim: the tank held its capacity", nullable=True)
    time_off_min = number("min", "how far the time may be off; empty: as written", 0, 1440, True)
    recorded_at = recorded()

    @dy.rule()
    def dock_fuel_names_its_dock(cls) -> pl.Expr:
        """Source is 'dock' but source_dock_id is empty"""
        return (cls.source.col != "dock") | cls.source_dock_id.col.is_not_null()


class Sessions(dy.Schema):
    """One row per rental."""

    hull_id = text("the hull rented")
    started_at = instant("left the dock")
    ended_at = instant("came back")
    running_h = number("h", "engine hours run", 0.01, 24)
    full_throttle_share = number("share", "share of running time at full throttle", 0, 1, True)
    burned_l = number("l", "litres burned, where somebody measured it", 0, 400, True)
    recorded_at = recorded()

    @dy.rule()
    def ends_after_it_starts(cls) -> pl.Expr:
        """ended_at is not after started_at"""
        return cls.ended_at.col > cls.started_at.col

    @dy.rule()
    def runs_no_longer_than_it_was_out(cls) -> pl.Expr:
        """running_h is longer than the time between started_at and ended_at"""
        out_h = (cls.ended_at.col - cls.started_at.col).dt.total_seconds() / 3600
        return cls.running_h.col <= out_h + 0.05  # clocks are read to about three minutes


class Calibrations(dy.Schema):
    """One row per change of an engine's calibration."""

    engine_id = text("engine serial")
    in_force_at = instant("in force from")
    calibration = choice(["stock", "raised", "mild"], "the shop's class of the calibration")
    octane_need_aki = number("AKI", "minimum octane it needs", 80, 110)
    spark_advance_change_deg = number("deg", "spark advance against stock", -20, 20, True)
    recorded_at = recorded()


class Inspections(dy.Schema):
    """One row per measured value."""

    engine_id = text("engine serial")
    inspected_at = instant("when")
    measure = choice(MEASURES, "what was measured")
    cylinder = whole("cylinder number; empty: whole engine", 1, 12, True)
    port = choice(["intake", "exhaust"], "which port; empty: not by port", nullable=True)
    state = choice(["measured", "stated_ok", "not_looked_at"], "a number, only an 'ok', or nothing")
    value = number("as in unit", "the raw reading", -1000, 100000, True)
    unit = text("unit of the reading", nullable=True)
    reference_value = number("as in unit", "leak-down's supply, vacuum's pad", -1000, 100000, True)
    barometer_kpa = number("kPa", "air pressure as read, station or weather report", 40, 110, True)
    barometer_is = barometer_told()
    is_warm = dy.Bool(description="engine warm when tested", nullable=True)
    rebuilt_at = instant("the rebuild this reading accepts; empty: no acceptance", nullable=True)
    signed_by = text("who signed an acceptance reading", nullable=True)
    accepted_because = text("why a failed or missing acceptance reading is let go", nullable=True)
    recorded_at = recorded()

    @dy.rule()
    def a_measured_row_has_value_and_unit(cls) -> pl.Expr:
        """State is 'measured' but value or unit is empty"""
        return (cls.state.col != "measured") | (
            cls.value.col.is_not_null() & cls.unit.col.is_not_null()
        )


class Failures(dy.Schema):
    """One row per failure found."""

    engine_id = text("engine serial")
    found_at = instant("when it was found")
    mode = choice(FAILURE_MODES, "what failed")
    how_found = choice(["ran_to_failure", "inspection", "teardown"], "how it came to light")
    last_good_at = instant("last time it was known to be good", nullable=True)
    complaint = text("what the customer or the dock reported", nullable=True)
    confirmed_cause = text("the cause the shop settled on, by its key", nullable=True)
    cause_confirmed_at = instant("when the cause was settled", nullable=True)
    settled_by = text("the name of whoever settled the cause", nullable=True)
    recorded_at = recorded()

    @dy.rule()
    def was_good_before_it_failed(cls) -> pl.Expr:
        """last_good_at is not before found_at"""
        return cls.last_good_at.col.is_null() | (cls.last_good_at.col < cls.found_at.col)

    @dy.rule()
    def a_settled_cause_has_its_date(cls) -> pl.Expr:
        """confirmed_cause is given but cause_confirmed_at is empty"""
        return cls.confirmed_cause.col.is_null() | cls.cause_confirmed_at.col.is_not_null()


class Teardowns(dy.Schema):
    """One row per finding looked for in an opened engine."""

    engine_id = text("engine serial")
    opened_at = instant("when it was opened")
    cylinder = whole("cylinder number; empty: whole engine", 1, 12, True)
    part = text("the part, e.g. 'piston', 'bearing', 'oil pump'")
    finding = text("what was looked for, e.g. 'second land broken down'")
    state = choice(LOOKED_AT, "seen, not seen, or not looked at")
    extent = choice(["slight", "marked", "severe"], "how far", nullable=True)
    photo_files = text("names of photo files, separated by ';'", nullable=True)
    examined_by = text("the name of whoever looked", nullable=True)
    recorded_at = recorded()


class Rebuilds(dy.Schema):
    """One row per rebuild."""

    engine_id = text("engine serial")
    rebuilt_at = instant("when it was finished")
    scope = choice(["top_end", "full"], "pistons and head only, or bottom end opened too")
    is_head_tested = dy.Bool(description="valve-seal test done on every port", nullable=True)
    cost = number("money", "what it cost", 0, 1e6, True)
    built_by = text("the name of the mechanic who put it together", nullable=True)
    machined_by = text("who honed, faced and cut: a name or a firm", nullable=True)
    recorded_at = recorded()


class Costs(dy.Schema):
    """One row per price of an item in a season."""

    item = text("what is priced, e.g. 'top_end_planned', 'lost_rental_day'")
    season = whole("calendar year of the season", 1990, 2100)
    amount = number("money", "price per unit of the item", 0, 1e6)
    currency = text("ISO 4217 code, e.g. 'USD'")
    mechanic_h = number("h", "mechanic's hours it takes", 0, 1000, True)
    recorded_at = recorded()


class Corrections(dy.Schema):
    """One row per correction of a loaded record: one cell put right, or the record withdrawn."""

    record_kind = text("kind of the record, e.g. 'fills'")
    record_key = text("what tells the record, e.g. 'H01; 2025-07-04T14:30:00Z'")
    change = choice(["corrected", "withdrawn"], "a cell put right, or the record taken back")
    field = text("the column put right; empty: the record is withdrawn", nullable=True)
    new_value = text("what it should say; empty: nothing was written down", nullable=True)
    reason = text("why, in the words of whoever found out")
    recorded_at = instant("when the correction was written down")

    @dy.rule()
    def a_correction_names_its_column(cls) -> pl.Expr:
        """Change is 'corrected' but field is empty"""
        return (cls.change.col != "corrected") | cls.field.col.is_not_null()
