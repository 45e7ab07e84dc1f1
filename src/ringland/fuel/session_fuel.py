"""What each session burned: the whole ledger, from records to one row per rental.

Sessions burn at the moment they end; a fill written at that same instant comes after, and both
orders are in the bounds.  The steps: litres per session, record made possible, dock tanks,
craft tanks, ages.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import dataframely as dy
import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import SessionFuel
from ringland.fuel.burn_estimate import burn_factors, rated_litres, with_burns
from ringland.fuel.craft_fills import (
    Fills,
    HullHabits,
    Poured,
    fills_read,
    hull_habits,
    poured_fuel,
    unrecorded_draws,
)
from ringland.fuel.craft_record import craft_record, rows_of
from ringland.fuel.craft_tanks import CraftTanks, craft_tanks
from ringland.fuel.dock_grades import drawn_from
from ringland.fuel.dock_tanks import DockTanks, dock_tank_table, run_dock_tanks
from ringland.fuel.octane import with_scale_chances
from ringland.fuel.order_doubts import widen_by_order
from ringland.fuel.session_table import session_table
from ringland.fuel.tank_account import (
    account,
    craft_event_frame,
    dock_event_frame,
    with_recent,
)
from ringland.fuel.tank_events import RECORDED
from ringland.fuel.tank_kernel import FILL, OUT, Ints, TankRun, mix_tanks
from ringland.fuel.unseen_fuel import unseen_of
from ringland.settings.assumptions import Assumptions

_MOST_HANDS = 8
"""Transfers passed on from craft to craft are followed through that many tanks."""


@dataclass(frozen=True)
class SessionFuelResult:
    """The ledger's outcome.

    `sessions` is the table other rooms read.  `tank_events` has one row per event of a
    craft's tank, with the level, octane and age after it; `dock_events` the same for each
    dock's tank, of several the one that most was drawn from.  `balance` accounts for every
    litre of every tank, and says which hulls' fills and burns disagree of late.
    `burn_factors` is what each hull's fills say about its consumption.  `off_labels` has the
    fills at a dock whose own label lies outside what its tank can have held.
    """

    sessions: dy.DataFrame[SessionFuel]
    tank_events: pl.DataFrame
    dock_events: pl.DataFrame
    balance: pl.DataFrame
    burn_factors: pl.DataFrame
    off_labels: pl.DataFrame


def session_fuel(
    records: Mapping[str, pl.DataFrame],
    engine_sessions: pl.DataFrame,
    assumptions: Assumptions,
    as_of: datetime,
) -> SessionFuelResult:
    """What was in the litres each session burned, as far as the record tells.

    Args:
        records: the contracts' frames by kind, as known at `as_of`; hulls, docks,
            deliveries and fills are read, and if they are there drains, dips, fuel tests,
            transfers, the docks' tanks, pump totals and pump-outs, and sessions, for rentals
            that no engine on record accounts for.
        engine_sessions: the EngineSessions frame.
        assumptions: every setting used.
        as_of: the moment of the ledger; later rows are refused.

    Raises:
        ValueError: a row of fuel or a session lies after `as_of`, or a session names a
            hull that the hulls' record does not.
    """
    _refuse_later(records, engine_sessions, as_of)
    records = with_scale_chances(records, assumptions)
    names = sorted(records["hulls"].get_column("hull_id"))
    rides = rated_litres(_with_engineless(engine_sessions, records), assumptions)
    _refuse_unknown_hulls(rides, names)
    record = craft_record(rides, records, names, assumptions)
    factors = burn_factors(record, names, assumptions)
    record = with_burns(record, factors)
    craft = craft_tanks(record, records["hulls"], factors, assumptions)
    fills, docks, poured_by, habits = _docks_with_gaps(records, record, craft, names, assumptions)
    poured = poured_fuel(
        craft.events, record, records, fills, habits, docks, poured_by, assumptions
    )
    run, poured = _mixed(craft, record, poured, habits, assumptions)
    table = session_table(rides, record, craft.events, run, docks.run, assumptions)
    balance = pl.concat(
        [
            account(craft.events, run, names, "hull"),
            account(docks.events, docks.run, _tank_names(docks), "dock"),
        ]
    )
    fill_row = record.get_column("fill_row").to_numpy()[craft.events.row]
    tank_events = craft_event_frame(craft.events, run, names, fill_row, records["fills"], poured)
    return SessionFuelResult(
        sessions=table,
        tank_events=tank_events,
        dock_events=dock_event_frame(docks),
        balance=with_recent(balance, tank_events, as_of, assumptions),
        burn_factors=factors,
        off_labels=_off_labels(records["fills"], fills, docks),
    )  # fmt: skip


def _with_engineless(sessions: pl.DataFrame, records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Add the rentals no engine on record accounts for: they burned fuel all the same."""
    if "sessions" not in records:
        return sessions
    key = ["hull_id", "started_at"]
    others = records["sessions"].join(sessions, on=key, how="anti")
    columns = ["ended_at", "running_h", "full_throttle_share", "burned_l"]
    hours = {"engine_h_start": pl.lit(0.0), "engine_h_stop": pl.col("running_h")}
    extra = others.select(*key, *columns).with_columns(**hours)
    return pl.concat([sessions, extra], how="diagonal")


