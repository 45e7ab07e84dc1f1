"""The docks' tanks: what blend, how old, each craft fill drew at its moment.

Deliveries go in; craft fills, pump-outs and what the pump's counter shows beyond the fills come
out.  What stood in a tank before its first delivery may have been any grade sold there, and
as much as later deliveries and draws leave possible.  Draws that the deliveries cannot cover
become an unrecorded delivery of any such grade; a delivery that would not fit means that litres
left unrecorded before it.  Draws that are themselves inferred (a craft's unrecorded fills) may
have come from elsewhere, or have been more: they are off by as much as they are.
"""

# ruff: noqa: PLR0917 - a ledger step takes the frames it reads
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.fuel.craft_record import Records, rows_of
from ringland.fuel.dock_grades import delivered_into, sold_at, sold_bounds, tank_named, tanks_of
from ringland.fuel.explain_levels import ROUNDING_L, TankHabits, opening_levels
from ringland.fuel.order_doubts import other_orders, widen_by_order
from ringland.fuel.tank_events import (
    DRAINED,
    OPENING_STOCK,
    RECORDED,
    STEPS,
    TankEvents,
    median_by,
    ordered_events,
    possible_events,
)
from ringland.fuel.tank_kernel import (
    DIP,
    FILL,
    OUT,
    TEST,
    US_PER_DAY,
    Floats,
    Ints,
    TankRun,
    mix_tanks,
)
from ringland.fuel.tank_levels import TankLimits
from ringland.fuel.unseen_fuel import unseen_of
from ringland.history.fuel_measures import judged_totals
from ringland.settings.assumptions import Assumptions

QUALITY = ["octane_low", "octane_best", "octane_high", "born_d", "born_low_d", "born_high_d",
           "unknown"]  # fmt: skip
"""The quantities that blend by volume.  Births count in days from 1970: `born_low_d` is the
latest birth (age low), `born_high_d` the earliest (age high)."""


@dataclass(frozen=True)
class DockTanks:
    """The docks' tanks run through the record, and which event poured each draw."""

    tanks: pl.DataFrame
    """one row per tank, see `dock_grades.tanks_of`, with reach_low_aki and reach_high_aki"""
    events: TankEvents
    run: TankRun
    draw_event: Ints
    """for each draw, its event in the run; -1: of no tank with a delivery on record"""

    @property
    def dock_of(self) -> list[str]:
        """The dock of each tank."""
        return self.tanks.get_column("dock_id").to_list()


