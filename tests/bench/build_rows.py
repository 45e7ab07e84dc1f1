"""A whole build sheet on record, and a maker's book, for one invented engine."""

from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from ringland.bench.build_checks import BuildCheck, checks_for
from ringland.contracts.build_records import BuildLimits, BuildReadings

FAILED = datetime(2026, 5, 1, 12, tzinfo=UTC)
READ = FAILED + timedelta(days=10)
AS_OF = FAILED + timedelta(days=30)
ENGINE = {"engine_id": "E1", "family": "S3", "induction": "supercharged", "cylinders": 3}

BOOK: dict[str, tuple[float | None, float | None, str]] = {
    "valve_vacuum": (28.0, None, "inHg"),
    "compression": (1080.0, None, "kPa"),
    "leak_down": (None, 8.0, "%"),
    "cam_timing": (-1.0, 1.0, "deg"),
    "rod_angle": (88.0, 92.0, "deg"),
    "head_angle": (88.0, 92.0, "deg"),
    "break_in_hours": (5.0, 12.0, "h"),
    "hone_angle": (40.0, 60.0, "deg"),
}
"""Invented figures; the other checks get half to twice a middle of their own."""


def middle(check: BuildCheck) -> float:
    """A reading that passes by the invented book."""
    least, most, _ = limits_of(check)
    if least is None:
        return 0.4 * float(most or 0)
    return least * 1.05 if most is None else (least + most) / 2


def limits_of(check: BuildCheck) -> tuple[float | None, float | None, str]:
    if check.key in BOOK:
        return BOOK[check.key]
    low, high = check.possible or (0.0, 1.0)
    if low == 0:
        return None, 0.05 * high, str(check.unit)
    return low * 2, low * 4, str(check.unit)


def book(scope: str = "full") -> pl.DataFrame:
    rows = [
        {"family": "S3", "line": check.key, "kind": "new", "least": limits_of(check)[0],
         "most": limits_of(check)[1], "unit": limits_of(check)[2], "source": "book, page 7",
         "entered_by": "R. Vane"}
        for check in checks_for(scope, is_boosted=True)
        if check.is_measured
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=_schema(BuildLimits))


def good_row(check: BuildCheck, place: str | None) -> dict[str, Any]:
    row: dict[str, Any] = dict.fromkeys(BuildReadings.column_names())
    row |= {"engine_id": "E1", "read_at": READ, "line": check.key, "place": place,
            "read_by": "R. Vane", "method": "bore gauge"}  # fmt: skip
    if not check.is_measured:
        return row | {"answer": check.allowed[0] if check.allowed else "yes"}
    row |= {"value": middle(check), "unit": str(limits_of(check)[2]), "barometer_kpa": 101.3,
            "barometer_is": "station"}  # fmt: skip
    return row | ({"value": 29.4} if check.key == "valve_vacuum" else {})


def good_rows(scope: str = "full", cylinders: int = 3) -> list[dict[str, Any]]:
    """One passing row for every line of the sheet."""
    return [
        good_row(check, place)
        for check in checks_for(scope, is_boosted=True)
        for place in check.places(cylinders)
    ]


def readings(rows: list[dict[str, Any]]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=_schema(BuildReadings))


def _schema(contract: Any) -> dict[str, Any]:
    return {name: column.dtype for name, column in contract.columns().items()}
