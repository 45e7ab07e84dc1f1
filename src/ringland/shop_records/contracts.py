"""The contract of each record kind: one schema per kind of file a shop or operator keeps.

Instants are UTC.  A null means "not written down" and stays null.  `recorded_at` is when
the row was written down; where it is null the row counts as known from its own event
time.  Each schema is used by the intake, by the warehouse, by the demo generator and by
the data dictionary, so a column is declared here and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime

import dataframely as dy
import polars as pl

INDUCTIONS = ["supercharged", "turbocharged", "naturally_aspirated"]
PISTON_TYPES = ["cast", "forged"]
FAILURE_MODES = [
    "ring_land_fracture",
    "ring_wear",
    "head_gasket",
    "valve_seal",
    "bearing",
    "water",
    "foreign_object",
    "other",
]
MEASURES = [
    "compression",
    "leak_down",
    "valve_seal_vacuum",
    "ring_end_gap",
    "bore_taper",
    "bore_out_of_round",
    "bearing_clearance",
    "deck_flatness",
    "oil_iron",
    "oil_aluminium",
    "oil_silicon",
    "crankcase_pressure",
    "hull_oil",
]
LOOKED_AT = ["seen", "not_seen", "not_looked_at"]
# Outside these years an instant is a slip of the pen ("0205", "2205"), not a record.
EARLIEST_INSTANT = datetime(1990, 1, 1, tzinfo=UTC)
LATEST_INSTANT = datetime(2100, 1, 1, tzinfo=UTC)


def _text(about: str, **options: object) -> dy.String:
    return dy.String(description=about, min_length=1, **options)  # type: ignore[arg-type]


def _choice(values: list[str], about: str, **options: object) -> dy.String:
    allowed = list(values)
    return dy.String(
        description=about,
        check={"allowed": lambda col: col.is_in(allowed)},
        metadata={"allowed": allowed},
        **options,  # type: ignore[arg-type]
    )


def _number(unit: str, about: str, low: float, high: float, nullable: bool = False) -> dy.Float64:
    return dy.Float64(
        description=about, metadata={"unit": unit}, min=low, max=high, nullable=nullable
    )


def _whole(about: str, low: int, high: int, nullable: bool = False) -> dy.Int64:
    return dy.Int64(description=about, min=low, max=high, nullable=nullable)


def _instant(about: str, nullable: bool = False) -> dy.Datetime:
    return dy.Datetime(
        description=about,
        time_zone="UTC",
        time_unit="us",
        nullable=nullable,
        min=EARLIEST_INSTANT,
        max=LATEST_INSTANT,
    )


def _recorded() -> dy.Datetime:
    return _instant("when the row was written down; empty: at its own event time", nullable=True)


def _octane(scale: str) -> dy.Float64:
    return _number("ON", f"octane number on the {scale} scale", 60, 130, nullable=True)


class Docks(dy.Schema):
    """One row per dock."""

    dock_id = _text("the dock's short name")
    bulk_tank_l = _number("l", "capacity of the dock's bulk tank; empty: no tank", 100, 1e6, True)
    altitude_m = _number("m", "height above sea level", -430, 5000, True)
    time_zone = _text("IANA zone of the dock's clock, e.g. 'America/Chicago'")
    country = _text(
        "ISO 3166-1 code, e.g. 'US'; tells which octane scale its pumps show", nullable=True
    )
    recorded_at = _recorded()


class Hulls(dy.Schema):
    """One row per hull."""

    hull_id = _text("the hull's number as painted")
    dock_id = _text("home dock")
    tank_l = _number("l", "capacity of the craft's tank", 5, 400)
    in_service_at = _instant("first day in the fleet")
    out_of_service_at = _instant("sold or withdrawn; empty: still in the fleet", nullable=True)
    recorded_at = _recorded()

    @dy.rule()
    def leaves_after_it_came(cls) -> pl.Expr:
        """out_of_service_at lies before in_service_at"""
        return cls.out_of_service_at.col.is_null() | (
            cls.out_of_service_at.col > cls.in_service_at.col
        )


class Engines(dy.Schema):
    """One row per engine (crankcase serial)."""

    engine_id = _text("engine serial")
    family = _text("the shop's name for engines alike in design")
    induction = _choice(INDUCTIONS, "how the engine breathes")
    compression_ratio_class = _choice(["low", "standard", "high"], "class of compression ratio")
    cylinders = _whole("number of cylinders", 1, 12)
    cruise_burn_l_h = _number("l/h", "rated consumption at cruise", 1, 200, True)
    full_burn_l_h = _number("l/h", "rated consumption at full throttle", 1, 300, True)
    bore_mm = _number("mm", "cylinder bore; the ring-gap limit is a share of it", 20, 300, True)
    journal_mm = _number("mm", "crank journal; the bearing limit is a share of it", 10, 200, True)
    book_compression_kpa = _number(
        "kPa", "the maker's compression figure at sea level", 300, 3000, True
    )
    first_recorded_at = _instant("when the record of this engine begins")
    first_recorded_engine_h = _number("h", "engine hours when the record begins", 0, 20000)
    recorded_at = _recorded()


class Installations(dy.Schema):
    """One row per stay of an engine in a hull."""

    engine_id = _text("engine serial")
    hull_id = _text("the hull it sat in")
    installed_at = _instant("fitted to the hull")
    removed_at = _instant("lifted out; empty: still fitted", nullable=True)
    recorded_at = _recorded()

    @dy.rule()
    def leaves_after_it_came(cls) -> pl.Expr:
        """removed_at lies before installed_at"""
        return cls.removed_at.col.is_null() | (cls.removed_at.col > cls.installed_at.col)


class PistonSets(dy.Schema):
    """One row per piston set an engine ran."""

    piston_set_id = _text("the shop's number of the set")
    engine_id = _text("the engine it was fitted to")
    fitted_at = _instant("when it was fitted; for the first on record, when the record begins")
    fitted_engine_h = _number("h", "engine hours when it was fitted", 0, 20000)
    piston_type = _choice(PISTON_TYPES, "how the piston is made")
    supplier_grade = _choice(["original", "aftermarket"], "grade of the supplier")
    reason = _choice(["factory", "after_failure", "planned", "unknown"], "why it was fitted")
    recorded_at = _recorded()


class HourReadings(dy.Schema):
    """One row per reading of an hour meter."""

    hull_id = _text("the hull the meter is mounted in")
    meter_id = _text("serial of the meter; a new one when it is replaced")
    read_at = _instant("when it was read")
    meter_h = _number("h", "hours shown", 0, 100000)
    recorded_at = _recorded()


class Deliveries(dy.Schema):
    """One row per delivery into a dock's bulk tank."""

    dock_id = _text("the dock")
    delivered_at = _instant("when it was pumped in")
    volume_l = _number("l", "litres delivered", 1, 100000)
    octane_aki = _octane("AKI")
    octane_ron = _octane("RON")
    octane_mon = _octane("MON")
    octane_unlabelled = _number(
        "ON", "octane number whose scale nobody wrote down; stays unresolved", 60, 130, True
    )
    ethanol_pct = _number("% vol", "ethanol by volume", 0, 100, True)
    price_per_l = _number("money/l", "price paid", 0, 100, True)
    recorded_at = _recorded()


