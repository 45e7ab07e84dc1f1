"""Where every litre of every tank went, and what stood in it after each event."""

# ruff: noqa: PLR0917 - a ledger step takes the frames it reads
from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numba import njit

from ringland.fuel.craft_fills import Poured
from ringland.fuel.dock_tanks import DockTanks
from ringland.fuel.tank_events import (
    DRAINED,
    OPENING_STOCK,
    RECORDED,
    UNEXPLAINED_OUTFLOW,
    UNRECORDED_FILL,
    TankEvents,
)
from ringland.fuel.tank_kernel import DIP, FILL, OUT, TEST, Flags, Ints, TankRun
from ringland.settings.assumptions import Assumptions

CLAMP_L = 1e-6
"""A clamp below this many litres is rounding and is not counted (its litres still are)."""
_US_PER_DAY = 86_400_000_000


def account(events: TankEvents, run: TankRun, names: list[str], kind: str) -> pl.DataFrame:
    """One row per tank: litres in, out, left, clamped; `off_l` is what does not add up.

    in_recorded_l + in_unrecorded_l + opening_l = clamped_l + burned_l + drained_l +
    unexplained_out_l + left_l + off_l.  `clamped_l` is recorded fill that no tank of that
    size could take; `short_l` is burn that no fuel was there for (not in the sum: it never was).
    """
    tanks = len(names)
    into, out = events.is_fill == FILL, events.is_fill == OUT
    clamped = np.where(into, events.volume_l - run.moved_l, 0.0)
    short = np.where(out, events.volume_l - run.moved_l, 0.0)

    def litres(values: np.ndarray, rows: Flags | np.ndarray) -> np.ndarray:
        sums = np.empty(tanks)
        _exact_sums(events.starts, np.where(rows, values, 0.0), sums)
        return sums

    last = events.starts[1:] - 1
    moved = events.starts[1:] > events.starts[:-1]
    left = np.zeros(tanks)
    left[moved] = run.after_l[last[moved]]
    recorded = events.role == RECORDED
    columns = {
        "in_recorded_l": litres(events.volume_l, recorded & into),
        "in_unrecorded_l": litres(events.volume_l, events.role == UNRECORDED_FILL),
        "opening_l": litres(events.volume_l, events.role == OPENING_STOCK),
        "clamped_l": litres(clamped, into),
        "burned_l": litres(run.moved_l, recorded & out),
        "drained_l": litres(run.moved_l, events.role == DRAINED),
        "unexplained_out_l": litres(run.moved_l, events.role == UNEXPLAINED_OUTFLOW),
        "left_l": left,
        "short_l": litres(short, out),
    }
    counts = {
        "unrecorded_fills": events.role == UNRECORDED_FILL,
        "clamped_fills": clamped > CLAMP_L,
        "short_burns": short > CLAMP_L,
    }
    return pl.DataFrame(
        {"tank": pl.Series(names, dtype=pl.String), "kind": pl.repeat(kind, tanks, eager=True)}
        | columns
        | {
            name: np.bincount(events.tank_of[rows], minlength=tanks)
            for name, rows in counts.items()
        }
    ).with_columns(
        off_l=pl.sum_horizontal("in_recorded_l", "in_unrecorded_l", "opening_l")
        - pl.sum_horizontal("clamped_l", "burned_l", "drained_l", "unexplained_out_l", "left_l")
    )


@njit("void(i8[::1],f8[::1],f8[::1])", cache=True, nogil=True)
def _exact_sums(starts, values, out):  # type: ignore[no-untyped-def]
    """Sum of each tank's values to twice the digits (Neumaier), so that none drifts."""
    for tank in range(len(starts) - 1):
        total = 0.0
        rest = 0.0
        for i in range(starts[tank], starts[tank + 1]):
            summed = total + values[i]
            if abs(total) >= abs(values[i]):
                rest += (total - summed) + values[i]
            else:
                rest += (values[i] - summed) + total
            total = summed
        out[tank] = total + rest


