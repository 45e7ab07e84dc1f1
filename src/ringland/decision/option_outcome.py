"""What one option brings on each hull: cost and chance of failure, by parameter draw.

Cost is what is paid for sure plus the chance of an unplanned failure times its price,
over the time looked ahead; the first failure only, since a second within it is rare.  A
hull left this week can still get the best thing next week, so leaving is priced as the
cheaper of never acting and acting a week on (the one-stage look-ahead rule: where the
hazard rises, what is better now than a week on is best now).

An action that works on exposure alone is paid for only where the fleet's record shows that
it lowers failures (`shown_chances`): while a record leaves every effect possible, good fuel
would else be bought as insurance against an effect nobody has seen.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from ringland.decision.action_catalogue import NOTHING, Action, Catalogue, Test
from ringland.decision.action_prices import Prices
from ringland.decision.hazard_ahead import CumulativeHazard, Floats, hazard_ahead
from ringland.decision.week_limits import WEEK_D
from ringland.settings.assumptions import Assumptions

TESTED = "tested_d_ago"
"""Optional column: days since the last compression or leak-down test, null where none."""

ROUNDING = 1e-9
"""Share of the failures by which sums over pieces of the hours ahead may differ by rounding."""

Actions = Sequence[Action]


@dataclass(frozen=True)
class _Ahead:
    """The running sets and the time ahead of them."""

    sets: pl.DataFrame
    age_h: Floats
    use_h_d: Floats
    burn_l_h: Floats
    days: float


@dataclass(frozen=True)
class World:
    """What an option's outcome depends on beside the sets."""

    hazard: CumulativeHazard
    catalogue: Catalogue
    prices: Prices
    window_h: float

    def chance(self, ahead: _Ahead, age_h: Floats, hours: Floats, actions: Actions) -> Floats:
        """Chance of failing within `hours` by draw, the actions done at their start."""
        summed = hazard_ahead(
            self.hazard, ahead.sets, age_h, hours, actions=actions, window_h=self.window_h
        )
        return np.asarray(-np.expm1(-summed))


@dataclass(frozen=True)
class Outcome:
    """Cost and chance of an option by draw, shape (draws, sets), and what is paid for sure."""

    cost: Floats
    chance: Floats
    sure: Floats
    reads_badly: Floats


@dataclass(frozen=True)
class Outcomes:
    """Every option's outcome on the sets, `nothing` being never acted on.

    `waiting` is leaving a set this week and doing next week what then costs least.
    """

    by_option: Mapping[str, Outcome]
    ahead: _Ahead
    world: World

    def waiting(self, paid_for: Collection[str]) -> Outcome:
        """Leaving a set this week; of the options only those in `paid_for` may come next."""
        return _left_this_week(self.by_option[NOTHING], self.ahead, self.world, paid_for)

    def shown_chances(self) -> dict[str, float]:
        """The chance, over the draws, that an action on exposure lowers the fleet's failures.

        Over the sets it is meant for, days off not counted; actions that test, renew or have
        no effect on exposure are not in it.
        """
        found = {}
        for name, action in self.world.catalogue.actions.items():
            if not rests_on_exposure(action):
                continue
            ahead = self.ahead
            hours = ahead.use_h_d * ahead.days
            is_meant = is_meant_for((action,), ahead.sets).to_numpy()
            without, done = (
                self.world.chance(ahead, ahead.age_h, hours, actions)[:, is_meant].sum(axis=1)
                for actions in ((), (action,))
            )
            found[name] = float((done < without * (1 - ROUNDING)).mean())
        return found


def outcomes_by_option(
    sets: pl.DataFrame, world: World, horizon_d: float, assumptions: Assumptions
) -> Outcomes:
    """Every option's outcome on every set."""
    now = _Ahead(
        sets=sets,
        age_h=sets["age_h"].to_numpy().astype(float),
        use_h_d=sets["use_h_d"].to_numpy().astype(float),
        burn_l_h=_burn_l_h(sets, assumptions),
        days=horizon_d,
    )
    bundles = world.catalogue.bundles()
    return Outcomes(
        {name: _outcome(actions, now, world) for name, actions in bundles.items()}, now, world
    )


def rests_on_exposure(action: Action) -> bool:
    """Whether all an action brings, it brings through what the engine is exposed to."""
    return bool(action.effects) and action.test is None and not action.renews_age


def is_meant_for(actions: Actions, told: pl.DataFrame) -> pl.Series:
    """Whether each hull can be given the actions: it is one they are for, and a test is due."""
    wanted = [
        pl.col(covariate).cast(pl.Float64) == value
        for action in actions
        for covariate, value in action.only_where.items()
    ]
    if TESTED in told.columns:
        wanted += [
            pl.col(TESTED).is_null() | (pl.col(TESTED) >= action.test.reach_d.value)
            for action in actions
            if action.test
        ]
    always = pl.repeat(True, pl.len())  # a literal alone would give one row
    return told.select(pl.all_horizontal(always, *wanted).alias("meant"))["meant"]


