"""What of the ledger a week keeps, so that the fuel pages need not run it again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from ringland.contracts.fuel_tables import CraftEvents, DockEvents, TankBalance
from ringland.exposure.fuel_at_hand import tanks_now
from ringland.fuel.session_fuel import SessionFuelResult
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class WeekLedger:
    """What of the ledger a week keeps: `CraftEvents`, `DockEvents`, `TanksNow`, `TankBalance`."""

    tank_events: pl.DataFrame
    dock_events: pl.DataFrame
    tanks: pl.DataFrame
    balance: pl.DataFrame


def week_ledger(fuel: SessionFuelResult, as_of: datetime, assumptions: Assumptions) -> WeekLedger:
    """The ledger's events of the days the fuel pages look back over, and all its tanks.

    Args:
        fuel: the ledger.
        as_of: the moment of the ledger.
        assumptions: fuel.picture_d and record.recent_sessions_d.
    """
    days = max(assumptions.number(name) for name in _LOOKED_BACK)
    recent = pl.col("at") > as_of - timedelta(days=days)
    return WeekLedger(
        CraftEvents.validate(fuel.tank_events.filter(recent), cast=True),
        DockEvents.validate(fuel.dock_events.filter(recent), cast=True),
        tanks_now(fuel, as_of),
        TankBalance.validate(fuel.balance, cast=True),
    )


_LOOKED_BACK = ("fuel.picture_d", "record.recent_sessions_d")
