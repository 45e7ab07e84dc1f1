"""What each fill of a craft's tank brought: octane with bounds, births, share of unknown octane.

A fill from a dock with deliveries on record brings the blend and the ages of the tank it came
from at that moment; where its own label lies outside that blend's bounds, they are widened to
hold it.  An outside fill brings its own grade.  What nobody wrote down (a fill, or a grade)
may have been any grade within reach: what is sold near the hull's dock, what the hull is on
record with, and its dock's tanks.  A hull that uses octane booster may have used it then too.
"""

# ruff: noqa: PLR0917 - a ledger step takes the frames it reads
from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.fuel.craft_record import Records, number_of, rows_of
from ringland.fuel.dock_grades import sold_bounds
from ringland.fuel.dock_tanks import (
    QUALITY,
    DockTanks,
    blend_ranges,
    label_bounds,
    put_ages,
    put_tests,
)
from ringland.fuel.octane import boosted_on, with_aki
from ringland.fuel.tank_events import OPENING_STOCK, RECORDED, UNRECORDED_FILL, TankEvents
from ringland.fuel.tank_kernel import FILL, US_PER_DAY, Floats, Ints
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class HullHabits:
    """Where each hull is on record to take its fuel, and which grades; one entry per hull."""

    home_tank: Ints
    """the tank of its home dock it took most from; -1: none with a delivery on record"""
    home_share: Floats
    lowest_aki: Floats
    mean_aki: Floats
    highest_aki: Floats
    """lowest and highest that an unrecorded fill may have been, and the mean of the known ones"""
    mean_boost_on: Floats
    """octane booster as labelled, over all its recorded fills"""
    high_boost_on: Floats


@dataclass(frozen=True)
class Poured:
    """Per event of the craft tanks: what it poured, read at fills, and found, read at tests."""

    quality: Floats
    born_us: Ints
    source_event: Ints
    """event of the dock run that poured it; -1: fuel of one age"""


@dataclass(frozen=True)
class Fills:
    """What the record says of each fill, in arrays by the fill's row."""

    octane: Floats
    """its own label's lowest, best and highest AKI, NaN for none; shape (fills, 3)"""
    open_share: Floats
    boost_on: Floats
    draw_of: Ints
    """its row among the draws; -1: from no dock's tank"""


def fills_read(records: Records, draws: pl.DataFrame, assumptions: Assumptions) -> Fills:
    """The fills' own labels and boosters, and which of them are draws of a dock's tank."""
    graded = with_aki(records["fills"], assumptions)
    points = graded.get_column("booster_points").cast(pl.Float64).fill_null(0.0).to_numpy()
    draw_of = np.full(graded.height, -1, np.int64)
    draw_of[draws.get_column("fill_row").to_numpy()] = np.arange(draws.height)
    return Fills(
        octane=label_bounds(graded, assumptions),
        open_share=graded.get_column("octane_open_share").fill_null(0.0).to_numpy(),
        boost_on=boosted_on(points, assumptions),
        draw_of=draw_of,
    )


