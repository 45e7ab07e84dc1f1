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

import dataframely as dy
import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import CurrentExposure, Spells
from ringland.contracts.row_order import in_order
from ringland.exposure.running_course import LEAST_STRETCH_H, Course, group_starts, stretch_edges
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
    ran = pl.col("exit_h") > pl.col("entry_h") + LEAST_STRETCH_H
    lives = lives.filter(ran).sort("piston_set_id")
    book = _book(exposure, lives, assumptions)
    entry, exit_h = (lives.get_column(name).to_numpy() for name in ("entry_h", "exit_h"))
    life, edge = stretch_edges(entry, exit_h, assumptions.number("exposure.spell_h"))
    at = _instants(book, life, edge)
    same = life[1:] == life[:-1]
    begin, end = np.flatnonzero(np.append(same, False)), np.flatnonzero(np.insert(same, 0, False))
    is_last = np.append(life[end][1:] != life[end][:-1], True) if len(end) else np.empty(0, bool)
    mode = lives.get_column("mode")[life[end]]
    table = _covariates(book, life[begin], edge[begin], assumptions).with_columns(
        start_h=edge[begin],
        stop_h=edge[end],
        start_at=pl.Series(at[begin]).cast(_INSTANT),
        stop_at=pl.Series(at[end]).cast(_INSTANT),
        mode=pl.select(pl.when(pl.Series(is_last)).then(mode)).to_series(),
    )
    return Spells.validate(table.select(Spells.column_names()), cast=True)


def current_exposure(
    exposure: pl.DataFrame, lives: pl.DataFrame, assumptions: Assumptions
) -> dy.DataFrame[CurrentExposure]:
    """The covariates of every running set as they stand at the end of its record."""
    table = covariates_now(exposure, lives, assumptions)
    return CurrentExposure.validate(table.select(CurrentExposure.column_names()), cast=True)


def covariates_now(
    exposure: pl.DataFrame, lives: pl.DataFrame, assumptions: Assumptions
) -> pl.DataFrame:
    """The rows of `current_exposure` before they are held to their contract, for a few sets."""
    lives = lives.filter(pl.col("state") == "running").sort("piston_set_id")
    book = _book(exposure, lives, assumptions)
    age_h = lives.get_column("exit_h").to_numpy()
    life = np.arange(lives.height)
    ended = book.of_set.rows.get_column("ended_at")
    last = book.of_set.starts[book.set_of + 1] - 1
    seen = pl.Series(np.where(book.set_of >= 0, last, 0)) if ended.len() else None
    last_at = (
        pl.select(pl.when(pl.Series(book.set_of >= 0)).then(ended[seen])).to_series()
        if seen is not None
        else pl.Series([None] * lives.height, dtype=_INSTANT)
    )
    return _covariates(book, life, age_h, assumptions).with_columns(
        age_h=age_h, last_session_at=last_at.cast(_INSTANT)
    )


@dataclass(frozen=True)
class _Book:
    """The sessions by set, by hull and by dock, and the lives to look up.

    `set_of`, `hull_of` and `dock_of` are each life's group in the three; -1: none.
    """

    lives: pl.DataFrame
    of_set: Course
    of_hull: Course
    of_dock: Course
    set_of: Ints
    hull_of: Ints
    dock_of: Ints
    hull_of_session: Ints
    """per session of `of_set`, its hull's group"""


def set_course(rows: pl.DataFrame) -> tuple[Course, pl.Series]:
    """The sessions of each set by its hours, and the sets' names in the order of the groups."""
    ran = pl.col("piston_set_id").is_not_null() & pl.col("set_h_start").is_not_null()
    mine = in_order(rows.filter(ran), "piston_set_id", "set_h_start", "started_at")
    names, starts = _grouped(mine, "piston_set_id")
    start_h, stop_h = (_floats(mine, name) for name in ("set_h_start", "set_h_stop"))
    return Course(mine, starts, start_h, stop_h), names


def group_of(names: pl.Series, wanted: pl.Series) -> Ints:
    """The place of each wanted name among the names; -1 for none of them."""
    places = pl.DataFrame({"name": names, "place": np.arange(names.len())})
    found = pl.DataFrame({"name": wanted}).join(
        places, on="name", how="left", maintain_order="left"
    )
    return found.get_column("place").fill_null(-1).to_numpy().astype(np.int64)


