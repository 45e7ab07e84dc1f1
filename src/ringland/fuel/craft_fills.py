"""What each fill of a craft's tank brought: octane with bounds, births, share of unknown octane.

A fill from a dock with deliveries on record brings that dock's blend and its ages at that
moment.  An outside fill brings its own grade, or, where none was written down, the range of
what the hull is known to take.  A fill nobody wrote down is taken to have come from the
home dock if the hull took at least fuel.home_fill_share of its litres there: then its
bounds are those of the dock's tank between the recorded fills around it.  Otherwise they
span every grade the hull is on record with and its dock's tank.  A hull that uses octane
booster may have used it then too.  No bound is wider than
the lowest and highest grade sold at the dock or named in the settings for outside pumps.
"""

# ruff: noqa: PLR0917 - a ledger step takes the frames it reads
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.fuel.dock_tanks import (
    QUALITY,
    US_PER_DAY,
    DockTanks,
    blend_range,
    put_ages,
)
from ringland.fuel.octane import boosted_on, with_aki
from ringland.fuel.tank_events import OPENING_STOCK, RECORDED, TankEvents
from ringland.fuel.tank_kernel import Floats, Ints
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class HullHabit:
    """Where a hull is on record to take its fuel, and which grades."""

    home_dock: int
    """row of its home dock among the docks with deliveries; -1: none on record"""
    home_share: float
    low_aki: float
    mean_aki: float
    high_aki: float
    mean_boost_on: float
    """octane booster as labelled, over all its recorded fills"""
    high_boost_on: float


@dataclass(frozen=True)
class Poured:
    """Per event of the craft tanks: what it poured, read at fills only."""

    quality: Floats
    born_us: Ints
    source_event: Ints
    """event of the dock run that poured it; -1: fuel of one age"""


def hull_habits(
    hulls: pl.DataFrame, fills: pl.DataFrame, names: list[str], docks: DockTanks, draw_of: Ints,
    assumptions: Assumptions,
) -> list[HullHabit]:  # fmt: skip
    """One habit per hull, in the order of `names`."""
    low, high = _outside(assumptions)
    spread = assumptions.number("octane.label_spread_on")
    own = with_aki(fills, assumptions).select(
        "octane_low_aki", "octane_best_aki", "octane_high_aki"
    )
    octane = own.cast(pl.Float64).fill_null(np.nan).to_numpy() + np.array([-spread, 0.0, spread])
    poured = draw_of >= 0
    octane[poured] = docks.run.quality[docks.draw_event[draw_of[poured]], :3]
    volume = fills.get_column("volume_l").to_numpy()
    boost = _boost(fills, assumptions)
    hull_of = fills.get_column("hull_id").to_numpy()
    source = fills.get_column("source_dock_id").to_numpy()
    home_of = dict(hulls.select("hull_id", "dock_id").iter_rows())
    rows_of = _rows_by(hull_of)
    habits = []
    for name in names:
        home = home_of[name]
        rows = rows_of.get(name, np.empty(0, np.int64))
        litres = volume[rows]
        at_home = float(litres[source[rows] == home].sum() / litres.sum()) if len(rows) else 1.0
        known = rows[~np.isnan(octane[rows, 1])]
        if len(known):
            bounds = (octane[known, 0].min(), octane[known, 2].max())
            mean = float(np.average(octane[known, 1], weights=volume[known]))
        else:
            bounds, mean = (low, high), (low + high) / 2
        dock = docks.names.index(home) if home in docks.names else -1
        boosts = boost[rows] if len(rows) else np.zeros(1)
        habits.append(
            HullHabit(
                home_dock=dock,
                home_share=at_home,
                low_aki=float(bounds[0]),
                mean_aki=mean,
                high_aki=float(bounds[1]),
                mean_boost_on=float(boosts.mean()),
                high_boost_on=float(boosts.max()),
            )
        )
    return habits


def unrecorded_draws(events: TankEvents, habits: list[HullHabit], docks: list[str]) -> pl.DataFrame:
    """What the unrecorded fills are expected to have drawn at the home dock: event and litres.

    A hull's unrecorded fills drew there in the proportion its recorded ones did.
    """
    rows = [
        i
        for i in np.flatnonzero((events.role != RECORDED) & (events.is_fill == 1))
        if events.role[i] != OPENING_STOCK and habits[events.tank_of[i]].home_dock >= 0
    ]
    return pl.DataFrame(
        {
            "event": np.array(rows, np.int64),
            "dock_id": [docks[habits[events.tank_of[i]].home_dock] for i in rows],
            "at": events.at_us[rows],
            "volume_l": [events.volume_l[i] * habits[events.tank_of[i]].home_share for i in rows],
        },
        schema_overrides={"dock_id": pl.String, "volume_l": pl.Float64},
    ).with_columns(
        pl.from_epoch("at", "us").dt.replace_time_zone("UTC"), is_inferred=pl.lit(value=True)
    )


