"""The analysis table: each piston set's life cut into stretches with past-only covariates.

Over a set's hours every quantity of a session (hard hours, shortfall x hard hours, litres,
litres x age) is spread evenly over the hours of that session, so its running total is a
piecewise linear function of set hours and a trailing mean is a ratio of two differences.
That makes the covariates at an hour independent of where the stretches are cut.

At its first hour a set has no past of its own: it takes on what the hull burned in the
trailing hours before, and where there is no such record the fuel it starts on with the
setting's full-throttle share.  A set that has not run at all takes on its hull's or its
dock's past, with nothing known.  With no record whatever the covariates are zero and
known_share_25h, also zero, says that they say nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import dataframely as dy
import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import CurrentExposure, Spells
from ringland.fuel.tank_kernel import Floats, Ints
from ringland.settings.assumptions import Assumptions

_HARD = ["hard_h", "short_onh", "short_low_onh", "short_high_onh"]
_TOTALS = ["hours", *_HARD, "litres", "known_l", "aged_l", "age_ld", "old_l"]
_INSTANT = pl.Datetime("us", "UTC")


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
    parts = []
    for life in lives.sort("piston_set_id").iter_rows(named=True):
        entry, exit_h = life["entry_h"], life["exit_h"]
        if not exit_h > entry:
            continue
        cuts = stretch_edges(entry, exit_h, step)
        at = book.instants(life, cuts)
        parts.append(
            book.covariates(life, cuts[:-1]).with_columns(
                start_h=cuts[:-1],
                stop_h=cuts[1:],
                start_at=at[:-1],
                stop_at=at[1:],
                mode=pl.Series([None] * (len(cuts) - 2) + [life["mode"]], dtype=pl.String),
            )
        )
    return Spells.validate(_stacked(parts, Spells), cast=True)


def current_exposure(
    exposure: pl.DataFrame, lives: pl.DataFrame, assumptions: Assumptions
) -> dy.DataFrame[CurrentExposure]:
    """The covariates of every running set as they stand at the end of its record."""
    book = _Book(exposure, assumptions)
    parts = [
        book.covariates(life, np.array([life["exit_h"]])).with_columns(
            age_h=pl.lit(life["exit_h"]),
            last_session_at=pl.Series([book.last_session_at(life)], dtype=_INSTANT),
        )
        for life in lives.filter(pl.col("state") == "running")
        .sort("piston_set_id")
        .iter_rows(named=True)
    ]
    return CurrentExposure.validate(_stacked(parts, CurrentExposure), cast=True)


def stretch_edges(entry_h: float, exit_h: float, step_h: float) -> Floats:
    """A life's entry, the multiples of the step within it, and its exit."""
    inner = np.arange(np.floor(entry_h / step_h) + 1, np.ceil(exit_h / step_h)) * step_h
    return np.array([entry_h, *inner[(inner > entry_h) & (inner < exit_h)], exit_h])


def _stacked(parts: list[pl.DataFrame], schema: type[dy.Schema]) -> pl.DataFrame:
    empty = pl.DataFrame(schema=schema.create_empty().schema)
    return pl.concat([empty, *(part.select(empty.columns).cast(empty.schema) for part in parts)])


@dataclass(frozen=True)
class _Course:
    """Running totals of one set (or hull) over its hours, and the sessions that made them."""

    at_h: Floats
    totals: Floats
    start_h: Floats
    stop_h: Floats
    rows: pl.DataFrame

    def between(self, low_h: Floats, high_h: Floats) -> dict[str, Floats]:
        """What ran between two hours, by the names in _TOTALS."""
        if len(self.at_h) == 0:
            return {name: np.zeros(len(high_h)) for name in _TOTALS}
        return {
            name: np.interp(high_h, self.at_h, total) - np.interp(low_h, self.at_h, total)
            for name, total in zip(_TOTALS, self.totals.T, strict=True)
        }

    def session_at(self, hour: Floats) -> Ints:
        """The session under way at each hour, or the next one, or the last."""
        at = np.searchsorted(self.stop_h, hour, "right")
        return np.minimum(at, max(len(self.stop_h) - 1, 0))