class Fills(dy.Schema):
    """One row per fill of a craft's tank."""

    hull_id = _text("the hull filled")
    filled_at = _instant("when")
    volume_l = _number("l", "litres put in", 0.1, 400)
    source = _choice(["dock", "outside"], "a dock's bulk tank, or an outside pump or can")
    source_dock_id = _text("the dock whose bulk tank it came from", nullable=True)
    octane_aki = _octane("AKI")
    octane_ron = _octane("RON")
    octane_mon = _octane("MON")
    octane_unlabelled = _number(
        "ON", "octane number whose scale nobody wrote down; stays unresolved", 60, 130, True
    )
    ethanol_pct = _number("% vol", "ethanol by volume", 0, 100, True)
    price_per_l = _number("money/l", "price paid", 0, 100, True)
    booster_points = _number(
        "points", "octane booster, as labelled; ten points are one octane number", 0, 100, True
    )
    recorded_at = _recorded()

    @dy.rule()
    def dock_fuel_names_its_dock(cls) -> pl.Expr:
        """Source is 'dock' but source_dock_id is empty"""
        return (cls.source.col != "dock") | cls.source_dock_id.col.is_not_null()


class Drains(dy.Schema):
    """One row per draining of a craft's tank."""

    hull_id = _text("the hull drained")
    drained_at = _instant("when")
    volume_l = _number("l", "litres taken out; empty: the tank was emptied", 0.1, 400, True)
    why = _text("why, e.g. 'old fuel'", nullable=True)
    recorded_at = _recorded()