def dock_tank_table(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """The tanks of all docks with what may be sold there."""
    sold = sold_bounds(records, assumptions)
    return tanks_of(records, assumptions).join(
        sold, on="dock_id", how="left", maintain_order="left"
    )


def run_dock_tanks(
    records: Records, tanks: pl.DataFrame, draws: pl.DataFrame, assumptions: Assumptions
) -> DockTanks:
    """Run every tank that has a delivery on record.

    Args:
        records: deliveries and docks, and what else there is of docks' tanks.
        tanks: from `dock_tank_table`.
        draws: tank, at, volume_l, is_inferred: one row per craft fill taken there.
        assumptions: ages and grades taken for what is not on record.
    """
    graded = delivered_into(records, tanks, assumptions)
    tests = tank_named(_of_docks(records, "fuel_tests"), tanks).with_row_index("test_row")
    frame = _dock_record(records, tanks, graded, draws, tests)
    number = tanks.height
    most = np.full(number, 0.0)
    by_tank = graded.group_by("tank", maintain_order=True).agg(pl.col("volume_l").max())
    most[by_tank.get_column("tank").to_numpy()] = by_tank.get_column("volume_l").to_numpy()
    usual = median_by(graded, "tank", "volume_l", number)
    capacity = tanks.get_column("tank_l").cast(pl.Float64).fill_null(np.inf).to_numpy().copy()
    # Of a tank of unknown size that much is known: it took the largest delivery.
    starts, kind, stretch, volume = _arrays(frame, number)
    low, high = opening_levels(
        starts, kind, stretch, volume, np.where(np.isinf(capacity), most, capacity)
    )
    opening = (low + high) / 2
    habits = TankHabits(
        capacity,
        usual,
        first_level_l=opening,
        filled_to_l=np.full(number, np.nan),
        missing_from_l=usual * assumptions.number("fuel.missing_fill_share"),
    )
    events = possible_events(frame, habits, gain=0.0)
    limits = TankLimits(
        capacity,
        habits.filled_to_l,
        habits.filled_to_l,
        opening - low,
        high - opening,
        most,
        usual,
    )
    orders = other_orders(events, np.zeros(len(events.row), np.int64), np.full(len(events.row), -1))
    reach = _reach(
        events, sold_at(records, tanks, events.tank_of, events.at_us, assumptions), tanks
    )
    unseen = unseen_of(events, limits, orders, reach, assumptions, is_dock=True)
    quality, born_us = _delivered(events, frame, graded, tests, tanks, reach, assumptions)
    run = mix_tanks(
        events.starts, capacity, events.at_us, events.is_fill, events.volume_l, quality, born_us,
        unseen=unseen,
    )  # fmt: skip
    widen_by_order(run.quality, orders, events)
    draw_event = np.full(draws.height, -1, np.int64)
    draw_row = frame.get_column("draw_row").to_numpy()[events.row]
    is_draw = (events.role == RECORDED) & (draw_row >= 0)
    draw_event[draw_row[is_draw]] = np.flatnonzero(is_draw)
    return DockTanks(tanks, events, run, draw_event)


def _reach(events: TankEvents, sold: Floats, tanks: pl.DataFrame) -> Floats:
    """What an unseen load may have been; what was in a tank at first may be of any season."""
    ever = tanks.select("reach_low_aki", "reach_high_aki").to_numpy().astype(float)
    is_first = (events.role == OPENING_STOCK)[:, None]
    return np.where(is_first, ever[events.tank_of], sold)


def _of_docks(records: Records, kind: str) -> pl.DataFrame:
    rows = rows_of(records, kind)
    return rows.filter(pl.col("dock_id").is_not_null())


def _arrays(frame: pl.DataFrame, number: int) -> tuple[Ints, np.ndarray, Floats, Floats]:
    tank = frame.get_column("tank").to_numpy()
    return (
        np.searchsorted(tank, np.arange(number + 1)).astype(np.int64),
        frame.get_column("kind").to_numpy().copy(),
        frame.get_column("stretch").to_numpy().copy(),
        frame.get_column("volume_l").cast(pl.Float64).fill_null(np.nan).to_numpy().copy(),
    )


def _dock_record(
    records: Records, tanks: pl.DataFrame, graded: pl.DataFrame, draws: pl.DataFrame,
    tests: pl.DataFrame,
) -> pl.DataFrame:  # fmt: skip
    """The events of all docks' tanks, see `tank_events`, with delivery_row, draw_row, test_row."""
    taken = draws.with_row_index("draw_row").filter(pl.col("tank").is_not_null())
    dips = tank_named(_of_docks(records, "dips"), tanks)
    pumped = tank_named(_of_docks(records, "pump_outs"), tanks)
    beyond = _beyond_the_fills(tank_named(_of_docks(records, "pump_totals"), tanks), taken)
    closed = taken.join(
        beyond, on="tank", how="inner", suffix="_end", maintain_order="left"
    ).filter(
        pl.col("is_inferred"),
        pl.col("at") > pl.col("from_at"),
        pl.col("at") <= pl.col("at_end"),
    )
    taken = taken.join(closed.select("draw_row"), on="draw_row", how="anti", maintain_order="left")
    shapes = [
        (graded, "delivered_at", FILL, "fill", {"delivery_row": pl.col("delivery_row")}),
        (taken, "at", OUT, "burn", {"draw_row": pl.col("draw_row"),
                                    "stretch": pl.col("is_inferred").cast(pl.Float64)}),
        (beyond, "at", OUT, "burn", {}),
        (pumped, "pumped_at", OUT, "drain", {"is_drain": pl.lit(value=True)}),
        (dips.with_columns(volume_l="level_l"), "dipped_at", DIP, "dip", {}),
        (tests.with_columns(volume_l=pl.lit(0.0)), "tested_at", TEST, "test",
         {"test_row": pl.col("test_row")}),
    ]  # fmt: skip
    parts = [
        rows.select(
            pl.col("tank").cast(pl.Int64),
            pl.col("volume_l").cast(pl.Float64),
            at_us=pl.col(at).dt.timestamp("us"),
            kind=pl.lit(kind, pl.UInt8),
            step=pl.lit(STEPS[step], pl.Int8),
            **more,
        )
        for rows, at, kind, step, more in shapes
    ]
    rows = ("delivery_row", "draw_row", "test_row")
    frame = pl.concat(parts, how="diagonal_relaxed").with_columns(
        pl.col("stretch").fill_null(0.0),
        pl.col("is_drain").fill_null(value=False),
        *(pl.col(name).cast(pl.Int64).fill_null(-1) for name in rows),
        earliest_us="at_us",
    )
    return ordered_events(frame)


def _beyond_the_fills(totals: pl.DataFrame, draws: pl.DataFrame) -> pl.DataFrame:
    """Litres the pump's counter went on between two readings beyond the fills on record."""
    spans = (
        judged_totals(totals)
        .filter(~pl.col("is_misread"))
        .sort("tank", "read_at")
        .with_columns(
            from_at=pl.col("read_at").shift(1).over("tank"),
            counted_l=pl.col("total_l").diff().over("tank"),
        )
        .filter(pl.col("from_at").is_not_null() & (pl.col("counted_l") >= 0))
        .select("tank", "from_at", "counted_l", at="read_at")
    )
    recorded = draws.filter(~pl.col("is_inferred")).select("tank", "volume_l", drawn_at="at")
    written = (
        recorded.join(spans, on="tank", maintain_order="left")
        .filter((pl.col("drawn_at") > pl.col("from_at")) & (pl.col("drawn_at") <= pl.col("at")))
        .group_by("tank", "at", maintain_order=True)
        .agg(pl.col("volume_l").sum())
    )
    left = pl.col("counted_l") - pl.col("volume_l").fill_null(0.0)
    return (
        spans.join(written, on=["tank", "at"], how="left", maintain_order="left")
        .with_columns(volume_l=pl.when(left > ROUNDING_L).then(left).otherwise(0.0))
        .select("tank", "from_at", "at", "volume_l")
    )


def _delivered(
    events: TankEvents,
    frame: pl.DataFrame,
    graded: pl.DataFrame,
    tests: pl.DataFrame,
    tanks: pl.DataFrame,
    reach: Floats,
    assumptions: Assumptions,
) -> tuple[Floats, Ints]:
    """Quality and birth of what each event pours, and what each test found."""
    n = len(events.row)
    delivery = np.maximum(frame.get_column("delivery_row").to_numpy()[events.row], 0)
    octane = label_bounds(graded, assumptions)
    grade = tanks.get_column("grade_aki").cast(pl.Float64).fill_null(np.nan).to_numpy()
    usual = grade[events.tank_of]
    usual = np.where(np.isnan(usual), reach.mean(axis=1), usual)
    may_be = np.stack([reach[:, 0], usual, reach[:, 1]], axis=1)
    is_known = (events.role == RECORDED) & ~np.isnan(octane[delivery, 1])
    quality = np.empty((n, len(QUALITY)))
    quality[:, :3] = np.where(is_known[:, None], octane[delivery], may_be)
    fresh_d = assumptions.number("fuel.delivery_age_d")
    oldest_d = assumptions.number("fuel.unrecorded_age_high_d")
    on_record = (events.role == RECORDED) | (events.role == DRAINED)
    age = np.where(events.role == OPENING_STOCK, (fresh_d + oldest_d) / 2, fresh_d)
    spread_d = assumptions.number("fuel.delivery_age_spread_d")
    low_d = np.where(on_record, np.maximum(age - spread_d, 0.0), 0.0)
    put_ages(quality, events.at_us, age, low_d, np.where(on_record, age + spread_d, oldest_d))
    open_share = graded.get_column("octane_open_share").fill_null(1.0).to_numpy()
    quality[:, 6] = np.where(is_known, open_share[delivery], 1.0)
    put_tests(quality, events, frame, tests, assumptions)
    return quality, (events.at_us - age * US_PER_DAY).astype(np.int64)


def label_bounds(graded: pl.DataFrame, assumptions: Assumptions) -> Floats:
    """Lowest, best and highest AKI of rows from `octane.with_aki`; NaN where nothing is written."""
    spread = assumptions.number("octane.label_spread_on")
    edges = [f"octane_{edge}_aki" for edge in ("low", "best", "high")]
    octane = graded.select(pl.col(edges).cast(pl.Float64).fill_null(np.nan)).to_numpy()
    return np.asarray(octane + np.array([-spread, 0.0, spread]))


def put_tests(
    quality: Floats, events: TankEvents, frame: pl.DataFrame, tests: pl.DataFrame,
    assumptions: Assumptions,
) -> None:  # fmt: skip
    """Write what each fuel test found into the quality of its event, in place.

    Octane with fuel.test_spread_on either way; water found means a separated layer, which may
    have cost the fuel above it fuel.water_loss_on.
    """
    rows = np.flatnonzero(events.is_fill == TEST)
    if not len(rows):
        return
    mine = frame.get_column("test_row").to_numpy()[events.row[rows]]
    places = {row: at for at, row in enumerate(tests.get_column("test_row"))}
    at = np.array([places[row] for row in mine])
    found = tests.get_column("octane_aki").cast(pl.Float64).fill_null(np.nan).to_numpy()[at]
    spread = assumptions.number("fuel.test_spread_on")
    quality[rows, :3] = found[:, None] + np.array([-spread, 0.0, spread])
    is_wet = tests.get_column("has_water").fill_null(value=False).to_numpy()[at]
    quality[rows, 6] = is_wet * assumptions.number("fuel.water_loss_on")


def put_ages(
    quality: Floats, at_us: Ints, age_d: Floats, age_low_d: Floats, age_high_d: Floats
) -> None:
    """Write the births that go with ages at an instant into a quality table, in place."""
    at_d = at_us / US_PER_DAY
    for column, age in zip((3, 4, 5), (age_d, age_low_d, age_high_d), strict=True):
        quality[:, column] = at_d - age


def blend_ranges(tanks: DockTanks) -> Floats:
    """Lowest and highest bound each tank's blend ever had, NaN for none; shape (tanks, 2)."""
    out = np.full((tanks.tanks.height, 2), np.nan)
    np.fmin.at(out[:, 0], tanks.events.tank_of, tanks.run.quality[:, 0])
    np.fmax.at(out[:, 1], tanks.events.tank_of, tanks.run.quality[:, 2])
    return out
