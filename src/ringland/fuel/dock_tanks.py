"""The docks' bulk tanks: what blend, how old, each craft fill drew at its moment.

Deliveries go in, craft fills come out.  Draws that the recorded deliveries cannot cover
become an unrecorded delivery, bounded by the lowest and highest grade ever delivered to
that dock; a delivery that would not fit means that litres left unrecorded before it.
Draws that are themselves inferred (a craft's unrecorded fills) may have come from
elsewhere, or have been more: they give way first, from nothing to double.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.fuel.burn_estimate import TankHabits
from ringland.fuel.octane import with_aki
from ringland.fuel.tank_events import (
    OPENING_STOCK,
    RECORDED,
    TankEvents,
    median_or,
    ordered_events,
    possible_events,
)
from ringland.fuel.tank_kernel import Floats, Ints, TankRun, mix_tanks
from ringland.settings.assumptions import Assumptions

QUALITY = ["octane_low", "octane_best", "octane_high", "born_d", "born_low_d", "born_high_d",
           "unknown"]  # fmt: skip
"""The quantities that blend by volume.  Births count in days from 1970: `born_low_d` is the
latest birth (age low), `born_high_d` the earliest (age high)."""
US_PER_DAY = 86_400_000_000
_FROM_NOTHING_TO_DOUBLE = 1.0


@dataclass(frozen=True)
class DockTanks:
    """The docks' tanks run through the record, and which event poured each draw."""

    events: TankEvents
    run: TankRun
    frame: pl.DataFrame
    draw_event: Ints
    """for each draw, its event in the run; -1: the dock has no delivery on record"""
    names: list[str]


