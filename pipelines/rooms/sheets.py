"""Steps of the room `causes` that the list needs: what a rebuilt engine must still pass."""

import polars as pl

from pipelines.asset_figures import rows
from pipelines.rooms.history import Snapshot
from pipelines.weekly.givens import Clock
from pipelines.weekly.step import step, view
from ringland.causes.cause_table import default_cause_table
from ringland.contracts.record_tables import OpenSheets, SheetWaivers
from ringland.decision.actions.action_prices import prices
from ringland.reports.cause_case import FailureSheet, ShopRecord, failure_sheets
from ringland.reports.open_sheets import open_sheets as sheets_of
from ringland.reports.open_sheets import sheet_waivers as waivers_of
from ringland.risk.fleet_hazard import FleetFits
from ringland.settings.assumptions import Assumptions
from ringland.words.manner import Manner, in_manner

ROOM = "causes"


@view()
def cause_record(
    snapshot: Snapshot,
    piston_lives: pl.DataFrame,
    session_exposure: pl.DataFrame,
    bench_verdicts: pl.DataFrame,
    fleet_fits: FleetFits,
    versions: dict[str, str],
    photos: dict[str, bytes],
    is_demo: bool,
    clock: Clock,
    assumptions: Assumptions,
    bench_limits: Assumptions,
) -> ShopRecord:
    """All that cause reports and proofs of a week are made from."""
    known = snapshot.records
    return ShopRecord(
        as_of=clock.as_of,
        is_demo=is_demo,
        records=known,
        lives=piston_lives,
        exposure=session_exposure,
        bench=bench_verdicts,
        effects=fleet_fits.ring_land.effects(assumptions.number("survival.confidence")),
        prices=prices(known["costs"], clock.here.year, assumptions),
        table=default_cause_table(),
        limits=bench_limits,
        assumptions=assumptions,
        photos=photos,
        versions=versions,
    )


@view()
def sheets_of_failures(cause_record: ShopRecord, manner: Manner) -> tuple[FailureSheet, ...]:
    """The rebuild sheet of every failure."""
    with in_manner(manner):
        return failure_sheets(cause_record)


@step(ROOM, tables={"rows": OpenSheets}, figures=lambda sheets: rows(sheets.height))
def open_sheets(
    cause_record: ShopRecord, sheets_of_failures: tuple[FailureSheet, ...], manner: Manner
) -> pl.DataFrame:
    """Engines that run on a rebuild which is not accepted, one row per engine."""
    with in_manner(manner):
        return sheets_of(cause_record, sheets_of_failures)


@step(ROOM, tables={"rows": SheetWaivers}, figures=lambda waivers: rows(waivers.height))
def sheet_waivers(
    cause_record: ShopRecord, sheets_of_failures: tuple[FailureSheet, ...], manner: Manner
) -> pl.DataFrame:
    """Lines of rebuild sheets that a named person let go, one row per engine and line."""
    with in_manner(manner):
        return waivers_of(cause_record, sheets_of_failures)