def _course(part: pl.DataFrame, start_h: Floats, stop_h: Floats) -> _Course:
    edges = np.empty(2 * part.height)
    edges[0::2], edges[1::2] = start_h, stop_h
    amounts = part.select(_TOTALS).to_numpy()
    after = np.cumsum(amounts, axis=0)
    totals = np.empty((2 * part.height, len(_TOTALS)))
    totals[0::2], totals[1::2] = after - amounts, after
    return _Course(np.maximum.accumulate(edges), totals, start_h, stop_h, part)


class _Book:
    """The sessions by set and by hull, looked up while lives are cut."""

    def __init__(self, exposure: pl.DataFrame, assumptions: Assumptions) -> None:
        self._trailing_h = assumptions.number("exposure.trailing_h")
        self._usual_share = assumptions.number("exposure.full_throttle_share")
        rows = session_totals(exposure, assumptions)
        of_sets = rows.filter(
            pl.col("piston_set_id").is_not_null() & pl.col("set_h_start").is_not_null()
        ).sort("piston_set_id", "set_h_start", "started_at")
        self._of_set = {
            str(name[0]): _course(
                part,
                part.get_column("set_h_start").to_numpy(),
                part.get_column("set_h_stop").to_numpy(),
            )
            for name, part in of_sets.partition_by("piston_set_id", as_dict=True).items()
        }
        self._of_hull = {}
        by_hull = rows.sort("hull_id", "started_at")
        for name, part in by_hull.partition_by("hull_id", as_dict=True).items():
            hours = part.get_column("hours").to_numpy()
            stop = np.cumsum(hours)
            self._of_hull[str(name[0])] = _course(part, stop - hours, stop)
        self._rows = rows
        self._none = _course(rows.clear(), np.empty(0), np.empty(0))

    def _course_of(self, life: dict[str, Any]) -> _Course:
        return self._of_set.get(str(life["piston_set_id"]), self._none)

    def covariates(self, life: dict[str, Any], hours: Floats) -> pl.DataFrame:
        """The covariates of a set at hours of its life, from what lies before each."""
        course = self._course_of(life)
        past = course.between(hours - self._trailing_h, hours)
        has_rows = course.rows.height > 0
        now = course.rows[course.session_at(hours)] if has_rows else None
        for i in np.flatnonzero(past["hours"] <= 0):
            before = (
                self._at_dock(life) if now is None else self._before(now.row(int(i), named=True))
            )
            for name in _TOTALS:
                past[name][i] = before[name]
        onh = course.between(np.zeros(len(hours)), hours)["short_onh"]
        share = _ratio(past["hard_h"], past["hours"], self._usual_share)
        table = pl.DataFrame(
            {
                "shortfall_25h_on": _ratio(past["short_onh"], past["hard_h"]),
                "shortfall_25h_low_on": _ratio(past["short_low_onh"], past["hard_h"]),
                "shortfall_25h_high_on": _ratio(past["short_high_onh"], past["hard_h"]),
                "shortfall_life_onh": onh,
                "fuel_age_25h_d": _ratio(past["age_ld"], past["aged_l"]),
                "share_over_28d_25h": _ratio(past["old_l"], past["aged_l"]),
                "full_throttle_25h": share,
                "known_share_25h": _ratio(past["known_l"], past["litres"]),
            }
        )
        place = (
            {"hull_id": now.get_column("hull_id"), "dock_id": now.get_column("dock_id")}
            if now is not None
            else {"hull_id": pl.lit(life["hull_id"]), "dock_id": pl.lit(life["dock_id"])}
        )
        raised = (
            (now.get_column("calibration") == "raised").fill_null(value=False)
            if now is not None
            else pl.lit(value=False)
        )
        return table.with_columns(
            piston_set_id=pl.lit(life["piston_set_id"]),
            engine_id=pl.lit(life["engine_id"]),
            is_raised_calibration=raised,
            is_forged=pl.lit(life["piston_type"] == "forged"),
            build_number=pl.lit(life["build_number"]),
            **place,
        )

    def _before(self, now: dict[str, Any]) -> dict[str, float]:
        """What stands in for a past the set lacks: the hull's, or the fuel it starts on."""
        past = self._of_hull_until(str(now["hull_id"]), now["started_at"])
        if past["hours"] > 0:
            return past
        hard = now["hard_h"]
        share = self._usual_share * now["hours"] / hard if hard > 0 else 0.0
        return {name: now[name] * (share if name in _HARD else 1.0) for name in _TOTALS}

    def _at_dock(self, life: dict[str, Any]) -> dict[str, float]:
        """The same for a set that has not run: its hull's past, or all its dock's.

        None of it is known of this set, so no litre counts as known.
        """
        past = self._of_hull_until(str(life["hull_id"]), life["fitted_at"])
        if past["hours"] <= 0:
            there = self._rows.filter(
                (pl.col("dock_id") == pl.lit(life["dock_id"], dtype=pl.String))
                & (pl.col("started_at") < life["fitted_at"])
            )
            past = there.select(pl.col(_TOTALS).sum()).row(0, named=True)
        return past | {"known_l": 0.0}

    def _of_hull_until(self, hull_id: str, at: datetime) -> dict[str, float]:
        hull = self._of_hull.get(hull_id, self._none)
        run = int(hull.rows.get_column("started_at").search_sorted(at, "left"))
        hour = hull.stop_h[[run - 1]] if run > 0 else np.zeros(1)
        past = hull.between(np.maximum(hour - self._trailing_h, 0.0), hour)
        return {name: float(total[0]) for name, total in past.items()}

    def instants(self, life: dict[str, Any], hours: Floats) -> pl.Series:
        """When a set reached each hour: within the session that ran it, else by the one before."""
        course = self._course_of(life)
        if course.rows.height == 0:
            end = life["ended_at"] or life["fitted_at"]
            return pl.Series([life["fitted_at"]] * (len(hours) - 1) + [end], dtype=_INSTANT)
        begun, over = (
            course.rows.get_column(name).dt.timestamp("us").to_numpy()
            for name in ("started_at", "ended_at")
        )
        at = np.searchsorted(course.stop_h, hours, "left")
        inside = np.minimum(at, len(over) - 1)
        length = course.stop_h[inside] - course.start_h[inside]
        part = np.clip((hours - course.start_h[inside]) / np.maximum(length, 1e-12), 0.0, 1.0)
        instant = begun[inside] + (part * (over[inside] - begun[inside])).astype(np.int64)
        waiting = (hours <= course.start_h[inside]) & (inside > 0)
        instant = np.where(waiting, over[np.maximum(inside - 1, 0)], instant)
        end = life["ended_at"]
        last = over[-1] if end is None else int(end.timestamp() * 1e6)
        instant = np.where(at >= len(over), np.maximum(last, over[-1]), instant)
        return pl.Series(instant).cast(_INSTANT)

    def last_session_at(self, life: dict[str, Any]) -> Any:
        """When the set last ran; null if no session of it is on record."""
        rows = self._course_of(life).rows
        return rows.get_column("ended_at")[-1] if rows.height else None


def _ratio(part: Floats, whole: Floats, otherwise: float = 0.0) -> Floats:
    return np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), otherwise)


def session_totals(exposure: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
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
        short_on=best,
        short_onh=hard * best,
        short_low_onh=hard * low,
        short_high_onh=hard * high,
        litres=litres,
        known_l=pl.when(no_need).then(0.0).otherwise(litres * (1 - pl.col("unknown_share"))),
        aged_l=pl.when(aged).then(litres).otherwise(0.0),
        age_ld=(litres * pl.col("fuel_age_d")).fill_null(0.0),
        old_l=(litres * pl.col("share_over_28d")).fill_null(0.0),
    )