def with_recent(
    balance: pl.DataFrame, tank_events: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """The tanks' account since the record began, beside that of late: see `_recent_balance`."""
    recent = _recent_balance(tank_events, as_of, assumptions)
    return balance.join(recent, on="tank", how="left", maintain_order="left")


def _recent_balance(
    tank_events: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """Per hull: litres recorded in against litres burned of late, and whether they disagree.

    `is_balance_off` is null where nothing was burned in the last fuel.balance_days days, and
    true where recorded fills less drains differ from burns by more than fuel.balance_off:
    then the exposure of those days rests on fuel that is not on record.
    """
    since = as_of - timedelta(days=assumptions.number("fuel.balance_days"))
    recent = tank_events.filter(pl.col("at") > since)
    hulls = recent.select(tank=pl.col("hull_id").unique(maintain_order=True)).with_row_index("_at")
    at = recent.join(hulls, left_on="hull_id", right_on="tank", how="left", maintain_order="left")
    volume, whose = recent["volume_l"].to_numpy(), at["_at"].to_numpy()

    def litres(event: str) -> np.ndarray:
        # one row after the other: Polars' sums of groups differed in the last digit run by run
        mine = np.where((recent["event"] == event).to_numpy(), volume, 0.0)
        return np.bincount(whose, weights=mine, minlength=hulls.height)

    off = (pl.col("in_recent_l") - pl.col("drained_recent_l") - pl.col("burned_recent_l")).abs()
    limit = assumptions.number("fuel.balance_off") * pl.col("burned_recent_l")
    return (
        hulls.drop("_at")
        .with_columns(
            in_recent_l=litres("fill"),
            drained_recent_l=litres("drain"),
            burned_recent_l=litres("session"),
        )
        .with_columns(is_balance_off=pl.when(pl.col("burned_recent_l") > 0).then(off > limit))
    )


def event_frame(
    events: TankEvents, run: TankRun, names: list[str], words: tuple[str, str, str]
) -> pl.DataFrame:
    """One row per event that moved fuel: what it was, and level, octane and mean age after it.

    Args:
        events: of a set of tanks.
        run: their run.
        names: of the tanks.
        words: the column of the tank's name, the word for an outflow and for a fill on
            record, e.g. ("hull_id", "session", "fill"); a drain and what was added have
            the words drain, unrecorded_fill, unexplained_outflow and opening_stock.
    """
    name, outflow, fill = words
    added = ["", "unrecorded_fill", "unexplained_outflow", "opening_stock", "drain"]
    own = np.where(events.is_fill == FILL, len(added), len(added) + 1)
    label = np.where(events.role == RECORDED, own, events.role)
    quality = run.quality
    moves = (events.is_fill != DIP) & (events.is_fill != TEST)
    table = pl.DataFrame(
        {
            name: pl.Series(names, dtype=pl.String)[events.tank_of],
            "at": pl.Series(events.at_us).cast(pl.Datetime("us", "UTC")),
            "event": pl.Series([*added, fill, outflow], dtype=pl.String)[label],
            "volume_l": events.volume_l,
            "moved_l": run.moved_l,
            "before_l": run.before_l,
            "after_l": run.after_l,
            "octane_aki": quality[:, 1],
            "octane_low_aki": quality[:, 0],
            "octane_high_aki": quality[:, 2],
            "fuel_age_d": events.at_us / _US_PER_DAY - quality[:, 3],
            "unknown_share": quality[:, 6],
        }
    )
    return table.filter(pl.Series(moves)).with_columns(pl.selectors.float().fill_nan(None))


def dock_event_frame(docks: DockTanks) -> pl.DataFrame:
    """`event_frame` of each dock's tank; of several, of the one that most was drawn from."""
    numbers = [str(number) for number in range(docks.tanks.height)]
    table = event_frame(docks.events, docks.run, numbers, ("tank", "draw", "delivery"))
    drawn = pl.col("moved_l").filter(pl.col("event") == "draw").sum()
    main = (
        docks.tanks.select(pl.col("tank").cast(pl.String), "dock_id")
        .join(
            table.group_by("tank", maintain_order=True).agg(drawn), on="tank", maintain_order="left"
        )
        .sort("dock_id", "moved_l", "tank", descending=[False, True, False])
        .unique("dock_id", keep="first")
        .select("tank", "dock_id")
    )
    joined = table.join(main, on="tank", how="inner", maintain_order="left")
    return joined.select("dock_id", *table.columns[1:])


def craft_event_frame(
    events: TankEvents,
    run: TankRun,
    names: list[str],
    fill_row: Ints,
    fills: pl.DataFrame,
    poured: Poured,
) -> pl.DataFrame:
    """`event_frame` of the craft's tanks, with where each fill came from and what it brought.

    `source` and `source_dock_id` are the record's own; `poured_octane_aki` and
    `poured_age_d` are of the litres poured in, null for sessions.
    """
    table = event_frame(events, run, names, ("hull_id", "session", "fill"))
    moves = (events.is_fill != DIP) & (events.is_fill != TEST)
    is_fill = events.is_fill[moves] == FILL
    age_d = (events.at_us / _US_PER_DAY - poured.quality[:, 3])[moves]
    fill_row, role = fill_row[moves], events.role[moves]
    origin = fills.select("source", "source_dock_id").with_row_index("fill_row")
    return (
        table.with_columns(
            poured_octane_aki=np.where(is_fill, poured.quality[moves, 1], np.nan),
            poured_age_d=np.where(is_fill, age_d, np.nan),
            fill_row=np.where(role == RECORDED, fill_row, -1),
        )
        .with_columns(pl.selectors.float().fill_nan(None))
        .join(origin.cast({"fill_row": pl.Int64}), on="fill_row", how="left", maintain_order="left")
        .drop("fill_row")
    )