def hull_habits(
    records: Records, names: Sequence[str], fills: Fills, docks: DockTanks, draws: pl.DataFrame,
    assumptions: Assumptions,
) -> HullHabits:  # fmt: skip
    """The habits of each hull, in the order of `names`.

    Args:
        records: hulls, docks, deliveries and fills are read.
        names: of the hulls.
        fills: see `fills_read`.
        docks: the docks' run with the recorded draws.
        draws: the recorded draws, see `dock_grades.drawn_from`.
        assumptions: what is sold where nothing is on record.
    """
    hulls = (
        pl.DataFrame({"hull_id": pl.Series(names, dtype=pl.String)})
        .join(records["hulls"].select("hull_id", "dock_id"), on="hull_id", how="left")
        .join(sold_bounds(records, assumptions), on="dock_id", how="left", maintain_order="left")
        .with_columns(hull=pl.int_range(pl.len()))
    )
    spread = assumptions.number("octane.label_spread_on")
    octane = _poured_octane(fills, docks)
    rows = (
        records["fills"]
        .with_row_index("fill_row")
        .select("fill_row", "volume_l", "source_dock_id", hull=number_of("hull_id", names))
        .with_columns(low=octane[:, 0], best=octane[:, 1], high=octane[:, 2], boost=fills.boost_on)
        .with_columns(pl.col("low", "best", "high").fill_nan(None))
        .filter(pl.col("hull").is_not_null())
        .join(hulls.select("hull", "dock_id"), on="hull", how="left", maintain_order="left")
    )
    litres, is_known = pl.col("volume_l"), pl.col("best").is_not_null()
    known_l = litres.filter(is_known).sum()
    by_hull = rows.group_by("hull", maintain_order=True).agg(
        home_share=litres.filter(pl.col("source_dock_id") == pl.col("dock_id")).sum()
        / litres.sum(),
        low=pl.col("low").min(),
        high=pl.col("high").max(),
        mean=pl.when(known_l > 0).then((pl.col("best") * litres).filter(is_known).sum() / known_l),
        mean_boost=pl.col("boost").mean(),
        high_boost=pl.col("boost").max(),
    )
    at_home = (
        draws.filter(pl.col("tank").is_not_null())
        .join(
            rows.select("fill_row", "hull", home="dock_id"),
            on="fill_row",
            how="inner",
            maintain_order="left",
        )
        .filter(pl.col("dock_id") == pl.col("home"))
        .group_by("hull", "tank", maintain_order=True)
        .agg(pl.col("volume_l").sum())
        .sort("hull", "volume_l", "tank", descending=[False, True, False])
        .unique("hull", keep="first")
        .select("hull", home_tank="tank")
    )
    blend = pl.DataFrame(blend_ranges(docks), schema=["blend_low", "blend_high"]).with_columns(
        pl.col("blend_low", "blend_high").fill_nan(None),
        dock_id=pl.Series(docks.dock_of, dtype=pl.String),
        tank=pl.int_range(pl.len()).cast(pl.Int64),
    )
    of_dock = blend.group_by("dock_id", maintain_order=True).agg(
        pl.col("blend_low").min(), pl.col("blend_high").max(), first_tank=pl.col("tank").min()
    )
    low, high = (assumptions.number(f"fuel.outside_{edge}_aki") for edge in ("low", "high"))
    table = (
        hulls.join(by_hull, on="hull", how="left", maintain_order="left")
        .join(at_home, on="hull", how="left", maintain_order="left")
        .join(of_dock, on="dock_id", how="left", maintain_order="left")
        .with_columns(
            lowest=pl.min_horizontal(
                pl.col("reach_low_aki").fill_null(low - spread), "low", "blend_low"
            ),
            highest=pl.max_horizontal(
                pl.col("reach_high_aki").fill_null(high + spread), "high", "blend_high"
            ),
        )
    )
    middle = (pl.col("reach_low_aki").fill_null(low) + pl.col("reach_high_aki").fill_null(high)) / 2

    def column(value: pl.Expr, kind: type) -> np.ndarray:
        return table.select(value.alias("x")).get_column("x").to_numpy().astype(kind)

    return HullHabits(
        home_tank=column(pl.coalesce("home_tank", "first_tank").fill_null(-1), np.int64),
        home_share=column(pl.col("home_share").fill_null(1.0).fill_nan(1.0), np.float64),
        lowest_aki=column(pl.col("lowest"), np.float64),
        mean_aki=column(pl.coalesce("mean", middle), np.float64),
        highest_aki=column(pl.col("highest"), np.float64),
        mean_boost_on=column(pl.col("mean_boost").fill_null(0.0), np.float64),
        high_boost_on=column(pl.col("high_boost").fill_null(0.0), np.float64),
    )


def _poured_octane(fills: Fills, docks: DockTanks) -> Floats:
    """What each fill brought as far as the record goes: the dock's blend, or its own label."""
    octane = fills.octane.copy()
    is_draw = fills.draw_of >= 0
    event = docks.draw_event[fills.draw_of[is_draw]]
    blend = np.where((event >= 0)[:, None], docks.run.quality[event, :3], octane[is_draw])
    octane[is_draw] = blend
    return octane