class Sessions(dy.Schema):
    """One row per rental."""

    hull_id = _text("the hull rented")
    started_at = _instant("left the dock")
    ended_at = _instant("came back")
    running_h = _number("h", "engine hours run", 0.01, 24)
    full_throttle_share = _number("share", "share of running time at full throttle", 0, 1, True)
    burned_l = _number("l", "litres burned, where somebody measured it", 0, 400, True)
    recorded_at = _recorded()

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

    engine_id = _text("engine serial")
    in_force_at = _instant("in force from")
    calibration = _choice(["stock", "raised", "mild"], "the shop's class of the calibration")
    octane_need_aki = _number("AKI", "minimum octane it needs", 80, 110)
    boost_kpa = _number("kPa", "boost over ambient", 0, 300, True)
    spark_advance_change_deg = _number("deg", "spark advance against stock", -20, 20, True)
    rev_limit_rpm = _number("1/min", "rev limit", 3000, 15000, True)
    recorded_at = _recorded()


class Inspections(dy.Schema):
    """One row per measured value."""

    engine_id = _text("engine serial")
    inspected_at = _instant("when")
    measure = _choice(MEASURES, "what was measured")
    cylinder = _whole("cylinder number; empty: whole engine", 1, 12, True)
    port = _choice(["intake", "exhaust"], "which port; empty: not by port", nullable=True)
    state = _choice(
        ["measured", "stated_ok", "not_looked_at"], "a number, only an 'ok', or nothing"
    )
    value = _number("as in unit", "the raw reading", -1000, 100000, True)
    unit = _text("unit of the reading", nullable=True)
    reference_value = _number(
        "as in unit", "same-day reading with the gauge on a blanked pad", -1000, 100000, True
    )
    barometer_kpa = _number("kPa", "station pressure, not reduced to sea level", 40, 110, True)
    is_warm = dy.Bool(description="engine warm when tested", nullable=True)
    rebuilt_at = _instant("the rebuild this reading accepts; empty: no acceptance", nullable=True)
    signed_by = _text("who signed an acceptance reading", nullable=True)
    accepted_because = _text("why a failed or missing acceptance reading is let go", nullable=True)
    recorded_at = _recorded()

    @dy.rule()
    def a_measured_row_has_value_and_unit(cls) -> pl.Expr:
        """State is 'measured' but value or unit is empty"""
        return (cls.state.col != "measured") | (
            cls.value.col.is_not_null() & cls.unit.col.is_not_null()
        )


class Failures(dy.Schema):
    """One row per failure found."""

    engine_id = _text("engine serial")
    found_at = _instant("when it was found")
    mode = _choice(FAILURE_MODES, "what failed")
    how_found = _choice(["ran_to_failure", "inspection", "teardown"], "how it came to light")
    last_good_at = _instant("last time it was known to be good", nullable=True)
    complaint = _text("what the customer or the dock reported", nullable=True)
    confirmed_cause = _text("the cause the shop settled on, by its key", nullable=True)
    cause_confirmed_at = _instant("when the cause was settled", nullable=True)
    recorded_at = _recorded()

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

    engine_id = _text("engine serial")
    opened_at = _instant("when it was opened")
    cylinder = _whole("cylinder number; empty: whole engine", 1, 12, True)
    part = _text("the part, e.g. 'piston', 'bearing', 'oil pump'")
    finding = _text("what was looked for, e.g. 'second land broken down'")
    state = _choice(LOOKED_AT, "seen, not seen, or not looked at")
    extent = _choice(["slight", "marked", "severe"], "how far", nullable=True)
    photo_files = _text("names of photo files, separated by ';'", nullable=True)
    recorded_at = _recorded()


class Rebuilds(dy.Schema):
    """One row per rebuild."""

    engine_id = _text("engine serial")
    rebuilt_at = _instant("when it was finished")
    scope = _choice(["top_end", "full"], "pistons and head only, or bottom end opened too")
    scope_items = _text("work done, separated by ';'", nullable=True)
    is_head_tested = dy.Bool(description="valve-seal test done on every port", nullable=True)
    cost = _number("money", "what it cost", 0, 1e6, True)
    recorded_at = _recorded()


class Costs(dy.Schema):
    """One row per price of an item in a season."""

    item = _text("what is priced, e.g. 'top_end_planned', 'lost_rental_day'")
    season = _whole("calendar year of the season", 1990, 2100)
    amount = _number("money", "price per unit of the item", 0, 1e6)
    currency = _text("ISO 4217 code, e.g. 'USD'")
    mechanic_h = _number("h", "mechanic's hours it takes", 0, 1000, True)
    recorded_at = _recorded()


