"""Steps of the room `fuel`: what was in each tank."""

from dataclasses import dataclass

import polars as pl

from pipelines.asset_figures import Figures, rows, table
from pipelines.rooms.history import EngineHours, Snapshot
from pipelines.weekly.givens import Clock
from pipelines.weekly.step import Keep, step
from ringland.contracts.fuel_tables import SessionFuel, TanksNow
from ringland.contracts.record_tables import OctaneScaleChances, RecordFlags
from ringland.exposure.fuel_at_hand import tanks_now
from ringland.fuel import session_fuel as ledger
from ringland.fuel.balance_doubts import balance_doubts
from ringland.fuel.octane_scale import scale_chances
from ringland.settings.assumptions import Assumptions

ROOM = "fuel"


@dataclass(frozen=True)
class LedgerTables:
    """What each rental burned, every tank's account and state, and hulls out of balance."""

    sessions: pl.DataFrame
    balance: pl.DataFrame
    doubts: pl.DataFrame
    tanks: pl.DataFrame


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
        "hulls_out_of_balance": found.doubts.height,
    }


@step(
    ROOM,
    tables={"sessions": SessionFuel, "doubts": RecordFlags, "tanks": TanksNow},
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
    doubts = balance_doubts(found.balance, clock.as_of, assumptions)
    return LedgerTables(found.sessions, found.balance, doubts, tanks_now(found, clock.as_of))
