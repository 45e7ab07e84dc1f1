"""What each session burned: the whole ledger, from records to one row per rental.

Sessions burn at the moment they end; a fill written at that same instant comes after.
The steps: litres per session, record made possible, dock tanks, craft tanks, ages.
"""

# ruff: noqa: PLR0917 - a ledger step takes the frames it reads
from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import dataframely as dy
import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import SessionFuel
from ringland.contracts.records import Drains
from ringland.fuel.burn_estimate import (
    TankHabits,
    burn_factors,
    burned_litres,
    rated_litres,
)
from ringland.fuel.craft_fills import HullHabit, hull_habits, poured_fuel, unrecorded_draws
from ringland.fuel.dock_tanks import (
    US_PER_DAY,
    DockTanks,
    bounded_dock_tanks,
    draws_of,
    run_dock_tanks,
)
from ringland.fuel.octane import with_scale_chances
from ringland.fuel.tank_account import (
    account,
    craft_event_frame,
    event_frame,
    recent_balance,
)
from ringland.fuel.tank_ages import age_quantile, share_older
from ringland.fuel.tank_events import (
    DRAINED,
    RECORDED,
    TankEvents,
    median_or,
    ordered_events,
    possible_events,
)
from ringland.fuel.tank_kernel import (
    Floats,
    Ints,
    TankRun,
    mix_tanks,
)
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class SessionFuelResult:
    """The ledger's outcome.

    `sessions` is the table other rooms read.  `tank_events` has one row per event of a
    craft's tank, with the level, octane and age after it; `dock_events` the same for the
    docks' tanks.  `balance` accounts for every litre of every tank, and says which hulls'
    fills and burns disagree of late.  `burn_factors` is what each hull's fills say about
    its consumption.
    """

    sessions: dy.DataFrame[SessionFuel]
    tank_events: pl.DataFrame
    dock_events: pl.DataFrame
    balance: pl.DataFrame
    burn_factors: pl.DataFrame