def unrecorded_draws(events: TankEvents, habits: HullHabits) -> pl.DataFrame:
    """What the unrecorded fills are expected to have drawn at the home dock: event and litres.

    A hull's unrecorded fills drew there in the proportion its recorded ones did.
    """
    rows = np.flatnonzero(
        (events.role == UNRECORDED_FILL) & (habits.home_tank[events.tank_of] >= 0)
    )
    hull = events.tank_of[rows]
    return pl.DataFrame(
        {
            "event": rows,
            "tank": habits.home_tank[hull],
            "at": events.at_us[rows],
            "volume_l": events.volume_l[rows] * habits.home_share[hull],
        }
    ).with_columns(
        pl.from_epoch("at", "us").dt.replace_time_zone("UTC"), is_inferred=pl.lit(value=True)
    )


def poured_fuel(
    events: TankEvents,
    record: pl.DataFrame,
    records: Records,
    fills: Fills,
    habits: HullHabits,
    docks: DockTanks,
    poured_by: Ints,
    assumptions: Assumptions,
) -> Poured:
    """What every fill among the events brought.

    Args:
        events: of the craft tanks.
        record: the frame they come from.
        records: fuel tests are read, if there.
        fills: see `fills_read`.
        habits: per tank.
        docks: the docks' run.
        poured_by: per event, the dock event it drew; -1 for none.
        assumptions: ages and grades for what is not on record, booster benefit.
    """
    quality = np.zeros((len(events.row), len(QUALITY)))
    fill_row = record.get_column("fill_row").to_numpy()[events.row]
    recorded = (events.role == RECORDED) & (fill_row >= 0)
    mine = fill_row[recorded]
    quality[recorded, :3] = fills.octane[mine]
    quality[recorded, 6] = fills.open_share[mine]
    added = (events.role != RECORDED) & (events.is_fill == FILL)
    outside_d = assumptions.number("fuel.outside_age_d")
    oldest_d = assumptions.number("fuel.unrecorded_age_high_d")
    age = np.where(events.role == OPENING_STOCK, (outside_d + oldest_d) / 2, outside_d)
    spread_d = assumptions.number("fuel.outside_age_spread_d")
    low_d = np.where(added, 0.0, np.maximum(age - spread_d, 0.0))
    put_ages(quality, events.at_us, age, low_d, np.where(added, oldest_d, age + spread_d))
    born_us = (events.at_us - age * US_PER_DAY).astype(np.int64)
    from_dock = recorded & (poured_by >= 0)
    quality[from_dock] = docks.run.quality[poured_by[from_dock]]
    label = fills.octane[fill_row[from_dock]]
    for column, widest in ((0, np.fmin), (2, np.fmax)):
        quality[from_dock, column] = widest(quality[from_dock, column], label[:, 1])
    _fill_gaps(quality, events, added, recorded, habits, docks, poured_by)
    benefit = np.array([0.0, assumptions.number("octane.booster_benefit"), 1.0])
    quality[recorded, :3] += fills.boost_on[mine][:, None] * benefit
    quality[added, 1] += habits.mean_boost_on[events.tank_of[added]] * benefit[1]
    quality[added, 2] += habits.high_boost_on[events.tank_of[added]]
    tests = rows_of(records, "fuel_tests").with_row_index("test_row")
    put_tests(quality, events, record, tests, assumptions)
    return Poured(quality, born_us, np.where(events.is_fill == FILL, poured_by, -1))


def _fill_gaps(
    quality: Floats, events: TankEvents, added: np.ndarray, recorded: np.ndarray,
    habits: HullHabits, docks: DockTanks, poured_by: Ints,
) -> None:  # fmt: skip
    """Octane of unrecorded fills and of recorded ones without a grade, in place."""
    gaps = np.flatnonzero(added | (recorded & np.isnan(quality[:, 1])))
    hull = events.tank_of[gaps]
    best = habits.mean_aki[hull].copy()
    drew = added[gaps] & (poured_by[gaps] >= 0)
    now = docks.run.quality[poured_by[gaps[drew]]]
    share = habits.home_share[hull[drew]]
    best[drew] = share * now[:, 1] + (1 - share) * best[drew]
    quality[gaps[drew], 3] = now[:, 3]
    quality[gaps[drew], 5] = np.minimum(quality[gaps[drew], 5], now[:, 5])
    low, high = habits.lowest_aki[hull], habits.highest_aki[hull]
    quality[gaps, 0], quality[gaps, 2] = low, high
    quality[gaps, 1] = np.clip(best, low, high)
    quality[gaps, 6] = 1.0
