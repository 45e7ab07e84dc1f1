"""One operator's week as a pure function of its records: ledger, lives, fit, chances, decisions.

The same functions in the same order as the weekly assets, which write each step down between
calls; a test holds both to the same chances and calls.  Studies and whatever else must work a
week out without a warehouse call this and nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.standing_rules import standing_from
from ringland.decision.actions.week_limits import WeekLimits
from ringland.decision.week_decisions import WeekDecisions, make_week_decisions
from ringland.decision.week_tables import WeekTables, make_week_tables
from ringland.exposure.week_record import WeekRecord, week_record
from ringland.risk.closed_season import season_end
from ringland.risk.fleet_hazard import FleetFits, fit_fleet
from ringland.risk.shared_effects import SharedEffects
from ringland.settings.assumptions import Assumptions

FIT_SEED = 19140628  # any fixed number: the same records must give the same draws
PLAY_SEED = 19140629  # any fixed number: the same week must play the same season


@dataclass(frozen=True)
class OperatorWeek:
    """The week's record, fits and chances."""

    record: WeekRecord
    fits: FleetFits
    tables: WeekTables


def operator_week(
    records: Mapping[str, pl.DataFrame],
    as_of: datetime,
    settings: Assumptions,
    *,
    fits: FleetFits | None = None,
    bench_limits: Assumptions | None = None,
    open_sheets: pl.DataFrame | None = None,
    shared: SharedEffects | None = None,
) -> OperatorWeek:
    """The week's fits and the chance of every hull.

    Args:
        records: loaded rows by record kind, every kind among them.
        as_of: an instant with time zone.
        settings: assumptions.
        fits: those of an earlier week to go on with; None: fitted to this week's record.
        open_sheets: `OpenSheets`, judged two rooms above; None: no rebuild sheet is open.
        bench_limits: of the bench tests; None: the project's own.
        shared: what the operators of a network share; None: nothing.
    """
    record = week_record(records, as_of, settings, bench_limits)
    if fits is None:
        fits = fit_fleet(record.spells, settings, np.random.default_rng(FIT_SEED), shared)
    tables = make_week_tables(
        records=record.known,
        exposure=record.exposure,
        exposure_now=record.exposure_now,
        tanks=record.tanks,
        bench=record.bench,
        fits=fits,
        as_of=as_of,
        assumptions=settings,
        open_sheets=open_sheets,
    )
    return OperatorWeek(record, fits, tables)


def decide_week(
    week: OperatorWeek,
    as_of: datetime,
    settings: Assumptions,
    *,
    catalogue: Catalogue,
    limits: WeekLimits,
    given: pl.DataFrame | None = None,
    earlier_jobs: pl.DataFrame | None = None,
    only_plan: bool = False,
) -> WeekDecisions:
    """The plan and calls of a worked-out week, without changes by hand.

    Args:
        week: as `operator_week` returns it.
        as_of: the same instant.
        settings: assumptions.
        catalogue: what can be done.
        limits: the room there is.
        given: `GivenOut`, what earlier weeks' lists gave each hull; None: nothing.
        earlier_jobs: `HullJobs` those lists asked for, as `asked_jobs` returns them; None: none.
        only_plan: as `make_week_decisions`.

    Raises:
        LimitError, CatalogueError: as `make_week_decisions`.
    """
    standing = None if given is None else standing_from(given, catalogue, as_of)
    return make_week_decisions(
        tables=week.tables,
        fits=week.fits,
        lives=week.record.lives,
        catalogue=catalogue,
        limits=limits,
        as_of=as_of,
        season_ends_at=season_end(as_of, settings),
        assumptions=settings,
        rng=np.random.default_rng(PLAY_SEED),
        standing=standing,
        earlier_jobs=earlier_jobs,
        only_plan=only_plan,
    )
