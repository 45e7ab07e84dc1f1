"""Which readings of an hour meter can be true, and what was probably wrong with the rest.

Of every meter the longest chain of readings that fit each other is taken as good (see
`meter_chain`); the rest is flagged, never put right.  A meter that rolled over or was reset
is followed on, and that is flagged too.  A new meter starts a new chain at any figure.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.contracts.record_tables import RecordFlags
from ringland.contracts.records import HourReadings
from ringland.history.meter_chain import (
    SHOWN_STEP_H,
    Hours,
    MeterChain,
    fit_each_other,
    longest_chain,
)
from ringland.history.record_flags import record_flags


def good_readings(hour_readings: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The readings that fit each other, and a `RecordFlags` of the others and of new starts.

    Good readings come back in the order of hull, meter and time, with `line_h`, the hours as
    if the meter had never started again, and `is_after_reset`.
    """
    readings = hour_readings.sort("hull_id", "meter_id", "read_at")
    at_h = readings["read_at"].dt.epoch("us").to_numpy() / 3.6e9
    shown = readings["meter_h"].to_numpy()
    good = np.ones(readings.height, np.bool_)
    after_reset = np.zeros(readings.height, np.bool_)
    added = np.zeros(readings.height)
    flagged: list[tuple[object, ...]] = []
    for rows in _in_question(readings, at_h, shown):
        chain = longest_chain(at_h[rows], shown[rows])
        good[rows], added[rows], after_reset[rows] = chain.holds, chain.add_h, chain.reset
        flags = dict.fromkeys(np.flatnonzero(chain.rolled_over).tolist(), "meter_rolled_over")
        flags |= dict.fromkeys(np.flatnonzero(chain.reset).tolist(), "meter_reset")
        for i in np.flatnonzero(~chain.holds).tolist():
            flags[i] = _likely_fault(at_h[rows], shown[rows], chain, i)
        for i, flag in sorted(flags.items()):
            row = readings.row(rows.start + i, named=True)
            said = _sentence(flag, str(row["meter_id"]), shown[rows.start + i])
            flagged.append((flag, *(row[name] for name in _READING_KEY), said))
    line = readings.with_columns(
        line_h=pl.col("meter_h") + pl.Series(added), is_after_reset=pl.Series(after_reset)
    )
    return line.filter(pl.Series(good, dtype=pl.Boolean)), _flags(flagged)


def _in_question(readings: pl.DataFrame, at_h: Hours, shown: Hours) -> list[slice]:
    """The rows of each meter some reading of which does not fit the one before.

    Where each does, all of them are the longest chain.
    """
    n = readings.height
    same = readings.select(
        (pl.col("hull_id") == pl.col("hull_id").shift(1))
        & (pl.col("meter_id") == pl.col("meter_id").shift(1))
    )
    begins = np.flatnonzero(~same.to_series().fill_null(value=False).to_numpy())
    fits = np.ones(n, np.bool_)
    fits[1:] = fit_each_other(at_h[:-1], shown[:-1], at_h[1:], shown[1:])
    fits[begins] = True
    is_whole = np.logical_and.reduceat(fits, begins) if n else np.ones(0, np.bool_)
    ends = np.append(begins[1:], n)
    return [slice(int(begins[k]), int(ends[k])) for k in np.flatnonzero(~is_whole)]


def _flags(flagged: list[tuple[object, ...]]) -> pl.DataFrame:
    types = {name: HourReadings.create_empty().schema[name] for name in _READING_KEY}
    schema = {"flag": pl.String(), **types, "said": pl.String()}
    rows = pl.DataFrame(flagged, schema=schema, orient="row").with_row_index("_place")
    found = [RecordFlags.create_empty().with_columns(_place=pl.lit(0, pl.UInt32))]
    for (flag,), part in rows.group_by("flag", maintain_order=True):
        flags = record_flags(part, str(flag), "read_at", pl.col("said"), "hour_readings")
        found.append(flags.with_columns(part["_place"]))
    return pl.concat(found).sort("_place").drop("_place")


_READING_KEY = RECORD_KINDS["hour_readings"].key


def meter_spans(good: pl.DataFrame) -> pl.DataFrame:
    """Two neighbouring good readings of one meter: hull_id, meter_id, from_at, to_at, gained_h.

    Without the spans in which a meter was reset: what it gained then is not known.
    """
    return (
        good.sort("hull_id", "meter_id", "read_at")
        .select(
            "hull_id",
            "meter_id",
            from_at="read_at",
            to_at=pl.col("read_at").shift(-1).over("hull_id", "meter_id"),
            gained_h=(pl.col("line_h").shift(-1).over("hull_id", "meter_id") - pl.col("line_h")),
            is_reset=pl.col("is_after_reset").shift(-1).over("hull_id", "meter_id"),
        )
        .filter(pl.col("to_at").is_not_null() & ~pl.col("is_reset"))
        .drop("is_reset")
        .sort("hull_id", "from_at", "to_at")
    )


def _likely_fault(at_h: Hours, shown: Hours, chain: MeterChain, i: int) -> str:
    known = np.flatnonzero(chain.holds)
    earlier, later = known[known < i], known[known > i]
    on_its_dial = shown + chain.add_h - chain.add_h[i]
    low, high = 0.0, np.inf
    if len(earlier):
        low = float(on_its_dial[earlier[-1]])
        high = low + float(at_h[i] - at_h[earlier[-1]]) + SHOWN_STEP_H
    if len(later):
        most_since = float(at_h[later[0]] - at_h[i]) + SHOWN_STEP_H
        low = max(low, float(on_its_dial[later[0]]) - most_since)
        high = min(high, float(on_its_dial[later[0]]))
    if any(low <= shown[i] * factor <= high for factor in (0.1, 10.0)):
        return "meter_factor_ten"
    if any(low <= figure <= high for figure in _swapped(float(shown[i]))):
        return "meter_digits_swapped"
    return "meter_runs_backwards" if shown[i] < low else "meter_over_24_h_a_day"


def _swapped(figure: float) -> list[float]:
    """The figure with each two neighbouring digits swapped, as read to a tenth."""
    digits = f"{figure:.1f}".replace(".", "")
    return [
        int(digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :]) / 10
        for k in range(len(digits) - 1)
        if digits[k] != digits[k + 1]
    ]


def _sentence(flag: str, meter_id: str, shown: float) -> str:
    why = {
        "meter_runs_backwards": "less than an earlier reading of the same meter. It is not used.",
        "meter_over_24_h_a_day": (
            "more than the time since the reading before allows. It is not used."
        ),
        "meter_factor_ten": (
            "it would fit with the decimal point moved by one place. It is not used."
        ),
        "meter_digits_swapped": "it would fit with two digits swapped. It is not used.",
        "meter_rolled_over": "it has come round to the beginning of its dial and is followed on.",
        "meter_reset": (
            "it was set back and is followed on. What it gained before is not known; "
            "the rentals' own hours are used there."
        ),
    }[flag]
    return f"Meter {meter_id} was read as {shown:,.1f} h: {why}"
