"""Everything that is decided for the week, from its tables: one plan, one call a hull.

Options, plan, calls, outlook, planned renewal age, bound and advice are made from the same
fits, prices and running sets, so that no page can contradict another.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from ringland.contracts.decision_tables import HullJobs
from ringland.contracts.plan_tables import NO_FUEL
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.action_prices import Prices, as_on_record
from ringland.decision.actions.action_terms import TESTED
from ringland.decision.actions.horizons import planned_days
from ringland.decision.actions.safety_rules import (
    bound_options,
    safety_rules,
    waiting_costs,
    week_ashore,
)
from ringland.decision.actions.week_limits import WeekLimits
from ringland.decision.jobs.hull_state import Week
from ringland.decision.jobs.new_jobs import Asker, must_look
from ringland.decision.plan.hand_changes import NO_CHANGES, HandChanges, usable_changes
from ringland.decision.plan.simple_policies import Alternatives, alternatives
from ringland.decision.plan.slot_trials import SlotTrial, slot_trials
from ringland.decision.plan.week_planner import WeekPlan, plan_week
from ringland.decision.value.action_options import option_table, spare_day_worth
from ringland.decision.value.booster_offers import BoosterOffer, booster_offers
from ringland.decision.value.fuel_beliefs import Belief, readings_of
from ringland.decision.value.fuel_trial import FuelTrial, best_trial
from ringland.decision.value.hazard_ahead import CumulativeHazard
from ringland.decision.value.hull_sets import hull_sets
from ringland.decision.value.last_readings import with_last_reading
from ringland.decision.value.last_tests import with_failed_tests
from ringland.decision.value.priced_world import World
from ringland.decision.value.renewal_age import renewal_age
from ringland.decision.value.season_outlook import season_outlook
from ringland.decision.value.small_fleet_advice import LifeBound, hull_advice, life_bound
from ringland.decision.value.sure_options import sure_options
from ringland.decision.week_tables import WeekTables
from ringland.decision.weekly_calls import hull_calls
from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.expected_use import DAY_S
from ringland.risk.fleet_hazard import FleetFits, clear_factors
from ringland.settings.assumptions import Assumptions
from ringland.survival.lives.age_replacement import AgeReplacement


@dataclass(frozen=True)
class ReadingOutcome:
    """What one way to read the record makes of the effect of fuel, and the plan it leads to."""

    belief: Belief
    plan: WeekPlan


@dataclass(frozen=True)
class WeekDecisions:
    """What is decided for the week, and what the pages on it are made from.

    `calls` are the week's `HullCalls`: the plan's actions, from `catalogue` (with the hours and
    prices the shop wrote down), with the safety rules' calls; `jobs` the `HullJobs` behind them,
    and what became of those asked before.  `plan` is None where no hull has an option; `options`
    is then empty.  `sets` (`HullSets`) are the best of them on each hull.  `set_aside` says
    which changes by hand this week could not keep.  `slots` are the plans with a few more and
    a few fewer lift slots.  `alternatives` prices the simple policies beside the plan;
    `readings` are the two priors with the plan each leads to, the shop's own first; `trial` is
    the cheapest way to learn whether fuel matters, where the record cannot tell; `boosters`
    what a booster would bring docks below need until their next delivery.
    `outlook` and `load` are None after the season or where no hull has a chance, `renewal`
    where lives do not end.
    """

    calls: pl.DataFrame
    jobs: pl.DataFrame
    catalogue: Catalogue
    horizon_d: float
    options: pl.DataFrame
    sets: pl.DataFrame
    plan: WeekPlan | None
    set_aside: tuple[str, ...]
    slots: tuple[SlotTrial, ...]
    outlook: pl.DataFrame | None
    load: pl.DataFrame | None
    renewal: AgeReplacement | None
    bound: LifeBound | None
    advice: pl.DataFrame
    alternatives: pl.DataFrame
    readings: tuple[ReadingOutcome, ...]
    trial: FuelTrial | None
    boosters: tuple[BoosterOffer, ...]


def default_limits(catalogue: Catalogue, assumptions: Assumptions) -> WeekLimits:
    """The room of a week where the user gives none: the settings of the group `limits`."""
    parts = sorted({part for action in catalogue.actions.values() for part in action.parts})
    return WeekLimits(
        lift_slots=int(assumptions.number("limits.lift_slots")),
        mechanic_h=assumptions.number("limits.mechanic_h"),
        parts_on_hand=dict.fromkeys(parts, int(assumptions.number("limits.kits_on_hand"))),
        parts_lead_d=dict.fromkeys(parts, assumptions.number("limits.kit_lead_d")),
        spare_hulls=int(assumptions.number("limits.spare_hulls")),
    )


def make_week_decisions(
    *,
    tables: WeekTables,
    fits: FleetFits,
    lives: pl.DataFrame,
    catalogue: Catalogue,
    limits: WeekLimits,
    as_of: datetime,
    season_ends_at: datetime,
    assumptions: Assumptions,
    rng: np.random.Generator,
    changes: HandChanges = NO_CHANGES,
    standing: pl.DataFrame | None = None,
    earlier_jobs: pl.DataFrame | None = None,
    left_out: frozenset[str] = frozenset(),
    only_plan: bool = False,
) -> WeekDecisions:
    """Calls, options, plan, outlook and advice of one week.

    Looks to the end of the season; 30 days ahead once it is over.

    Args:
        tables: as `make_week_tables` returns them.
        fits: as `fit_fleet` returns them.
        lives: `PistonLives` as known at `as_of`.
        catalogue: what can be done.
        limits: the room there is.
        as_of: the instant the plan speaks of.
        season_ends_at: the last day of the season.
        assumptions: settings.
        rng: plays the rest of the season.
        changes: pins and forbids of the user.
        standing: `Standing`, what earlier weeks gave out that still holds; None: nothing.
        earlier_jobs: `HullJobs`, as `asked_jobs` returns them; None: no list was given out.
        left_out: hulls whose records the week could not be worked out with.
        only_plan: leave out what is only shown beside the plan and calls (the other reading,
            slots, simple policies, trial, boosters, outlook, renewal age, bound), for whoever
            needs many weeks or the list alone.

    Raises:
        LimitError, CatalogueError: as `plan_week`, `option_table` and `bound_options`.
    """
    jobs = HullJobs.create_empty() if earlier_jobs is None else earlier_jobs
    running = with_failed_tests(tables.running, tables.bench_warnings, tables.standing, jobs)
    prices = tables.prices
    catalogue = as_on_record(catalogue, prices)
    days_left = (season_ends_at - as_of).total_seconds() / DAY_S
    horizon_d = planned_days(as_of, season_ends_at)
    rules = safety_rules(
        running, tables.chances, tables.bench_warnings, assumptions, must_look(jobs, catalogue)
    )
    bound = bound_options(rules, catalogue, prices)
    running = with_last_reading(running, tables.standing, as_of)
    told = running.filter(pl.col("why_not").is_null())
    readings = (
        readings_of(fits, told, horizon_d, assumptions, own_only=only_plan) if told.height else ()
    )
    sure = sure_options(running, rules, catalogue=catalogue, prices=prices, horizon_d=horizon_d)
    priced = [
        pl.concat(
            [
                option_table(
                    _test_again(running, rules),
                    reading.hazard,
                    catalogue=catalogue,
                    prices=prices,
                    horizon_d=horizon_d,
                    assumptions=assumptions,
                    standing=standing,
                    offers=tables.fuel_offers,
                    n_failures=sum(mode.n_failures for mode in fits.at_stake),
                ),
                sure,
            ]
        )
        for reading in readings
    ]
    ashore = week_ashore(catalogue, prices)
    priced = [waiting_costs(table, bound, ashore) for table in priced]
    options = priced[0] if priced else sure
    kept, set_aside = usable_changes(options, changes, bound, catalogue)
    plan: WeekPlan | None = None
    other_plan: WeekPlan | None = None
    slots: tuple[SlotTrial, ...] = ()
    simple: pl.DataFrame = Alternatives.create_empty()
    if options.height:
        unplanned = running.filter(~pl.col("hull_id").is_in(options["hull_id"].implode()))
        worth = spare_day_worth(options, prices, horizon_d)
        asked: dict[str, Any] = {
            "spare_day_worth": worth,
            "changes": kept,
            "bound": bound,
            "not_assessed": unplanned["hull_id"].to_list(),
        }
        plan = plan_week(options, limits, **asked)
        if not only_plan:
            slots = slot_trials(options, limits, assumptions=assumptions, **asked)
            simple = alternatives(
                plan,
                options,
                running,
                limits,
                spare_day_worth=worth,
                catalogue=catalogue,
                assumptions=assumptions,
            )
        if len(priced) > 1:
            other_plan = plan_week(priced[1], limits, **asked)
    clear = clear_factors(fits, assumptions)
    ended_at = season_ends_at if days_left <= 0 else None
    calls, jobs = hull_calls(
        tables,
        drivers=tables.drivers.filter(pl.col("factor").is_in(clear)),
        rules=rules,
        options=options,
        planned=None if plan is None else plan.rows,
        asker=Asker(
            Week(as_of, catalogue, ended_at, assumptions.number("call.answer_by_name_d"), left_out),
            assumptions.number("call.check_within_d"),
            prices,
            ashore,
            horizon_d,
        ),
        earlier=jobs,
        horizon_d=horizon_d,
        assumptions=assumptions,
    )
    outlook, load = None, None
    if readings and plan is not None and days_left > 0 and not only_plan:
        outlook, load = season_outlook(
            running,
            readings[0].hazard,
            days_left=days_left,
            planned={
                hull: catalogue.jobs(option)
                for hull, option in plan.rows.select("hull_id", "option").iter_rows()
            },
            catalogue=catalogue,
            prices=prices,
            assumptions=assumptions,
            rng=rng,
        )
    trial = None
    boosters: tuple[BoosterOffer, ...] = ()
    if readings and plan is not None and not only_plan:
        world = World.of(readings[0].hazard, catalogue, prices, assumptions)
        boosters = booster_offers(
            world, told, tables.fuel_offers, horizon_d=horizon_d, assumptions=assumptions
        )
        trial = best_trial(
            world,
            told,
            frozenset(plan.rows.filter(pl.col("fuel_way") != NO_FUEL)["hull_id"]),
            horizon_d=horizon_d,
            assumptions=assumptions,
            rng=rng.spawn(1)[0],
        )
    observed = lives.filter(pl.col("exit_h") > pl.col("entry_h"))
    return WeekDecisions(
        calls=calls,
        jobs=jobs,
        catalogue=catalogue,
        horizon_d=horizon_d,
        options=options,
        sets=hull_sets(
            options,
            None if plan is None else plan.rows,
            bound,
            catalogue=catalogue,
            prices=prices,
        ),
        plan=plan,
        set_aside=set_aside,
        slots=slots,
        outlook=outlook,
        load=load,
        renewal=None
        if not readings or only_plan
        else _renewal(readings[0].hazard, told, prices, assumptions),
        bound=None
        if observed.is_empty() or only_plan
        else life_bound(observed, fits.ring_land.mode, assumptions),
        advice=hull_advice(running, assumptions),
        alternatives=simple,
        readings=tuple(
            ReadingOutcome(reading.belief, made)
            for reading, made in zip(readings, (plan, other_plan), strict=False)
            if made is not None
        ),
        trial=trial,
        boosters=boosters,
    )


def _test_again(running: pl.DataFrame, rules: pl.DataFrame) -> pl.DataFrame:
    """A hull that a rule sends to be looked at may be tested whenever its last test was."""
    is_bound = pl.col("hull_id").is_in(rules["hull_id"].implode())
    return running.with_columns(pl.when(~is_bound).then(pl.col(TESTED)).alias(TESTED))


def _renewal(
    hazard: CumulativeHazard, told: pl.DataFrame, prices: Prices, assumptions: Assumptions
) -> AgeReplacement | None:
    middle = told.select(pl.col(name).cast(pl.Float64).median() for name in COVARIATES)
    try:
        return renewal_age(hazard, middle, prices=prices, assumptions=assumptions)
    except ValueError:  # lives that do not end within a million hours: nothing to renew
        return None