def session_fuel(
    records: Mapping[str, pl.DataFrame],
    engine_sessions: pl.DataFrame,
    assumptions: Assumptions,
    as_of: datetime,
) -> SessionFuelResult:
    """What was in the litres each session burned, as far as the record tells.

    Args:
        records: the contracts' frames by kind, as known at `as_of`; hulls, docks,
            deliveries and fills are read, drains if there, and sessions if there, for
            rentals that no engine on record accounts for.
        engine_sessions: the EngineSessions frame.
        assumptions: every setting used.
        as_of: the moment of the ledger; later rows are refused.

    Raises:
        ValueError: a fill, drain, delivery or session lies after `as_of`, or a session names a
            hull that the hulls' record does not.
    """
    drains = records.get("drains", Drains.create_empty())
    _refuse_later(records, engine_sessions, drains, as_of)
    records = with_scale_chances(records, assumptions)
    hulls, fills = records["hulls"].sort("hull_id"), records["fills"]
    names = hulls.get_column("hull_id").to_list()
    rated = rated_litres(_with_engineless(engine_sessions, records), assumptions)
    factors = burn_factors(rated, fills, drains, assumptions)
    sessions = burned_litres(rated, factors).sort("hull_id", "ended_at", "started_at")
    _refuse_unknown_hulls(sessions, names)
    level_sd_l = dict(factors.select("hull_id", "fill_level_sd_l").iter_rows())
    frame, events, capacity = _craft_events(
        sessions, fills, drains, hulls, names, level_sd_l, assumptions
    )
    fill_row = _rows(frame, "fill_row")[events.row]
    session_row = _rows(frame, "session_row")[events.row]
    docks, poured_by, habits = _docks_with_gaps(records, events, fill_row, names, assumptions)
    poured = poured_fuel(events, fill_row, fills, habits, docks, poured_by, assumptions)
    run = mix_tanks(
        events.starts,
        capacity,
        events.at_us,
        events.is_fill,
        events.volume_l,
        poured.quality,
        poured.born_us,
        poured.source_event,
    )
    burns = np.flatnonzero((events.role == RECORDED) & (session_row >= 0))
    table = _session_table(sessions[session_row[burns]], burns, events, run, docks, assumptions)
    tank_events = craft_event_frame(events, run, names, fill_row, fills, poured)
    balance = pl.concat(
        [
            account(events, run, names, "hull"),
            account(docks.events, docks.run, docks.names, "dock"),
        ]
    )
    return SessionFuelResult(
        sessions=SessionFuel.validate(table.sort("hull_id", "started_at"), cast=True),
        tank_events=tank_events,
        dock_events=event_frame(
            docks.events, docks.run, docks.names, ("dock_id", "draw", "delivery")
        ),
        balance=balance.join(
            recent_balance(tank_events, as_of, assumptions), on="tank", how="left",
            maintain_order="left",
        ),
        burn_factors=factors,
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


def _craft_events(
    sessions: pl.DataFrame,
    fills: pl.DataFrame,
    drains: pl.DataFrame,
    hulls: pl.DataFrame,
    names: list[str],
    level_sd_l: dict[str, float | None],
    assumptions: Assumptions,
) -> tuple[pl.DataFrame, TankEvents, Floats]:
    stretch = (
        pl.when(pl.col("burned_l").is_not_null())
        .then(0.0)
        .when(pl.col("is_throttle_assumed"))
        .then(assumptions.number("fuel.burn_stretch_assumed"))
        .otherwise(assumptions.number("fuel.burn_stretch"))
    )
    frame = ordered_events(
        pl.concat(
            [
                sessions.with_columns(stretch=stretch)
                .with_row_index("session_row")
                .select(
                    "session_row",
                    tank="hull_id",
                    at="ended_at",
                    earliest_at="started_at",
                    volume_l="burn_l",
                    is_fill=False,
                    stretch="stretch",
                ),
                fills.with_row_index("fill_row").select(
                    "fill_row",
                    tank="hull_id",
                    at="filled_at",
                    earliest_at="filled_at",
                    volume_l="volume_l",
                    is_fill=True,
                    stretch=0.0,
                ),
                drains.with_row_index("drain_row").select(
                    "drain_row",
                    tank="hull_id",
                    at="drained_at",
                    earliest_at="drained_at",
                    volume_l="volume_l",
                    is_fill=False,
                    stretch=0.0,
                ),
            ],
            how="diagonal",
        )
    )
    capacity = hulls.get_column("tank_l").to_numpy().astype(float)
    habits = _tank_habits(frame, fills, names, capacity, level_sd_l, assumptions)
    events = possible_events(frame, names, habits, assumptions.number("fuel.level_gain"))
    is_drain = (events.role == RECORDED) & (_rows(frame, "drain_row")[events.row] >= 0)
    events = replace(events, role=np.where(is_drain, DRAINED, events.role))
    return frame, events, capacity


def _tank_habits(
    frame: pl.DataFrame, fills: pl.DataFrame, names: list[str], capacity: Floats,
    level_sd_l: dict[str, float | None], assumptions: Assumptions,
) -> TankHabits:  # fmt: skip
    """What is usual at each hull's tank.

    A level that varies by sd about its mean and never overflows has its mean at least about
    sqrt(3) sd below the brim (the uniform spread that just touches it); that mean is taken
    as the level filled to.  On hand before a first fill is what it left room for up to that
    level; before a first session, a full tank; before a first emptying, nothing is made up.
    """
    sizes = dict(fills.group_by("hull_id").agg("volume_l").iter_rows())
    usual = np.array(
        [
            min(median_or(sizes.get(name, []), holds / 2), holds)
            for name, holds in zip(names, capacity, strict=True)
        ]
    )
    spread = [level_sd_l.get(name) for name in names]
    sd = np.array([np.nan if value is None else value for value in spread], float)
    steady = sd <= assumptions.number("fuel.steady_fill_sd") * capacity
    filled_to = np.where(steady, capacity - np.sqrt(3) * sd, np.nan)
    first = frame.group_by("tank", maintain_order=True).first()
    fill_l = {
        tank: volume if is_fill else 0.0
        for tank, volume, is_fill in first.select("tank", "volume_l", "is_fill").iter_rows()
    }
    emptied = set(first.filter(pl.col("volume_l").is_null()).get_column("tank"))
    first_fill = np.array([fill_l.get(name, 0.0) for name in names])
    opening = np.maximum(np.where(steady, filled_to, capacity) - first_fill, 0.0)
    opening[[name in emptied for name in names]] = 0.0
    missing_from = usual * assumptions.number("fuel.missing_fill_share")
    return TankHabits(capacity, usual, opening, filled_to, missing_from)


def _docks_with_gaps(
    records: Mapping[str, pl.DataFrame],
    events: TankEvents,
    fill_row: Ints,
    names: list[str],
    assumptions: Assumptions,
) -> tuple[DockTanks, Ints, list[HullHabit]]:
    """The dock tanks with the recorded draws, then with the unrecorded ones too, bounded."""
    fills, hulls = records["fills"], records["hulls"]
    recorded = draws_of(fills)
    draw_of = np.full(fills.height, -1, np.int64)
    draw_of[recorded.get_column("fill_row").to_numpy()] = np.arange(recorded.height)
    deliveries, docks = records["deliveries"], records["docks"]
    first = run_dock_tanks(deliveries, docks, recorded, assumptions)
    is_known = draw_of >= 0
    is_known[is_known] = first.draw_event[draw_of[is_known]] >= 0
    habits = hull_habits(hulls, fills, names, first, np.where(is_known, draw_of, -1), assumptions)
    missing = unrecorded_draws(events, habits, first.names)
    both = pl.concat([recorded, missing.drop("event")], how="diagonal")
    run = bounded_dock_tanks(deliveries, docks, both, assumptions)
    poured_by = np.full(len(events.row), -1, np.int64)
    is_draw = (events.role == RECORDED) & (fill_row >= 0)
    is_draw[is_draw] = draw_of[fill_row[is_draw]] >= 0
    poured_by[is_draw] = run.draw_event[draw_of[fill_row[is_draw]]]
    poured_by[missing.get_column("event").to_numpy()] = run.draw_event[recorded.height :]
    return run, poured_by, habits


def _session_table(
    sessions: pl.DataFrame,
    burns: Ints,
    events: TankEvents,
    run: TankRun,
    docks: DockTanks,
    assumptions: Assumptions,
) -> pl.DataFrame:
    at_us = events.at_us[burns]
    quality = run.quality[burns]
    at_d = at_us / US_PER_DAY
    limits = [assumptions.number("fuel.turns_after_d"), assumptions.number("fuel.old_after_d")]
    ages_us = np.array([limit * US_PER_DAY for limit in limits], np.int64)
    older = share_older(run, burns, at_us, ages_us, docks.run)
    mean_age_us = (at_d - quality[:, 3]) * US_PER_DAY
    p90 = age_quantile(run, burns, at_us, mean_age_us, 0.9, docks.run)
    unknown = np.clip(quality[:, 6], 0.0, 1.0)
    return pl.DataFrame(
        {
            "hull_id": sessions.get_column("hull_id"),
            "started_at": sessions.get_column("started_at"),
            "burn_l": run.moved_l[burns],
            "octane_aki": np.where(unknown > 1 - 1e-9, np.nan, quality[:, 1]),
            "octane_low_aki": quality[:, 0],
            "octane_high_aki": quality[:, 2],
            "fuel_age_d": at_d - quality[:, 3],
            "fuel_age_low_d": at_d - quality[:, 4],
            "fuel_age_high_d": at_d - quality[:, 5],
            "fuel_age_p90_d": p90 / US_PER_DAY,
            "share_over_14d": older[:, 0],
            "share_over_28d": older[:, 1],
            "unknown_share": unknown,
            "tank_before_l": run.before_l[burns],
            "tank_after_l": run.after_l[burns],
        }
    ).with_columns(pl.selectors.float().fill_nan(None))


def _rows(frame: pl.DataFrame, column: str) -> Ints:
    return frame.get_column(column).cast(pl.Int64).fill_null(-1).to_numpy()


def _refuse_later(
    records: Mapping[str, pl.DataFrame],
    sessions: pl.DataFrame,
    drains: pl.DataFrame,
    as_of: datetime,
) -> None:
    for what, frame, column in [
        ("fills", records["fills"], "filled_at"),
        ("drains", drains, "drained_at"),
        ("deliveries", records["deliveries"], "delivered_at"),
        ("engine sessions", sessions, "ended_at"),
    ]:
        late = frame.filter(pl.col(column) > as_of).height
        if late:
            raise ValueError(
                f"{late} {what} lie after {as_of:%Y-%m-%d %H:%M}; filter the records by what "
                f"was known then before the ledger is made."
            )


def _refuse_unknown_hulls(sessions: pl.DataFrame, names: list[str]) -> None:
    unknown = sorted(set(sessions.get_column("hull_id")) - set(names))
    if unknown:
        raise ValueError(f"sessions of hulls that the hulls' record does not name: {unknown}")
