"""The analysis table: each piston set's life cut into stretches with past-only covariates.

Over a set's hours every quantity of a session (hard hours, shortfall x hard hours, litres,
litres x age) is spread evenly over the hours of that session, so its running total is a
piecewise linear function of set hours and a trailing mean is a ratio of two differences.
That makes the covariates at an hour independent of where the stretches are cut.

At its first hour a set has no past of its own: it takes on what the hull burned in the
trailing hours before, and where there is no such record the fuel it starts on with the
setting's full-throttle share.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl

from ringland.assumptions import Assumptions
from ringland.fuel_exposure.tables import CurrentExposure, Spells
from ringland.fuel_exposure.tank_kernel import Floats

_TOTALS = ["hours", "hard_h", "hard_known_h", "short_onh", "short_low_onh", "short_high_onh",
           "litres", "known_l", "aged_l", "age_ld", "old_l"]  # fmt: skip


@dataclass(frozen=True)
class _Course:
    """One set's (or hull's) running totals over its hours, and its sessions."""

    at_h: Floats
    totals: Floats
    sessions: pl.DataFrame

    def until(self, hour: float) -> Floats:
        if len(self.at_h) == 0:
            return np.zeros(len(_TOTALS))
        return np.array([np.interp(hour, self.at_h, column) for column in self.totals.T])

    def between(self, low_h: float, high_h: float) -> dict[str, float]:
        change = self.until(high_h) - self.until(low_h)
        return dict(zip(_TOTALS, change.tolist(), strict=True))


def spells(
    exposure: pl.DataFrame, lives: pl.DataFrame, assumptions: Assumptions
) -> dy.DataFrame[Spells]:
    """Stretches (start, stop] that tile each life's (entry_h, exit_h], with covariates at start.

    Cuts fall on multiples of exposure.spell_h set hours.  A life that failed carries its
    mode on its last stretch.  A life without observed hours gives none.

    Args:
        exposure: the SessionExposure frame.
        lives: the PistonLives frame.
        assumptions: exposure.spell_h, exposure.trailing_h and what stands in for no record.
    """
    step = assumptions.number("exposure.spell_h")
    book = _Book(exposure, assumptions)
    rows = []
    for life in lives.sort("piston_set_id").iter_rows(named=True):
        entry, exit_h = life["entry_h"], life["exit_h"]
        if not exit_h > entry:
            continue
        inner = np.arange(np.floor(entry / step) + 1, np.ceil(exit_h / step)) * step
        inner = inner[(inner > entry) & (inner < exit_h)]
        cuts = [entry, *inner.tolist(), exit_h]
        for start, stop in pairwise(cuts):
            rows.append(
                book.covariates(life, start)
                | {
                    "start_h": start,
                    "stop_h": stop,
                    "start_at": book.instant(life, start),
                    "stop_at": book.instant(life, stop),
                    "mode": life["mode"] if stop == exit_h else None,
                }
            )
    return Spells.validate(_frame(rows, Spells), cast=True)


def current_exposure(
    exposure: pl.DataFrame, lives: pl.DataFrame, assumptions: Assumptions
) -> dy.DataFrame[CurrentExposure]:
    """The covariates of every running set as they stand at the end of its record."""
    book = _Book(exposure, assumptions)
    rows = [
        book.covariates(life, life["exit_h"])
        | {"age_h": life["exit_h"], "last_session_at": book.last_session_at(life)}
        for life in lives.filter(pl.col("state") == "running")
        .sort("piston_set_id")
        .iter_rows(named=True)
    ]
    return CurrentExposure.validate(_frame(rows, CurrentExposure), cast=True)


def _frame(rows: list[dict[str, Any]], schema: type[dy.Schema]) -> pl.DataFrame:
    return pl.DataFrame(rows, schema=schema.create_empty().schema, orient="row")


class _Book:
    """The sessions by set and by hull, looked up while the stretches are cut."""

    def __init__(self, exposure: pl.DataFrame, assumptions: Assumptions) -> None:
        self._trailing_h = assumptions.number("exposure.trailing_h")
        self._usual_share = assumptions.number("exposure.full_throttle_share")
        rows = _session_totals(exposure, assumptions)
        by_set = rows.filter(
            pl.col("piston_set_id").is_not_null() & pl.col("set_h_start").is_not_null()
        ).sort("piston_set_id", "set_h_start", "started_at")
        self._of_set = {
            str(name[0]): _course(
                part, part.get_column("set_h_start"), part.get_column("set_h_stop")
            )
            for name, part in by_set.partition_by("piston_set_id", as_dict=True).items()
        }
        self._of_hull = {}
        by_hull = rows.sort("hull_id", "started_at")
        for name, part in by_hull.partition_by("hull_id", as_dict=True).items():
            stop = part.get_column("hours").cum_sum()
            self._of_hull[str(name[0])] = _course(part, stop - part.get_column("hours"), stop)
        self._none = _course(
            rows.clear(), pl.Series([], dtype=pl.Float64), pl.Series([], dtype=pl.Float64)
        )

    def _course_of(self, life: dict[str, Any]) -> _Course:
        return self._of_set.get(str(life["piston_set_id"]), self._none)

    def covariates(self, life: dict[str, Any], hour: float) -> dict[str, Any]:
        """The covariates of a set at an hour of its life, from what lies before it."""
        course = self._course_of(life)
        past = course.between(hour - self._trailing_h, hour)
        now = _session_at(course, hour)
        hull = now["hull_id"] if now else life["hull_id"]
        if past["hours"] <= 0:
            past = self._before(course, now, str(hull))
        life_so_far = course.between(0.0, hour)
        hard, litres, aged = past["hard_h"], past["litres"], past["aged_l"]
        return {
            "piston_set_id": life["piston_set_id"],
            "engine_id": life["engine_id"],
            "hull_id": hull,
            "dock_id": now["dock_id"] if now else life["dock_id"],
            "shortfall_25h_on": past["short_onh"] / hard if hard > 0 else 0.0,
            "shortfall_25h_low_on": past["short_low_onh"] / hard if hard > 0 else 0.0,
            "shortfall_25h_high_on": past["short_high_onh"] / hard if hard > 0 else 0.0,
            "shortfall_life_onh": life_so_far["short_onh"],
            "fuel_age_25h_d": past["age_ld"] / aged if aged > 0 else 0.0,
            "share_over_28d_25h": past["old_l"] / aged if aged > 0 else 0.0,
            "full_throttle_25h": hard / past["hours"] if past["hours"] > 0 else self._usual_share,
            "is_raised_calibration": bool(now and now["calibration"] == "raised"),
            "is_forged": life["piston_type"] == "forged",
            "build_number": life["build_number"],
            "known_share_25h": past["known_l"] / litres if litres > 0 else 0.0,
        }

    def _before(self, course: _Course, now: dict[str, Any] | None, hull: str) -> dict[str, float]:
        """What stands in for a past the set does not have: the hull's, or the fuel it starts on."""
        nothing = dict.fromkeys(_TOTALS, 0.0)
        if now is None:
            return nothing
        hull_course = self._of_hull.get(hull, self._none)
        begun = hull_course.sessions.get_column("started_at").search_sorted(now["started_at"])
        hour = float(hull_course.sessions.get_column("start_h")[int(begun)])
        past = hull_course.between(max(hour - self._trailing_h, 0.0), hour)
        if past["hours"] > 0:
            return past
        first = {name: float(now[name]) for name in _TOTALS}
        share = self._usual_share * first["hours"] / first["hard_h"] if first["hard_h"] > 0 else 0.0
        hard = ("hard_h", "hard_known_h", "short_onh", "short_low_onh", "short_high_onh")
        return first | {name: first[name] * share for name in hard}

    def instant(self, life: dict[str, Any], hour: float) -> object:
        """When a set reached an hour: within the session that ran it, else by the one before."""
        rows = self._course_of(life).sessions
        if rows.height == 0:
            return (
                life["ended_at"]
                if hour >= life["exit_h"] and life["ended_at"]
                else life["fitted_at"]
            )
        at = int(rows.get_column("stop_h").search_sorted(hour, "left"))
        if at >= rows.height:
            return life["ended_at"] or rows.get_column("ended_at")[-1]
        row = rows.row(at, named=True)
        if hour <= row["start_h"]:
            return rows.get_column("ended_at")[at - 1] if at > 0 else row["started_at"]
        part = (hour - row["start_h"]) / (row["stop_h"] - row["start_h"])
        return row["started_at"] + part * (row["ended_at"] - row["started_at"])

    def last_session_at(self, life: dict[str, Any]) -> object:
        """When the set last ran; null if no session of it is on record."""
        rows = self._course_of(life).sessions
        return rows.get_column("ended_at")[-1] if rows.height else None