def _book(exposure: pl.DataFrame, lives: pl.DataFrame, assumptions: Assumptions) -> _Book:
    rows = session_totals(exposure, assumptions)
    of_set, sets = set_course(rows)
    by_hull = in_order(rows, "hull_id", "started_at")
    hulls, hull_starts = _grouped(by_hull, "hull_id")
    hours = _floats(by_hull, "hours")
    stop = np.cumsum(hours)
    stop -= np.repeat(np.append(0.0, stop)[hull_starts[:-1]], np.diff(hull_starts))
    by_dock = rows.filter(pl.col("dock_id").is_not_null()).sort("dock_id", "started_at")
    docks, dock_starts = _grouped(by_dock, "dock_id")
    none = np.zeros(by_dock.height)
    return _Book(
        lives,
        of_set,
        Course(by_hull, hull_starts, stop - hours, stop),
        Course(by_dock, dock_starts, none, none),
        group_of(sets, lives.get_column("piston_set_id")),
        group_of(hulls, lives.get_column("hull_id")),
        group_of(docks, lives.get_column("dock_id")),
        group_of(hulls, of_set.rows.get_column("hull_id")),
    )


def _grouped(rows: pl.DataFrame, by: str) -> tuple[pl.Series, Ints]:
    names = rows.get_column(by).unique(maintain_order=True)
    place = rows.get_column(by).rle_id().to_numpy().astype(np.int64)
    return names, group_starts(place, names.len())


def _floats(rows: pl.DataFrame, name: str) -> Floats:
    return np.require(rows.get_column(name).to_numpy(), np.float64, ["C", "W"])


def _covariates(book: _Book, life: Ints, hours: Floats, assumptions: Assumptions) -> pl.DataFrame:
    """The covariates of lives at hours of each, from what lies before.

    Args:
        book: the sessions, and the lives.
        life: row of each life among the book's.
        hours: of that life.
        assumptions: exposure.trailing_h and what stands in for no record.
    """
    group = book.set_of[life]
    since = hours - assumptions.number("exposure.trailing_h")
    past = {name: book.of_set.gained(name, group, since, hours) for name in _TOTALS}
    now = book.of_set.session_at(group, hours)
    _stand_in(book, past, life, now, assumptions)
    usual = assumptions.number("exposure.full_throttle_share")
    onh = book.of_set.gained("short_onh", group, np.zeros(len(hours)), hours)
    of_life = book.lives.select(
        "piston_set_id", "engine_id", "piston_type", "build_number", own_hull="hull_id",
        own_dock="dock_id",
    )[life]  # fmt: skip
    ridden = book.of_set.rows.select("hull_id", "dock_id", "calibration")
    if ridden.height:
        seen = ridden[np.maximum(now, 0)].with_columns(has=pl.Series(now >= 0))
    else:
        seen = ridden.clear(len(life)).with_columns(has=pl.lit(value=False))
    return (
        of_life.hstack(seen)
        .with_columns(
            shortfall_25h_on=_ratio(past["short_onh"], past["hard_h"]),
            shortfall_25h_low_on=_ratio(past["short_low_onh"], past["hard_h"]),
            shortfall_25h_high_on=_ratio(past["short_high_onh"], past["hard_h"]),
            shortfall_life_onh=onh,
            fuel_age_25h_d=_ratio(past["age_ld"], past["aged_l"]),
            share_over_28d_25h=_ratio(past["old_l"], past["aged_l"]),
            full_throttle_25h=_ratio(past["hard_h"], past["hours"], usual),
            known_share_25h=_ratio(past["known_l"], past["litres"]),
            hull_id=pl.when("has").then("hull_id").otherwise("own_hull"),
            dock_id=pl.when("has").then("dock_id").otherwise("own_dock"),
            is_raised_calibration=pl.col("has")
            & (pl.col("calibration") == "raised").fill_null(value=False),
            is_forged=pl.col("piston_type") == "forged",
        )
        .drop("own_hull", "own_dock", "has", "calibration", "piston_type")
    )


