"""Which readings of an hour meter can be true, and what was probably wrong with the rest.

Readings of one meter can all be true only if they never fall and never gain more than 24 h
a day.  Of every meter the longest chain of readings that fit each other is taken as good;
the rest is flagged, never repaired.  A new meter starts a new chain at any figure.
Whether the meter counts key-on or engine-on time does not matter here.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

from ringland.shop_records.tables import RecordFlags

_SHOWN_STEP_H = 0.1  # meters show tenths: two true readings may differ by that much more

Hours = npt.NDArray[np.float64]


def good_readings(hour_readings: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The readings that fit each other, and a `RecordFlags` with one row for each other one.

    Good readings come back in the order of hull, meter and time.
    """
    readings = hour_readings.sort("hull_id", "meter_id", "read_at")
    good: list[npt.NDArray[np.bool_]] = []
    flagged = []
    for (hull_id, meter_id), rows in readings.group_by("hull_id", "meter_id", maintain_order=True):
        at_h = rows["read_at"].dt.epoch("us").to_numpy() / 3.6e9
        shown = rows["meter_h"].to_numpy()
        fits = _longest_chain(at_h, shown)
        good.append(fits)
        for i in np.flatnonzero(~fits).tolist():
            flag = _likely_fault(at_h, shown, fits, i)
            sentence = _sentence(flag, str(meter_id), shown[i])
            flagged.append((flag, hull_id, None, rows["read_at"][i], sentence))
    flags = pl.DataFrame(flagged, schema=RecordFlags.create_empty().schema, orient="row")
    mask = pl.Series(np.concatenate(good) if good else [], dtype=pl.Boolean)
    return readings.filter(mask), flags


def meter_spans(good: pl.DataFrame) -> pl.DataFrame:
    """Two neighbouring good readings of one meter: hull_id, meter_id, from_at, to_at, gained_h."""
    return (
        good.sort("hull_id", "meter_id", "read_at")
        .select(
            "hull_id",
            "meter_id",
            from_at="read_at",
            to_at=pl.col("read_at").shift(-1).over("hull_id", "meter_id"),
            gained_h=pl.col("meter_h").shift(-1).over("hull_id", "meter_id") - pl.col("meter_h"),
        )
        .filter(pl.col("to_at").is_not_null())
        .sort("hull_id", "from_at", "to_at")
    )


def _longest_chain(at_h: Hours, shown: Hours) -> npt.NDArray[np.bool_]:
    """The most readings of which each two fit; of equally long chains the one begun earlier.

    Fitting is transitive (the reading and 24 h a day less the reading both never fall), so
    the chain is a longest increasing one; quadratic in the readings of one meter.
    """
    n = len(at_h)
    length = np.ones(n, dtype=np.int64)
    before = np.full(n, -1, dtype=np.int64)
    slack = at_h - shown  # an hour of running takes an hour of the day at least
    for i in range(1, n):
        fits = (shown[:i] <= shown[i]) & (slack[:i] <= slack[i] + _SHOWN_STEP_H)
        if fits.any():
            reach = np.where(fits, length[:i], 0)
            before[i] = int(reach.argmax())
            length[i] = reach.max() + 1
    chain = np.zeros(n, dtype=np.bool_)
    i = int(length.argmax()) if n else -1
    while i >= 0:
        chain[i] = True
        i = int(before[i])
    return chain


def _likely_fault(at_h: Hours, shown: Hours, good: npt.NDArray[np.bool_], i: int) -> str:
    known = np.flatnonzero(good)
    earlier, later = known[known < i], known[known > i]
    low, high = 0.0, np.inf
    if len(earlier):
        low = float(shown[earlier[-1]])
        high = low + float(at_h[i] - at_h[earlier[-1]]) + _SHOWN_STEP_H
    if len(later):
        most_since = float(at_h[later[0]] - at_h[i]) + _SHOWN_STEP_H
        low = max(low, float(shown[later[0]]) - most_since)
        high = min(high, float(shown[later[0]]))
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
        "meter_runs_backwards": "less than an earlier reading of the same meter",
        "meter_over_24_h_a_day": "more than the time since the reading before allows",
        "meter_factor_ten": "it would fit with the decimal point moved by one place",
        "meter_digits_swapped": "it would fit with two digits swapped",
    }[flag]
    return f"Meter {meter_id} was read as {shown:,.1f} h: {why}. The reading is not used."
