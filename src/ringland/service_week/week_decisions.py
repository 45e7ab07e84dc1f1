"""Everything this week's decisions rest on, from the tables of the week: one call.

Options, plan, outlook, planned renewal age, bound and advice, made from the same fits,
prices and running sets.  Writes and reads nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from ringland.assumptions import Assumptions
from ringland.fleet_risk.expected_use import DAY_S
from ringland.fleet_risk.failure_risk import HORIZONS_D
from ringland.fleet_risk.fleet_hazard import COVARIATES, FleetFits
from ringland.ring_survival.age_replacement import AgeReplacement
from ringland.service_week.action_catalogue import Catalogue
from ringland.service_week.action_options import option_table, spare_day_worth
from ringland.service_week.action_prices import Prices
from ringland.service_week.hazard_ahead import planning_hazard
from ringland.service_week.last_tests import with_days_since_test
from ringland.service_week.renewal_age import renewal_age
from ringland.service_week.season_outlook import season_outlook
from ringland.service_week.small_fleet_advice import LifeBound, hull_advice, life_bound
from ringland.service_week.week_limits import WeekLimits
from ringland.service_week.week_planner import NO_CHANGES, HandChanges, WeekPlan, plan_week


@dataclass(frozen=True)
class WeekDecisions:
    """What the week's pages on decisions are made from.

    `outlook` and `load` are None after the season, `renewal` where lives do not end.
    """

    options: pl.DataFrame
    plan: WeekPlan
    outlook: pl.DataFrame | None
    load: pl.DataFrame | None
    renewal: AgeReplacement | None
    bound: LifeBound | None
    advice: pl.DataFrame


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
    running: pl.DataFrame,
    fits: FleetFits,
    lives: pl.DataFrame,
    inspections: pl.DataFrame,
    prices: Prices,
    catalogue: Catalogue,
    limits: WeekLimits,
    as_of: datetime,
    season_ends_at: datetime,
    assumptions: Assumptions,
    rng: np.random.Generator,
    changes: HandChanges = NO_CHANGES,
) -> WeekDecisions | None:
    """Options, plan, outlook and advice of one week; None where no hull has a chance.

    Looks 30 days ahead, or to the end of the season where that comes first.

    Args:
        running: one row per hull in service, as `running_sets` returns it.
        fits: as `fit_fleet` returns them.
        lives: `PistonLives` as known at `as_of`.
        inspections: the `inspections` records as known at `as_of`.
        prices: what things cost this season.
        catalogue: what can be done.
        limits: the room there is.
        as_of: the instant the plan speaks of.
        season_ends_at: the last day of the season.
        assumptions: settings.
        rng: plays the rest of the season.
        changes: pins and forbids of the user.

    Raises:
        LimitError, CatalogueError: as `plan_week` and `option_table`.
    """
    told = running.filter(pl.col("why_not").is_null())
    if told.is_empty() or not fits.at_stake:
        return None
    hazard = planning_hazard(fits, assumptions)
    days_left = (season_ends_at - as_of).total_seconds() / DAY_S
    horizon_d = min(HORIZONS_D["30d"], days_left) if days_left > 0 else HORIZONS_D["30d"]
    options = option_table(
        with_days_since_test(running, inspections, as_of),
        hazard,
        catalogue=catalogue,
        prices=prices,
        horizon_d=horizon_d,
        assumptions=assumptions,
    )
    unknown = running.filter(pl.col("why_not").is_not_null())["hull_id"].to_list()
    plan = plan_week(
        options,
        limits,
        spare_day_worth=spare_day_worth(options, prices, horizon_d),
        assumptions=assumptions,
        changes=changes,
        not_assessed=unknown,
    )
    renewing = {
        name
        for name, actions in catalogue.bundles().items()
        if any(action.renews_age for action in actions)
    }
    outlook, load = None, None
    if days_left > 0:
        outlook, load = season_outlook(
            running,
            hazard,
            days_left=days_left,
            planned_renewals=plan.rows.filter(pl.col("option").is_in(list(renewing)))[
                "hull_id"
            ].to_list(),
            catalogue=catalogue,
            prices=prices,
            assumptions=assumptions,
            rng=rng,
        )
    middle = told.select(pl.col(name).cast(pl.Float64).median() for name in COVARIATES)
    try:
        renewal = renewal_age(hazard, middle, prices=prices, assumptions=assumptions)
    except ValueError:  # lives that do not end within a million hours: nothing to renew
        renewal = None
    observed = lives.filter(pl.col("exit_h") > pl.col("entry_h"))
    return WeekDecisions(
        options=options,
        plan=plan,
        outlook=outlook,
        load=load,
        renewal=renewal,
        bound=None
        if observed.is_empty()
        else life_bound(observed, fits.ring_land.mode, assumptions),
        advice=hull_advice(running, assumptions),
    )