def job_price(action: Action, prices: Prices) -> float:
    """Money for the job itself, without lost rental."""
    return float(getattr(prices, action.cost_item)) if action.cost_item else action.cost


def job_days_off(action: Action, prices: Prices) -> float:
    """Days the hull is off the water for it."""
    if action.days_off_item:
        return float(getattr(prices, action.days_off_item))
    return action.days_off


def _burn_l_h(told: pl.DataFrame, assumptions: Assumptions) -> Floats:
    """Litres an hour at each hull's share of full throttle, from the rated figures."""
    cruise = assumptions.number("fuel.cruise_burn_l_h")
    full = assumptions.number("fuel.full_burn_l_h")
    share = told["full_throttle_25h"].to_numpy().astype(float)
    return np.asarray(cruise + (full - cruise) * share)


def _outcome(actions: Actions, ahead: _Ahead, world: World) -> Outcome:
    prices = world.prices
    hours, sure = _hours_and_sure_cost(actions, ahead, prices)
    age_h = np.zeros_like(hours) if any(a.renews_age for a in actions) else ahead.age_h
    chance = world.chance(ahead, age_h, hours, actions)
    test = next((action.test for action in actions if action.test), None)
    if test is None:
        return Outcome(sure + chance * prices.unplanned, chance, sure, np.zeros_like(hours))
    others = [action for action in actions if action.test is None]
    renewed = _outcome([*others, world.catalogue.actions[test.follow_up]], ahead, world)
    already_paid = _hours_and_sure_cost(others, ahead, prices)[1]
    reach_h = np.minimum(hours, ahead.use_h_d * test.reach_d.value)
    return _tested(
        test,
        within=world.chance(ahead, age_h, reach_h, actions),
        chance=chance,
        sure=sure,
        renewed=replace(renewed, cost=renewed.cost - already_paid),
        unplanned=prices.unplanned,
    )


def _hours_and_sure_cost(actions: Actions, ahead: _Ahead, prices: Prices) -> tuple[Floats, Floats]:
    """Hours left to run beside the days off, and what is paid whatever happens."""
    days_off = min(sum(job_days_off(action, prices) for action in actions), ahead.days)
    hours = ahead.use_h_d * (ahead.days - days_off)
    sure = np.full_like(hours, days_off * prices.lost_rental_day)
    for action in actions:
        held_h = hours if action.lasts_h is None else np.minimum(hours, action.lasts_h)
        sure = sure + job_price(action, prices) + action.cost_per_d * ahead.days
        sure = sure + action.cost_per_l * ahead.burn_l_h * held_h
    return hours, sure


def _tested(
    test: Test,
    *,
    within: Floats,
    chance: Floats,
    sure: Floats,
    renewed: Outcome,
    unplanned: float,
) -> Outcome:
    """Cost and chance when a test is done first and a bad reading acted on where that pays.

    By Bayes, with p the chance of failing `within` the test's reach, a bad reading comes
    with probability se p + (1 - sp)(1 - p).  After a good one, (1 - se) p fail unwarned
    within the reach; of the sp (1 - p) others, some fail later.  Acting pays where the
    renewals then cost less than the failures they avert.
    """
    se, sp = test.sensitivity.value, test.specificity.value
    sound = 1 - within
    reads_badly = se * within + (1 - sp) * sound
    # Where none is sound after the reach, none is left to fail later.
    later = 1 - np.divide(1 - chance, sound, out=np.ones_like(sound), where=sound > 0)
    missed = (1 - se) * within + sp * sound * later
    acted = reads_badly * renewed.cost + missed * unplanned
    left = chance * unplanned
    pays = acted.mean(axis=0) < left.mean(axis=0)
    return Outcome(
        cost=sure + np.where(pays, acted, left),
        chance=np.where(pays, missed + reads_badly * renewed.chance, chance),
        sure=sure,
        reads_badly=reads_badly.mean(axis=0),
    )


def _left_this_week(
    never: Outcome, now: _Ahead, world: World, paid_for: Collection[str]
) -> Outcome:
    """Leaving a hull this week, and next week doing what then costs least."""
    if now.days <= WEEK_D:
        return never
    wait_h = now.use_h_d * WEEK_D
    waited = world.chance(now, now.age_h, wait_h, ())
    later = replace(now, age_h=now.age_h + wait_h, days=now.days - WEEK_D)
    best = never
    for name, actions in world.catalogue.bundles().items():
        if name == NOTHING or name not in paid_for:
            continue
        then = _outcome(actions, later, world)
        cost = waited * world.prices.unplanned + (1 - waited) * then.cost
        is_meant = is_meant_for(actions, now.sets).to_numpy()
        better = is_meant & (cost.mean(axis=0) < best.cost.mean(axis=0))
        chance = waited + (1 - waited) * then.chance
        best = replace(
            best,
            cost=np.where(better, cost, best.cost),
            chance=np.where(better, chance, best.chance),
        )
    return best