def grade_bounds(deliveries: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """Per dock with a graded delivery: lowest, highest and litres-weighted mean AKI delivered."""
    graded = with_aki(deliveries, assumptions).filter(pl.col("octane_best_aki").is_not_null())
    spread = assumptions.number("octane.label_spread_on")
    return (
        graded.group_by("dock_id")
        .agg(
            sold_low_aki=pl.col("octane_low_aki").min() - spread,
            sold_high_aki=pl.col("octane_high_aki").max() + spread,
            sold_mean_aki=(pl.col("octane_best_aki") * pl.col("volume_l")).sum()
            / pl.col("volume_l").sum(),
        )
        .sort("dock_id")
    )


def run_dock_tanks(
    deliveries: pl.DataFrame, docks: pl.DataFrame, draws: pl.DataFrame, assumptions: Assumptions
) -> DockTanks:
    """Run every dock that has a delivery on record.

    Args:
        deliveries: the contract's frame.
        docks: the contract's frame.
        draws: dock_id, at, volume_l, is_inferred: one row per craft fill taken there.
        assumptions: ages and grades taken for what is not on record.
    """
    graded = with_aki(deliveries, assumptions).with_row_index("delivery_row")
    names = sorted(graded.get_column("dock_id").unique())
    taken = draws.with_row_index("draw_row").filter(pl.col("dock_id").is_in(names))
    frame = ordered_events(
        pl.concat(
            [
                graded.select(
                    "delivery_row", tank="dock_id", at="delivered_at", volume_l="volume_l",
                    is_fill=True,
                ),
                taken.select(
                    "draw_row",
                    "volume_l",
                    tank="dock_id",
                    at="at",
                    is_fill=False,
                    stretch=pl.col("is_inferred").cast(pl.Float64) * _FROM_NOTHING_TO_DOUBLE,
                ),
            ],
            how="diagonal",
        ).with_columns(earliest_at="at", stretch=pl.col("stretch").fill_null(0.0))
    )  # fmt: skip
    by_dock = graded.group_by("dock_id").agg("volume_l").sort("dock_id")
    usual = np.array([median_or(litres, 0.0) for litres in by_dock.get_column("volume_l")])
    size = dict(docks.select("dock_id", "bulk_tank_l").iter_rows())
    capacity = np.array([np.inf if size.get(n) is None else size[n] for n in names], float)
    habits = TankHabits(
        capacity,
        usual,
        first_level_l=np.zeros(len(names)),
        filled_to_l=np.full(len(names), np.nan),
        missing_from_l=usual * assumptions.number("fuel.missing_fill_share"),
    )
    events = possible_events(frame, names, habits, gain=0.0)
    quality, born_us = _delivered(events, frame, graded, names, assumptions)
    run = mix_tanks(
        events.starts, capacity, events.at_us, events.is_fill, events.volume_l, quality, born_us
    )
    draw_event = np.full(draws.height, -1, np.int64)
    draw_row = frame.get_column("draw_row").fill_null(-1).to_numpy().astype(np.int64)[events.row]
    is_draw = (events.role == RECORDED) & (draw_row >= 0)
    draw_event[draw_row[is_draw]] = np.flatnonzero(is_draw)
    return DockTanks(events, run, frame, draw_event, names)


def bounded_dock_tanks(
    deliveries: pl.DataFrame, docks: pl.DataFrame, draws: pl.DataFrame, assumptions: Assumptions
) -> DockTanks:
    """`run_dock_tanks` with each draw's bounds widened by how uncertain the tank's level is.

    Inferred draws may be too few or too many by fuel.inferred_draw_spread; a tank that holds
    more or less before a delivery blends otherwise.  The bounds span all three runs.
    """
    tanks = run_dock_tanks(deliveries, docks, draws, assumptions)
    if not draws.get_column("is_inferred").any():
        return tanks
    drawn = tanks.draw_event >= 0
    mine = tanks.draw_event[drawn]
    spread = assumptions.number("fuel.inferred_draw_spread")
    for scale in (1 - spread, 1 + spread):
        scaled = pl.when("is_inferred").then(pl.col("volume_l") * scale).otherwise("volume_l")
        other = run_dock_tanks(deliveries, docks, draws.with_columns(volume_l=scaled), assumptions)
        quality = other.run.quality[other.draw_event[drawn]]
        for column, widest in ((0, np.fmin), (2, np.fmax), (4, np.fmax), (5, np.fmin)):
            tanks.run.quality[mine, column] = widest(
                tanks.run.quality[mine, column], quality[:, column]
            )
    return tanks


def _delivered(
    events: TankEvents,
    frame: pl.DataFrame,
    graded: pl.DataFrame,
    names: list[str],
    assumptions: Assumptions,
) -> tuple[Floats, Ints]:
    """Quality and birth of what each event pours; an unknown grade gets the dock's bounds."""
    n = len(events.row)
    delivery = frame.get_column("delivery_row").fill_null(0).to_numpy().astype(np.int64)[events.row]
    spread = assumptions.number("octane.label_spread_on")
    octane = np.stack(
        [
            graded.get_column(f"octane_{edge}_aki").cast(pl.Float64).fill_null(np.nan).to_numpy()
            for edge in ("low", "best", "high")
        ],
        axis=1,
    ) + np.array([-spread, 0.0, spread])
    sold = sold_range(graded, names, assumptions)[events.tank_of]
    is_known = (events.role == RECORDED) & ~np.isnan(octane[delivery, 1])
    quality = np.empty((n, len(QUALITY)))
    quality[:, :3] = np.where(is_known[:, None], octane[delivery], sold)
    fresh_d = assumptions.number("fuel.delivery_age_d")
    oldest_d = assumptions.number("fuel.unrecorded_age_high_d")
    on_record = events.role == RECORDED
    age = np.where(events.role == OPENING_STOCK, (fresh_d + oldest_d) / 2, fresh_d)
    spread_d = assumptions.number("fuel.delivery_age_spread_d")
    low_d = np.where(on_record, np.maximum(age - spread_d, 0.0), 0.0)
    put_ages(quality, events.at_us, age, low_d, np.where(on_record, age + spread_d, oldest_d))
    open_share = graded.get_column("octane_open_share").fill_null(1.0).to_numpy()
    quality[:, 6] = np.where(is_known, open_share[delivery], 1.0)
    return quality, (events.at_us - age * US_PER_DAY).astype(np.int64)


def put_ages(
    quality: Floats, at_us: Ints, age_d: Floats, age_low_d: Floats, age_high_d: Floats
) -> None:
    """Write the births that go with ages at an instant into a quality table, in place."""
    at_d = at_us / US_PER_DAY
    for column, age in zip((3, 4, 5), (age_d, age_low_d, age_high_d), strict=True):
        quality[:, column] = at_d - age


def sold_range(graded: pl.DataFrame, names: list[str], assumptions: Assumptions) -> Floats:
    """Lowest, mean and highest grade delivered per dock, or the settings' where none is graded."""
    low, high = (assumptions.number(f"fuel.outside_{edge}_aki") for edge in ("low", "high"))
    rows = {
        dock: (lowest, mean, highest)
        for dock, lowest, highest, mean in grade_bounds(graded, assumptions).iter_rows()
    }
    table = [rows.get(name, (low, (low + high) / 2, high)) for name in names]
    return np.array(table, float).reshape(-1, 3)


def blend_range(tanks: DockTanks, dock: int, from_us: int, until_us: int) -> tuple[float, float]:
    """Lowest and highest bound of a dock's blend between two instants; NaN if it has none."""
    begin, end = tanks.events.starts[dock], tanks.events.starts[dock + 1]
    at = tanks.events.at_us[begin:end]
    first = max(int(np.searchsorted(at, from_us, "right")) - 1, 0)
    last = max(int(np.searchsorted(at, until_us, "right")), first + 1)
    span = tanks.run.quality[begin + first : begin + last]
    seen = span[~np.isnan(span[:, 0])]
    if len(seen) == 0:
        return float("nan"), float("nan")
    return float(seen[:, 0].min()), float(seen[:, 2].max())


def draws_of(fills: pl.DataFrame) -> pl.DataFrame:
    """The recorded fills that came from a dock: dock_id, at, volume_l, is_inferred, fill_row."""
    return (
        fills.with_row_index("fill_row")
        .filter(pl.col("source") == "dock")
        .select(
            "fill_row",
            "volume_l",
            dock_id="source_dock_id",
            at="filled_at",
            is_inferred=pl.lit(value=False),
        )
    )
