"""The small fleet's fuel as the ledger works it out, and its site with the fuel pages."""

from functools import cache

import polars as pl

from ringland.contracts.record_tables import EngineSessions
from ringland.exposure.week_fuel import WeekFuel, week_fuel
from ringland.exposure.week_ledger import week_ledger
from ringland.fuel.session_fuel import session_fuel
from ringland.pages.site.report_page import build_site
from tests.decision.small_fleet import AS_OF, SETTINGS, SmallFleet, small_fleet


def fuel_of(fleet: SmallFleet) -> WeekFuel:
    sessions = fleet.exposure.with_columns(
        burned_l="burn_l", running_h=pl.col("engine_h_stop") - pl.col("engine_h_start")
    )
    schema = EngineSessions.create_empty().schema
    shared = [name for name in schema if name in sessions.columns]
    rows = pl.concat([EngineSessions.create_empty(), sessions.select(shared)], how="diagonal")
    typed = rows.with_columns(pl.lit(value=True).alias("is_on_meter")).cast(schema)
    ledger = session_fuel(fleet.records, typed, SETTINGS, AS_OF)
    return week_fuel(
        fleet.records,
        week_ledger(ledger, AS_OF, SETTINGS),
        fleet.exposure,
        fleet.lives,
        AS_OF,
        SETTINGS,
    )


@cache
def site_with_fuel(names: tuple[str, ...] = ()) -> dict[str, bytes]:
    fleet = small_fleet(names=names)
    return build_site(fleet.report(), fuel=fuel_of(fleet))