def _docks_with_gaps(
    records: Mapping[str, pl.DataFrame],
    record: pl.DataFrame,
    craft: CraftTanks,
    names: Sequence[str],
    assumptions: Assumptions,
) -> tuple[Fills, DockTanks, Ints, HullHabits]:
    """The dock tanks with the recorded draws, then with the unrecorded ones too."""
    tanks = dock_tank_table(records, assumptions)
    recorded = drawn_from(records, tanks, assumptions).with_columns(is_inferred=pl.lit(value=False))
    fills = fills_read(records, recorded, assumptions)
    docks = run_dock_tanks(records, tanks, recorded, assumptions)
    habits = hull_habits(records, names, fills, docks, recorded, assumptions)
    missing = unrecorded_draws(craft.events, habits)
    if missing.height:
        both = pl.concat([recorded, missing.drop("event")], how="diagonal_relaxed")
        docks = run_dock_tanks(records, tanks, both, assumptions)
    events = craft.events
    poured_by = np.full(len(events.row), -1, np.int64)
    fill_row = record.get_column("fill_row").to_numpy()[events.row]
    is_fill = (events.role == RECORDED) & (fill_row >= 0)
    draw = np.where(is_fill, fills.draw_of[fill_row] if len(fills.draw_of) else -1, -1)
    poured_by[draw >= 0] = docks.draw_event[draw[draw >= 0]]
    poured_by[missing.get_column("event").to_numpy()] = docks.draw_event[recorded.height :]
    return fills, docks, poured_by, habits


def _mixed(
    craft: CraftTanks, record: pl.DataFrame, poured: Poured, habits: HullHabits,
    assumptions: Assumptions,
) -> tuple[TankRun, Poured]:  # fmt: skip
    """The craft's tanks run, as often as fuel was passed on from one to the next."""
    events = craft.events
    reach = np.stack([habits.lowest_aki, habits.highest_aki], axis=1)[events.tank_of]
    unseen = unseen_of(events, craft.limits, craft.orders, reach, assumptions, is_dock=False)
    moved = record.get_column("transfer_row").to_numpy()[events.row]
    is_moved = (events.role != RECORDED) & (events.is_fill == OUT) & (moved >= 0)
    given = np.flatnonzero(is_moved)
    taken = np.flatnonzero((events.role == RECORDED) & (events.is_fill == FILL) & (moved >= 0))
    source = dict(zip(moved[given], given, strict=True))
    giver = np.array([source[row] for row in moved[taken]], np.int64)
    run: TankRun | None = None
    for _ in range(_MOST_HANDS):
        run = mix_tanks(
            events.starts, craft.limits.capacity_l, events.at_us, events.is_fill, events.volume_l,
            poured.quality, poured.born_us, poured.source_event, unseen,
        )  # fmt: skip
        widen_by_order(run.quality, craft.orders, events)
        brought = run.quality[giver]
        if not len(taken) or np.array_equal(brought, poured.quality[taken], equal_nan=True):
            break
        quality, born_us = poured.quality.copy(), poured.born_us.copy()
        quality[taken] = brought
        born = np.nan_to_num(brought[:, 3] * 86_400_000_000, nan=0.0).astype(np.int64)
        born_us[taken] = np.minimum(born, events.at_us[taken])
        poured = replace(poured, quality=quality, born_us=born_us)
    assert run is not None
    return run, poured


def _tank_names(docks: DockTanks) -> list[str]:
    return [
        dock if tank is None else f"{dock} {tank}"
        for dock, tank in docks.tanks.select("dock_id", "tank_id").iter_rows()
    ]


def _off_labels(fills: pl.DataFrame, read: Fills, docks: DockTanks) -> pl.DataFrame:
    """Fills at a dock whose own label lies outside its tank's bounds, with those bounds."""
    rows = np.flatnonzero(read.draw_of >= 0)
    event = docks.draw_event[read.draw_of[rows]]
    rows, event = rows[event >= 0], event[event >= 0]
    label, blend = read.octane[rows], docks.run.quality[event]
    off = (label[:, 2] < blend[:, 0]) | (label[:, 0] > blend[:, 2])
    return fills[rows[off]].with_columns(
        label_aki=label[off, 1], blend_low_aki=blend[off, 0], blend_high_aki=blend[off, 2]
    )


def _refuse_later(
    records: Mapping[str, pl.DataFrame], sessions: pl.DataFrame, as_of: datetime
) -> None:
    for what, column in [
        ("fills", "filled_at"),
        ("drains", "drained_at"),
        ("deliveries", "delivered_at"),
        ("dips", "dipped_at"),
        ("pump_totals", "read_at"),
        ("pump_outs", "pumped_at"),
        ("fuel_tests", "tested_at"),
        ("transfers", "moved_at"),
        ("engine sessions", "ended_at"),
    ]:
        frame = sessions if what == "engine sessions" else rows_of(records, what)
        late = frame.filter(pl.col(column) > as_of).height
        if late:
            raise ValueError(
                f"{late} {what.replace('_', ' ')} lie after {as_of:%Y-%m-%d %H:%M}; filter the "
                f"records by what was known then before the ledger is made."
            )


def _refuse_unknown_hulls(sessions: pl.DataFrame, names: list[str]) -> None:
    unknown = sorted(set(sessions.get_column("hull_id").unique()) - set(names))
    if unknown:
        raise ValueError(f"sessions of hulls that the hulls' record does not name: {unknown}")