def poured_fuel(
    events: TankEvents,
    fill_row: Ints,
    fills: pl.DataFrame,
    habits: list[HullHabit],
    docks: DockTanks,
    poured_by: Ints,
    assumptions: Assumptions,
) -> Poured:
    """What every fill among the events brought.

    Args:
        events: of the craft tanks.
        fill_row: per event, its row of `fills`; -1 for none.
        fills: the contract's frame.
        habits: per tank.
        docks: the docks' run.
        poured_by: per event, the dock event it drew; -1 for none.
        assumptions: ages and grades for what is not on record, booster benefit.
    """
    n = len(events.row)
    quality = np.zeros((n, len(QUALITY)))
    spread = assumptions.number("octane.label_spread_on")
    graded = with_aki(fills, assumptions)
    own = graded.select("octane_low_aki", "octane_best_aki", "octane_high_aki")
    own_octane = own.cast(pl.Float64).fill_null(np.nan).to_numpy() + np.array([-spread, 0, spread])
    recorded = (events.role == RECORDED) & (fill_row >= 0)
    quality[recorded, :3] = own_octane[fill_row[recorded]]
    open_share = graded.get_column("octane_open_share").fill_null(0.0).to_numpy()
    quality[recorded, 6] = open_share[fill_row[recorded]]
    added = (events.role != RECORDED) & (events.is_fill == 1)
    outside_d = assumptions.number("fuel.outside_age_d")
    oldest_d = assumptions.number("fuel.unrecorded_age_high_d")
    age = np.where(events.role == OPENING_STOCK, (outside_d + oldest_d) / 2, outside_d)
    spread_d = assumptions.number("fuel.outside_age_spread_d")
    low_d = np.where(added, 0.0, np.maximum(age - spread_d, 0.0))
    put_ages(quality, events.at_us, age, low_d, np.where(added, oldest_d, age + spread_d))
    born_us = (events.at_us - age * US_PER_DAY).astype(np.int64)
    from_dock = recorded & (poured_by >= 0)
    quality[from_dock] = docks.run.quality[poured_by[from_dock]]
    _fill_gaps(quality, events, added, recorded, habits, docks, poured_by, assumptions)
    benefit = np.array([0.0, assumptions.number("octane.booster_benefit"), 1.0])
    boost = _boost(fills, assumptions)[fill_row[recorded]]
    quality[recorded, :3] += boost[:, None] * benefit
    habit_on = [(0.0, h.mean_boost_on * benefit[1], h.high_boost_on) for h in habits]
    quality[added, :3] += np.array(habit_on).reshape(-1, 3)[events.tank_of[added]]
    return Poured(quality, born_us, np.where(events.is_fill == 1, poured_by, -1))


def _fill_gaps(
    quality: Floats, events: TankEvents, added: Floats, recorded: Floats,
    habits: list[HullHabit], docks: DockTanks, poured_by: Ints, assumptions: Assumptions,
) -> None:  # fmt: skip
    """Octane of unrecorded fills and of recorded ones without a grade, in place."""
    gaps = added | (recorded & np.isnan(quality[:, 1]))
    for i in np.flatnonzero(gaps):
        habit = habits[events.tank_of[i]]
        low, best, high = habit.low_aki, habit.mean_aki, habit.high_aki
        if habit.home_dock >= 0:
            dock_low, dock_high = blend_range(
                docks, habit.home_dock, int(events.earliest_us[i]), int(events.latest_us[i])
            )
            has_blend = not math.isnan(dock_low)
            at_home = habit.home_share >= assumptions.number("fuel.home_fill_share")
            if added[i] and at_home and events.role[i] != OPENING_STOCK and has_blend:
                low, high = dock_low, dock_high
            elif has_blend:
                low, high = min(low, dock_low), max(high, dock_high)
            if added[i] and poured_by[i] >= 0:
                dock_now = docks.run.quality[poured_by[i]]
                best = habit.home_share * dock_now[1] + (1 - habit.home_share) * best
                quality[i, 3] = dock_now[3]
                quality[i, 5] = min(quality[i, 5], dock_now[5])
        quality[i, :3] = low, min(max(best, low), high), high
        quality[i, 6] = 1.0


def _boost(fills: pl.DataFrame, assumptions: Assumptions) -> Floats:
    points = fills.get_column("booster_points").cast(pl.Float64).fill_null(0.0).to_numpy()
    return boosted_on(points, assumptions)


def _outside(assumptions: Assumptions) -> tuple[float, float]:
    return (
        assumptions.number("fuel.outside_low_aki"),
        assumptions.number("fuel.outside_high_aki"),
    )


def _rows_by(names: np.ndarray) -> dict[str, Ints]:
    order = np.argsort(names.astype(str), kind="stable")
    ordered = names[order].astype(str)
    cuts = np.flatnonzero(ordered[1:] != ordered[:-1]) + 1
    return {
        str(part[0]): rows
        for part, rows in zip(np.split(ordered, cuts), np.split(order, cuts), strict=True)
        if len(part)
    }
