"""The kinds of column a record contract is made of, and the words a record may use."""

from __future__ import annotations

from datetime import UTC, datetime

import dataframely as dy

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
REBUILD_SHEET, ONE_JOB, ALL_OPEN = "rebuild_sheet", "job", "all_open"
"""What a release may name beside a measure."""
LOOKED_AT = ["seen", "not_seen", "not_looked_at"]
# Outside these years an instant is a slip of the pen ("0205", "2205"), not a record.
EARLIEST_INSTANT = datetime(1990, 1, 1, tzinfo=UTC)
LATEST_INSTANT = datetime(2100, 1, 1, tzinfo=UTC)


def text(about: str, **options: object) -> dy.String:
    """A column of text that is not empty."""
    return dy.String(description=about, min_length=1, **options)  # type: ignore[arg-type]


def choice(values: list[str], about: str, **options: object) -> dy.String:
    """A column of one of these words."""
    allowed = list(values)
    return dy.String(
        description=about,
        check={"allowed": lambda col: col.is_in(allowed)},
        metadata={"allowed": allowed},
        **options,  # type: ignore[arg-type]
    )


def number(unit: str, about: str, low: float, high: float, nullable: bool = False) -> dy.Float64:
    """A column of numbers in a unit, within limits."""
    return dy.Float64(
        description=about, metadata={"unit": unit}, min=low, max=high, nullable=nullable
    )


def whole(about: str, low: int, high: int, nullable: bool = False) -> dy.Int64:
    """A column of whole numbers within limits."""
    return dy.Int64(description=about, min=low, max=high, nullable=nullable)


def instant(about: str, nullable: bool = False) -> dy.Datetime:
    """A column of instants in UTC, within the years a record can come from."""
    return dy.Datetime(
        description=about,
        time_zone="UTC",
        time_unit="us",
        nullable=nullable,
        min=EARLIEST_INSTANT,
        max=LATEST_INSTANT,
    )


def recorded() -> dy.Datetime:
    """When the row was written down."""
    return instant("when the row was written down; empty: at its own event time", nullable=True)


def octane(scale: str) -> dy.Float64:
    """An octane number on a named scale."""
    return number("ON", f"octane number on the {scale} scale", 60, 130, nullable=True)


def barometer_told() -> dy.String:
    """Which of the two pressures a barometer's figure is, where somebody wrote it."""
    said = "whether that is the air at the bench or reduced to sea level; empty: not told"
    return choice(["station", "sea_level"], said, nullable=True)
