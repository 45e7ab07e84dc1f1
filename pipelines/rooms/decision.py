"""Steps of the room `decision`: chances, calls, the plan of the week, and fuel rules."""

from datetime import date

import numpy as np
import polars as pl

from pipelines.asset_figures import Figures, rows, table
from pipelines.home import OwnFile
from pipelines.rooms.fuel import LedgerTables
from pipelines.rooms.history import Snapshot
from pipelines.shop_week import shop_week
from pipelines.weekly.givens import Clock
from pipelines.weekly.step import Earlier, Keep, step
from pipelines.weeks import week_of
from ringland.contracts.decision_tables import HullCalls, HullJobs
from ringland.contracts.risk_tables import ChanceInputs, ChanceParts, HullChances, HullDrivers
from ringland.decision.actions.action_catalogue import NOTHING, Catalogue
from ringland.decision.actions.action_prices import prices
from ringland.decision.actions.horizons import planned_days
from ringland.decision.actions.standing_rules import GivenOut, standing_from
from ringland.decision.jobs.open_jobs import StandsNow, asked_jobs
from ringland.decision.value.fuel_beliefs import shop_hazard
from ringland.decision.value.fuel_rules import WHOLE_FLEET
from ringland.decision.value.season_rules import SeasonRuleOutcomes, SeasonRules, season_rules
from ringland.decision.week_decisions import WeekDecisions, make_week_decisions
from ringland.decision.week_tables import (
    WeekBefore,
    WeekTables,
    make_week_tables,
    with_change,
    with_left_out,
)
from ringland.risk.closed_season import season_end
from ringland.risk.fleet_hazard import FleetFits
from ringland.settings.assumptions import Assumptions
from ringland.words.manner import Manner, in_manner

ROOM = "decision"
CHANCES = Earlier("week_tables", "chances", HullChances)
INPUTS = Earlier("week_tables", "inputs", ChanceInputs)
CALLS = Earlier("week_decisions", "calls", HullCalls)
JOBS = Earlier("week_decisions", "jobs", HullJobs)
PLAY_SEED = 19140629  # any fixed number: the same week must play the same season


def _table_figures(tables: WeekTables) -> Figures:
    told = tables.running["why_not"].null_count()
    return {**rows(tables.running.height), "with_a_chance": told}


@step(
    ROOM,
    tables={
        "chances": HullChances,
        "drivers": HullDrivers,
        "inputs": ChanceInputs,
        "changed": ChanceParts,
    },
    earlier={"past_inputs": INPUTS, "past_chances": CHANCES},
    keep=Keep.SAID,
    figures=_table_figures,
)
def week_tables(
    past_inputs: pl.DataFrame,
    past_chances: pl.DataFrame,
    snapshot: Snapshot,
    session_exposure: pl.DataFrame,
    current_exposure: pl.DataFrame,
    session_fuel: LedgerTables,
    bench_verdicts: pl.DataFrame,
    fleet_fits: FleetFits,
    open_sheets: pl.DataFrame,
    left_out: dict[str, str],
    is_list_only: bool,
    clock: Clock,
    assumptions: Assumptions,
    manner: Manner,
) -> WeekTables:
    """Where each hull in service stands: its set, chance and drivers, one row per hull."""
    with in_manner(manner):  # its sentences carry figures
        tables = make_week_tables(
            records=snapshot.records,
            exposure=session_exposure,
            exposure_now=current_exposure,
            tanks=session_fuel.tanks,
            bench=bench_verdicts,
            fits=fleet_fits,
            as_of=clock.as_of,
            assumptions=assumptions,
            open_sheets=open_sheets,
        )
    tables = with_left_out(tables, left_out)
    if is_list_only:
        return tables
    before = WeekBefore(_last_said(past_inputs), _last_said(past_chances))
    return with_change(tables, fleet_fits, before, assumptions)


def _last_said(earlier: pl.DataFrame) -> pl.DataFrame:
    """The rows of the last week before this one; of those given out, if any were."""
    given = earlier.filter("is_given_out")
    said = earlier if given.is_empty() else given
    return said.filter(pl.col("as_of") == pl.col("as_of").max())


