"""Steps of the room `exposure`: what each engine was asked to stand."""

import polars as pl

from pipelines.asset_figures import Figures, below_need_picture, picture, rows, table
from pipelines.rooms.fuel import LedgerTables
from pipelines.rooms.history import EngineHours, Snapshot
from pipelines.weekly.givens import Clock
from pipelines.weekly.step import Keep, step
from ringland.contracts.fuel_tables import CurrentExposure, SessionExposure, Spells
from ringland.exposure import exposure_spells, octane_margin
from ringland.exposure import week_fuel as week_fuels
from ringland.exposure.week_fuel import WeekFuel
from ringland.exposure.week_ledger import WeekLedger
from ringland.settings.assumptions import Assumptions

ROOM = "exposure"


def _exposure_figures(exposure: pl.DataFrame) -> Figures:
    drawing = below_need_picture(exposure)
    return {
        **rows(exposure.height),
        "rentals_below_need": exposure.filter(pl.col("shortfall_on") > 0).height,
        "below_need_by_month": picture(drawing, "Share of rentals below need, month by month"),
    }


@step(ROOM, tables={"rows": SessionExposure}, keep=Keep.WORKING, figures=_exposure_figures)
def session_exposure(
    session_fuel: LedgerTables, engine_sessions: EngineHours, assumptions: Assumptions
) -> pl.DataFrame:
    """Octane supplied against octane needed in hard running, one row per rental."""
    return octane_margin.session_exposure(
        session_fuel.sessions, engine_sessions.sessions, assumptions
    )


def _fuel_figures(fuel: WeekFuel) -> Figures:
    sold, below = fuel.docks.select(pl.col("sold_l").sum(), pl.col("sold_below_need_l").sum()).row(
        0
    )
    return {
        "litres_sold": round(sold),
        "litres_sold_below_need": round(below),
        "docks": table(fuel.docks.drop("below_need")),
    }


@step(ROOM, keep=Keep.WORKING, figures=_fuel_figures)
def week_fuel(
    snapshot: Snapshot,
    session_fuel: LedgerTables,
    session_exposure: pl.DataFrame,
    piston_lives: pl.DataFrame,
    clock: Clock,
    assumptions: Assumptions,
) -> WeekFuel:
    """What each dock holds and sold and what each tank went through of late, for the pages."""
    return week_fuels.week_fuel(
        snapshot.records,
        WeekLedger(
            session_fuel.tank_events,
            session_fuel.dock_events,
            session_fuel.tanks,
            session_fuel.balance,
        ),
        session_exposure,
        piston_lives,
        clock.as_of,
        assumptions,
    )


def _spell_figures(stretches: pl.DataFrame) -> Figures:
    return {
        **rows(stretches.height),
        "engine_hours": round((stretches["stop_h"] - stretches["start_h"]).sum()),
        "failures": stretches["mode"].count(),
    }


@step(ROOM, tables={"rows": Spells}, keep=Keep.WORKING, figures=_spell_figures)
def spells(
    session_exposure: pl.DataFrame, piston_lives: pl.DataFrame, assumptions: Assumptions
) -> pl.DataFrame:
    """Stretches of piston-set lives with the exposure before each, one row per stretch."""
    return exposure_spells.spells(session_exposure, piston_lives, assumptions)


@step(
    ROOM,
    tables={"rows": CurrentExposure},
    keep=Keep.SAID,
    figures=lambda found: rows(found.height),
)
def current_exposure(
    session_exposure: pl.DataFrame, piston_lives: pl.DataFrame, assumptions: Assumptions
) -> pl.DataFrame:
    """The exposure of each running piston set as it stands, one row per set."""
    return exposure_spells.current_exposure(session_exposure, piston_lives, assumptions)