def _stand_in(
    book: _Book, past: dict[str, Floats], life: Ints, now: Ints, assumptions: Assumptions
) -> None:
    """Fill in, in place, what stands in for a past the set lacks.

    That of its hull; failing that, for a set under way the fuel it starts on with the usual
    full-throttle share, for one that has not run all its dock's past.  Of a set that has not
    run no litre counts as known.
    """
    rows = np.flatnonzero(past["hours"] <= 0)
    if not len(rows):
        return
    runs = now[rows] >= 0
    session, who = now[rows], life[rows]
    began = _micros(book.of_set.rows, "started_at")
    fitted = _micros(book.lives, "fitted_at")[who]
    at_us, hull = fitted.copy(), book.hull_of[who]
    at_us[runs] = began[session[runs]]
    hull = np.where(runs, np.append(book.hull_of_session, -1)[session], hull)
    count = _begun_before(book.of_hull, hull, at_us)
    ends = np.append(book.of_hull.stop_h, 0.0)
    hour = np.where(count >= 0, ends[count], 0.0)
    since = np.maximum(hour - assumptions.number("exposure.trailing_h"), 0.0)
    until = _begun_before(book.of_dock, book.dock_of[who], fitted)
    first = np.append(book.of_dock.starts, 0)[book.dock_of[who]]
    of_hull = book.of_hull.gained("hours", hull, since, hour) > 0
    hard = np.append(_floats(book.of_set.rows, "hard_h"), 0.0)[session]
    full = np.append(_floats(book.of_set.rows, "hours"), 0.0)[session]
    usual = assumptions.number("exposure.full_throttle_share")
    share = np.where(hard > 0, usual * full / np.where(hard > 0, hard, 1.0), 0.0)
    for name in _TOTALS:
        hulls = book.of_hull.gained(name, hull, since, hour)
        own = np.append(book.of_set.amounts(name), 0.0)[session]
        own = own * (share if name in _HARD else 1.0)
        total = np.append(0.0, np.cumsum(book.of_dock.amounts(name)))
        docks = np.where(until >= 0, total[until + 1] - total[np.maximum(first, 0)], 0.0)
        if name == "known_l":
            docks, hulls = 0.0 * docks, np.where(runs, hulls, 0.0)
        past[name][rows] = np.where(of_hull, hulls, np.where(runs, own, docks))


def _begun_before(course: Course, group: Ints, at_us: Ints) -> Ints:
    """The last session of each group that began before an instant; -1: none."""
    began = _micros(course.rows, "started_at")
    out = np.full(len(group), -1, np.int64)
    for i in np.flatnonzero(group >= 0):
        first, last = course.starts[group[i]], course.starts[group[i] + 1]
        row = first + np.searchsorted(began[first:last], at_us[i], "left") - 1
        out[i] = row if row >= first else -1
    return out


def _micros(rows: pl.DataFrame, name: str) -> Ints:
    return rows.get_column(name).dt.timestamp("us").to_numpy().astype(np.int64)


def _instants(book: _Book, life: Ints, hours: Floats) -> Ints:
    """When each set reached each hour: within the session that ran it, else by the one before."""
    course, group = book.of_set, book.set_of[life]
    fitted = _micros(book.lives, "fitted_at")[life]
    end = book.lives.select(pl.coalesce("ended_at", "fitted_at").alias("at"))
    ended = _micros(end, "at")[life]
    is_last = np.append(life[1:] != life[:-1], True)
    without = np.where(is_last, ended, fitted)
    if not course.rows.height:
        return without
    begun, over = (np.append(_micros(course.rows, name), 0) for name in ("started_at", "ended_at"))
    start_h, stop_h = np.append(course.start_h, 0.0), np.append(course.stop_h, 0.0)
    final = course.starts[group + 1] - 1
    reaching = course.session_reaching(group, hours)
    inside = np.minimum(reaching, final)
    length = np.maximum(stop_h[inside] - start_h[inside], 1e-12)
    part = np.clip((hours - start_h[inside]) / length, 0.0, 1.0)
    instant = begun[inside] + (part * (over[inside] - begun[inside])).astype(np.int64)
    waiting = (hours <= start_h[inside]) & (inside > course.starts[group])
    instant = np.where(waiting, over[np.maximum(inside - 1, 0)], instant)
    has_ended = book.lives.get_column("ended_at").is_not_null().to_numpy()[life]
    last = np.where(has_ended, ended, over[final])
    instant = np.where(reaching > final, np.maximum(last, over[final]), instant)
    return np.where(group >= 0, instant, without)


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