def _session_at(course: _Course, hour: float) -> dict[str, Any] | None:
    """The session under way at an hour, or the next one, or the last."""
    rows = course.sessions
    if rows.height == 0:
        return None
    at = int(rows.get_column("stop_h").search_sorted(hour, "right"))
    return rows.row(min(at, rows.height - 1), named=True)


def _course(part: pl.DataFrame, start_h: pl.Series, stop_h: pl.Series) -> _Course:
    edges = np.empty(2 * part.height)
    edges[0::2], edges[1::2] = start_h.to_numpy(), stop_h.to_numpy()
    amounts = part.select(_TOTALS).to_numpy()
    after = np.cumsum(amounts, axis=0)
    totals = np.empty((2 * part.height, len(_TOTALS)))
    totals[0::2], totals[1::2] = after - amounts, after
    rows = part.with_columns(start_h=start_h, stop_h=stop_h)
    return _Course(np.maximum.accumulate(edges), totals, rows)


def _session_totals(exposure: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """Per session, the amounts whose running totals the covariates are made of.

    Where the octane is not on record the shortfall is taken in the middle of its bounds;
    where the need is not, between none with a stock need on the best fuel and a raised
    need on the worst.  Neither counts as known.
    """
    stock = assumptions.number("octane.need_stock_aki")
    raised = assumptions.number("octane.need_raised_aki")
    hard = pl.col("hard_running_h")
    no_need = pl.col("octane_need_aki").is_null()
    octane = pl.col("octane_aki")
    low = pl.coalesce("shortfall_low_on", (stock - octane).clip(lower_bound=0.0), pl.lit(0.0))
    high = pl.coalesce(
        "shortfall_high_on",
        (raised - octane).clip(lower_bound=0.0),
        pl.lit(raised - assumptions.number("fuel.outside_low_aki")),
    )
    best = pl.coalesce("shortfall_on", (low + high) / 2)
    litres, aged = pl.col("burn_l"), pl.col("fuel_age_d").is_not_null()
    return exposure.with_columns(
        hours=pl.col("engine_h_stop") - pl.col("engine_h_start"),
        hard_h=hard,
        hard_known_h=hard * pl.col("shortfall_on").is_not_null(),
        short_onh=hard * best,
        short_low_onh=hard * low,
        short_high_onh=hard * high,
        litres=litres,
        known_l=pl.when(no_need).then(0.0).otherwise(litres * (1 - pl.col("unknown_share"))),
        aged_l=pl.when(aged).then(litres).otherwise(0.0),
        age_ld=(litres * pl.col("fuel_age_d")).fill_null(0.0),
        old_l=(litres * pl.col("share_over_28d")).fill_null(0.0),
    )
