"""Steps of the room `fuel`: what was in each tank."""

from dataclasses import dataclass

import polars as pl

from pipelines.asset_figures import Figures, rows, table
from pipelines.rooms.history import EngineHours, Snapshot
from pipelines.weekly.givens import Clock
from pipelines.weekly.step import Keep, step
from ringland.contracts.fuel_tables import (
    CraftEvents,
    DockEvents,
    SessionFuel,
    TankBalance,
    TanksNow,
)
from ringland.contracts.record_tables import OctaneScaleChances, RecordFlags
from ringland.exposure.week_ledger import week_ledger
from ringland.fuel import session_fuel as ledger
from ringland.fuel.balance_doubts import ledger_doubts
from ringland.fuel.octane_scale import scale_chances
from ringland.settings.assumptions import Assumptions

ROOM = "fuel"


@dataclass(frozen=True)
class LedgerTables:
    """What each rental burned, every tank's events of late, account and state, and its doubts."""

    sessions: pl.DataFrame
    balance: pl.DataFrame
    doubts: pl.DataFrame
    tanks: pl.DataFrame
    tank_events: pl.DataFrame
    dock_events: pl.DataFrame


@step(ROOM, tables={"rows": OctaneScaleChances}, figures=lambda found: rows(found.height))
def octane_scales(snapshot: Snapshot, assumptions: Assumptions) -> pl.DataFrame:
    """Octane numbers without a scale and the chance of each, one row per fill or delivery."""
    return scale_chances(snapshot.records, assumptions)


def _figures(found: LedgerTables) -> Figures:
    litres, unknown = found.sessions.select(
        pl.col("burn_l").sum(), unknown=(pl.col("burn_l") * pl.col("unknown_share")).sum()
    ).row(0)
    return {
        **rows(found.sessions.height),
        "litres_burned": round(litres),
        "litres_of_unknown_octane": round(unknown),
        "tanks": table(found.balance),
        "doubts": found.doubts.height,
    }


@step(
    ROOM,
    tables={
        "sessions": SessionFuel,
        "balance": TankBalance,
        "doubts": RecordFlags,
        "tanks": TanksNow,
        "tank_events": CraftEvents,
        "dock_events": DockEvents,
    },
    keep=Keep.WORKING,
    figures=_figures,
)
def session_fuel(
    snapshot: Snapshot, engine_sessions: EngineHours, clock: Clock, assumptions: Assumptions
) -> LedgerTables:
    """What was in the litres each rental burned, one row per rental."""
    found = ledger.session_fuel(
        snapshot.records, engine_sessions.sessions, assumptions, clock.as_of
    )
    kept = week_ledger(found, clock.as_of, assumptions)
    return LedgerTables(
        sessions=found.sessions,
        balance=kept.balance,
        doubts=ledger_doubts(found, clock.as_of, assumptions),
        tanks=kept.tanks,
        tank_events=kept.tank_events,
        dock_events=kept.dock_events,
    )
