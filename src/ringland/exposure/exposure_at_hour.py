"""What many piston sets burned up to the same hour of their lives, in one pass.

The same means as `exposure_spells` gives a set, whose way is by running totals: here each
session counts by the share of its hours that lies in the trailing hours, summed over all
sets at once.  A set that ran nothing in these hours is not among them; `exposure_spells`
says what stands in for its past.
"""

# ruff: noqa: PLR0917 - compiled functions take their arrays by position
from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numba import njit

from ringland.exposure.exposure_spells import session_totals
from ringland.exposure.running_course import group_starts
from ringland.fuel.tank_kernel import Flags, Floats, Ints, compiled
from ringland.settings.assumptions import Assumptions

_AMOUNTS = ("hours", "hard_h", "short_onh", "aged_l", "age_ld")


@dataclass(frozen=True)
class RunningSets:
    """The sessions of every set, laid out once for looks from many instants at many hours.

    `starts` is the first session of each of the `names`; `amounts` has a column per total.
    Hours that are not on record are NaN.
    """

    names: pl.Series
    starts: Ints
    begin_h: Floats
    end_h: Floats
    ended_us: Ints
    amounts: Floats
    is_raised: Flags
    trailing_h: float

    @classmethod
    def of(cls, exposure: pl.DataFrame, assumptions: Assumptions) -> RunningSets:
        """From `SessionExposure`; rentals of no set count for nothing.

        Args:
            exposure: the rentals.
            assumptions: exposure.trailing_h and what stands in for no record.
        """
        rows = session_totals(
            exposure.filter(pl.col("piston_set_id").is_not_null()), assumptions
        ).sort("piston_set_id", "set_h_start", "started_at", nulls_last=True)
        names = rows["piston_set_id"].unique(maintain_order=True)
        place = rows["piston_set_id"].rle_id().to_numpy().astype(np.int64)
        return cls(
            names=names,
            starts=group_starts(place, names.len()),
            begin_h=_floats(rows["set_h_start"]),
            end_h=_floats(rows["set_h_stop"]),
            ended_us=compiled(rows["ended_at"].dt.timestamp("us").to_numpy(), np.int64),
            amounts=np.column_stack([_floats(rows[name].fill_null(0.0)) for name in _AMOUNTS]),
            is_raised=compiled(
                (rows["calibration"] == "raised").fill_null(value=False).to_numpy(), np.uint8
            ),
            trailing_h=assumptions.number("exposure.trailing_h"),
        )

    def reached(self, until: datetime) -> pl.DataFrame:
        """Every set that had come back by an instant, and the hour it had reached.

        Returns:
            piston_set_id, reached_h (null where its hours are not on record); in order of set.
        """
        reached = np.empty(self.names.len())
        had_run = np.empty(self.names.len(), np.bool_)
        _reached(self.starts, self.end_h, self.ended_us, _micros(until), reached, had_run)
        found = pl.DataFrame({"piston_set_id": self.names, "reached_h": reached})
        return found.filter(had_run).with_columns(pl.col("reached_h").fill_nan(None))

    def at_hour(self, hour: float, until: datetime) -> pl.DataFrame:
        """The trailing covariates at an hour of every set that ran in the hours before it.

        Args:
            hour: engine hours since each set was fitted.
            until: rentals that ended later are not known.

        Returns:
            piston_set_id, shortfall_25h_on, fuel_age_25h_d, full_throttle_25h,
            is_raised_calibration; in order of set.
        """
        sums = np.zeros((self.names.len(), len(_AMOUNTS)))
        under_way = np.full(self.names.len(), -1, np.int64)
        since = hour - self.trailing_h
        _summed(
            self.starts, self.begin_h, self.end_h, self.ended_us, self.amounts, since, hour,
            _micros(until), sums, under_way,
        )  # fmt: skip
        ran = (under_way >= 0) & (sums[:, 0] > 0)
        totals = dict(zip(_AMOUNTS, sums[ran].T, strict=True))
        return pl.DataFrame(
            {
                "piston_set_id": self.names.filter(pl.Series(ran)),
                "shortfall_25h_on": _ratio(totals["short_onh"], totals["hard_h"]),
                "fuel_age_25h_d": _ratio(totals["age_ld"], totals["aged_l"]),
                "full_throttle_25h": totals["hard_h"] / totals["hours"],
                "is_raised_calibration": self.is_raised[under_way[ran]] > 0,
            }
        )


def _floats(column: pl.Series) -> Floats:
    return compiled(column.cast(pl.Float64).to_numpy(), np.float64)  # null comes as NaN


def _micros(at: datetime) -> int:
    return int(pl.Series([at]).dt.timestamp("us")[0])


def _ratio(part: Floats, whole: Floats) -> Floats:
    return np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), 0.0)


@njit("void(i8[::1],f8[::1],i8[::1],i8,f8[::1],b1[::1])", cache=True, nogil=True)
def _reached(starts, end_h, ended_us, until_us, reached, had_run):  # type: ignore[no-untyped-def]
    for group in range(len(starts) - 1):
        most, ran = np.nan, False
        for i in range(starts[group], starts[group + 1]):
            if ended_us[i] <= until_us:
                ran = True
                if not end_h[i] <= most:
                    most = end_h[i] if end_h[i] == end_h[i] else most
        reached[group], had_run[group] = most, ran


@njit(
    "void(i8[::1],f8[::1],f8[::1],i8[::1],f8[:,::1],f8,f8,i8,f8[:,::1],i8[::1])",
    cache=True,
    nogil=True,
)
def _summed(  # type: ignore[no-untyped-def]
    starts, begin_h, end_h, ended_us, amounts, since, hour, until_us, sums, under_way
):
    for group in range(len(starts) - 1):
        over, late = 0, 0
        for i in range(starts[group], starts[group + 1]):
            if not end_h[i] > since or ended_us[i] > until_us:
                continue  # what ended before counts for nothing
            late += 1
            if end_h[i] <= hour:
                over += 1
            length = end_h[i] - begin_h[i]
            share = 0.0
            if length > 0:
                inside = min(end_h[i], hour) - max(begin_h[i], since)
                share = min(max(inside / length, 0.0), 1.0)
            for column in range(amounts.shape[1]):
                sums[group, column] += amounts[i, column] * share
        place = min(over, late - 1)  # the session under way, or the next one
        for i in range(starts[group], starts[group + 1]):
            if end_h[i] > since and ended_us[i] <= until_us:
                if place == 0:
                    under_way[group] = i
                    break
                place -= 1