def _decision_figures(decisions: WeekDecisions) -> Figures:
    facts: Figures = {
        **rows(decisions.calls.height),
        "calls": table(decisions.calls["call"].value_counts(sort=True)),
    }
    if (plan := decisions.plan) is None:
        return facts
    jobs = plan.rows.filter(pl.col("option") != NOTHING)
    shown = jobs.select("hull_id", "option", "expected_cost", "saving", "given_up")
    return {
        **facts,
        "planned": jobs.height,
        "total_cost": plan.total_cost,
        "cost_of_nothing": plan.cost_of_nothing,
        "to_order": dict(plan.to_order),
        "jobs": table(shown),
    }


@step(
    ROOM,
    tables={"calls": HullCalls, "jobs": HullJobs},
    earlier={"past_calls": CALLS, "past_jobs": JOBS},
    keep=Keep.SAID,
    figures=_decision_figures,
)
def week_decisions(
    past_calls: pl.DataFrame,
    past_jobs: pl.DataFrame,
    snapshot: Snapshot,
    bench_verdicts: pl.DataFrame,
    week_tables: WeekTables,
    fleet_fits: FleetFits,
    piston_lives: pl.DataFrame,
    catalogue: Catalogue,
    week_file: OwnFile,
    left_out: dict[str, str],
    is_list_only: bool,
    clock: Clock,
    assumptions: Assumptions,
    manner: Manner,
) -> WeekDecisions:
    """The week's plan within its room, and from it one call and one action per hull.

    What earlier lists gave out and still holds is known to it.
    """
    said = past_calls.filter("is_given_out").select("as_of", "hull_id", option="action")
    given_out = GivenOut.validate(said, cast=True)
    own = shop_week(
        week_file,
        date.fromisoformat(week_of(clock.here.date())),
        catalogue=catalogue,
        hulls=snapshot.hulls_on_record,
        settings=assumptions,
    )
    with in_manner(manner):  # the plan gives its reasons with figures
        return make_week_decisions(
            tables=week_tables,
            fits=fleet_fits,
            lives=piston_lives,
            catalogue=catalogue,
            limits=own.limits,
            changes=own.changes,
            as_of=clock.as_of,
            season_ends_at=season_end(clock.here, assumptions),
            assumptions=assumptions,
            rng=np.random.default_rng(PLAY_SEED),
            standing=standing_from(given_out, catalogue, clock.as_of),
            earlier_jobs=asked_jobs(
                past_jobs,
                snapshot.records,
                bench_verdicts,
                StandsNow(week_tables.standing, week_tables.sheets, week_tables.at_hand),
                catalogue=catalogue,
                as_of=clock.as_of,
            ),
            left_out=frozenset(left_out),
            only_plan=is_list_only,
        )


def _rule_figures(found: SeasonRules) -> Figures:
    fleet = found.outcomes.filter(pl.col("dock_id") == WHOLE_FLEET)
    return {
        **rows(found.outcomes.height),
        "since": found.since.date().isoformat(),
        "failures_behind_the_hazard": found.n_failures,
        "problem": found.problem or "none",
        "verdicts": dict(fleet.select("label", "verdict").iter_rows()),
    }


@step(ROOM, tables={"outcomes": SeasonRuleOutcomes}, figures=_rule_figures)
def fuel_rules(
    snapshot: Snapshot,
    spells: pl.DataFrame,
    session_exposure: pl.DataFrame,
    week_tables: WeekTables,
    fleet_fits: FleetFits,
    catalogue: Catalogue,
    clock: Clock,
    assumptions: Assumptions,
) -> SeasonRules:
    """Failures and money under each fuel rule over a year's use, one row per rule and dock."""
    return season_rules(
        spells,
        session_exposure,
        snapshot.records["deliveries"],
        shop_hazard(
            fleet_fits,
            week_tables.running,
            planned_days(clock.as_of, season_end(clock.here, assumptions)),
            assumptions,
        ),
        as_of=clock.as_of,
        prices=prices(snapshot.records["costs"], clock.here.year, assumptions),
        catalogue=catalogue,
        assumptions=assumptions,
    )