class Corrections(dy.Schema):
    """One row per correction of a loaded record: one cell put right, or the record withdrawn."""

    record_kind = _text("kind of the record, e.g. 'fills'")
    record_key = _text("what tells the record, e.g. 'H01; 2025-07-04T14:30:00Z'")
    change = _choice(["corrected", "withdrawn"], "a cell put right, or the record taken back")
    field = _text("the column put right; empty: the record is withdrawn", nullable=True)
    new_value = _text("what it should say; empty: nothing was written down", nullable=True)
    reason = _text("why, in the words of whoever found out")
    recorded_at = _instant("when the correction was written down")

    @dy.rule()
    def a_correction_names_its_column(cls) -> pl.Expr:
        """Change is 'corrected' but field is empty"""
        return (cls.change.col != "corrected") | cls.field.col.is_not_null()


@dataclass(frozen=True)
class RecordKind:
    """A kind of record: its schema, what tells two rows apart, when it happened, what it names."""

    name: str
    schema: type[dy.Schema]
    key: tuple[str, ...]
    event_time: str | None
    """Column with the instant from which the row can be known; None: known always."""
    refers_to: dict[str, str] = field(default_factory=dict)
    """column -> record kind whose key it must name"""
    ends: tuple[str, ...] = ()
    """Columns that tell of a later instant: unknown until that instant has come."""
    told_with: dict[str, str] = field(default_factory=dict)
    """column -> the column of `ends` with whose instant it becomes known"""


_ENGINE = {"engine_id": "engines"}
_HULL = {"hull_id": "hulls"}

RECORD_KINDS: dict[str, RecordKind] = {
    kind.name: kind
    for kind in [
        RecordKind("docks", Docks, ("dock_id",), None),
        RecordKind(
            "hulls",
            Hulls,
            ("hull_id",),
            "in_service_at",
            {"dock_id": "docks"},
            ("out_of_service_at",),
        ),
        RecordKind("engines", Engines, ("engine_id",), "first_recorded_at"),
        RecordKind(
            "installations",
            Installations,
            ("engine_id", "installed_at"),
            "installed_at",
            _ENGINE | _HULL,
            ("removed_at",),
        ),
        RecordKind("piston_sets", PistonSets, ("piston_set_id",), "fitted_at", _ENGINE),
        RecordKind(
            "hour_readings", HourReadings, ("hull_id", "meter_id", "read_at"), "read_at", _HULL
        ),
        RecordKind(
            "deliveries",
            Deliveries,
            ("dock_id", "delivered_at"),
            "delivered_at",
            {"dock_id": "docks"},
        ),
        RecordKind(
            "fills",
            Fills,
            ("hull_id", "filled_at"),
            "filled_at",
            _HULL | {"source_dock_id": "docks"},
        ),
        RecordKind("drains", Drains, ("hull_id", "drained_at"), "drained_at", _HULL),
        RecordKind("sessions", Sessions, ("hull_id", "started_at"), "ended_at", _HULL),
        RecordKind(
            "calibrations", Calibrations, ("engine_id", "in_force_at"), "in_force_at", _ENGINE
        ),
        RecordKind(
            "inspections",
            Inspections,
            ("engine_id", "inspected_at", "measure", "cylinder", "port"),
            "inspected_at",
            _ENGINE,
        ),
        RecordKind(
            "failures",
            Failures,
            ("engine_id", "found_at", "mode"),
            "found_at",
            _ENGINE,
            ("cause_confirmed_at",),
            {"confirmed_cause": "cause_confirmed_at"},
        ),
        RecordKind(
            "teardowns",
            Teardowns,
            ("engine_id", "opened_at", "cylinder", "part", "finding"),
            "opened_at",
            _ENGINE,
        ),
        RecordKind("rebuilds", Rebuilds, ("engine_id", "rebuilt_at"), "rebuilt_at", _ENGINE),
        RecordKind("costs", Costs, ("item", "season"), None),
    ]
}
"""Every record kind, in the order in which they must be loaded: a kind after those it names."""

CORRECTIONS = RecordKind(
    "corrections", Corrections, ("record_kind", "record_key", "field", "recorded_at"), None
)
ALL_KINDS = RECORD_KINDS | {CORRECTIONS.name: CORRECTIONS}
"""The record kinds, and corrections of them, which are loaded last."""
