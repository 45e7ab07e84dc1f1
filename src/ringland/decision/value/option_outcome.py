"""What one option brings on each hull over the season ahead: the one way a step is valued.

Every option is priced as it would be kept: a rule of fuel or throttle holds to the season's
end, a renewal works for the hours its set runs, a test for what it can still change.  So its
saving is against doing without it all along.  Putting a renewal off by a week is priced
apart (`Outcome.later`), since a week without room for one is not a season without it.

Cost is what is paid for sure, the chance of an unplanned failure times what one costs (the
new set may fail in its turn; on average it is fitted half way), and what the set's age at
the end brings on: the failures of the next hours of running beyond those of a new set, as
far as they count (renewal-reward reckoning with a terminal value; Barlow and Proschan 1965,
chapter 4), at most the price of a top end while the hull stands idle.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, fields, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.decision.actions.action_catalogue import (
    FUEL_RULE,
    REBUILD,
    Action,
    Finding,
    Test,
)
from ringland.decision.actions.action_terms import (
    FAILED,
    Actions,
    job_days_off,
    job_price,
    outside_per_l,
)
from ringland.decision.actions.week_limits import WEEK_D
from ringland.decision.value.chances_ahead import Ask, ChancesAhead
from ringland.decision.value.hazard_ahead import Floats, with_effects
from ringland.decision.value.last_readings import LastReadings
from ringland.decision.value.priced_world import World

NEW_SET = Action("new set", "a set fitted after a failure", renews_age=True)
"""What follows a failure where the catalogue says nothing of its repair."""

FAILS_AT = 0.5
"""Share of the time ahead after which a set that fails does so, on average."""


@dataclass(frozen=True)
class Outcome:
    """Cost and chance of an option by draw, shape (draws, sets).

    `cost` leaves out the litres `bought_l` of a rule priced by the litre, `sure` too: what
    they cost depends on where they are filled.  `later` is the cost if a set not renewed now
    is renewed next week where that pays, `later_doubt` what that renewal must save beyond it.
    """

    cost: Floats
    chance: Floats
    sure: Floats
    bought_l: Floats
    reads_badly: Floats
    later: Floats
    later_doubt: Floats

    @staticmethod
    def where(mask: NDArray[np.bool_], then: Outcome, other: Outcome) -> Outcome:
        """One outcome on the marked sets, the other on the rest."""
        return Outcome(
            *(np.where(mask, getattr(then, name), getattr(other, name)) for name in _PARTS)
        )

    def then(self, other: Outcome, share: Floats) -> Outcome:
        """This for a share of the time ahead, the other before it."""
        return Outcome(
            *(share * getattr(self, name) + (1 - share) * getattr(other, name) for name in _PARTS)
        )


_PARTS = tuple(part.name for part in fields(Outcome))


@dataclass
class Season:
    """The running sets over the days ahead, and what each option brings them."""

    sets: pl.DataFrame
    world: World
    days: float
    ahead: ChancesAhead = field(init=False, repr=False)
    _found: dict[Finding, Season] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        self.ahead = ChancesAhead(
            self.sets,
            self.world.hazard,
            self.world.window_h,
            longest_d=self.days,
            readings=LastReadings.of(self.sets, self.world.catalogue),
        )

    def outcome(self, actions: Actions) -> Outcome:
        """What doing `actions` now, and keeping what can be kept, brings on every set."""
        look = next((a.finding for a in actions if a.finding), None)
        test = next((a.test for a in actions if a.test), None)
        done = tuple(a for a in actions if a.test is None and a.finding is None)
        found = self._kept(done)
        if test is not None:
            found = self._tested(test, done, found)
        if look is not None:
            worth = self._worth_of_look(look, done)
            found = replace(found, cost=found.cost - worth, later=found.later - worth)
        return self._with_prices(found, [a for a in actions if a.test or a.finding])

    def _kept(self, actions: Actions, *, looks_on: bool = True) -> Outcome:
        """Actions without a test: paid, kept, run to the end; put off by a week, if looked at."""
        renewal = next((a for a in actions if a.renews_age), None)
        state = tuple(a for a in actions if a.effects and not a.renews_age)
        days_off = min(sum(job_days_off(a, self.world.prices) for a in actions), self.days)
        ahead_d = self.days - days_off
        chance = self.ahead.chance(state, ahead_d, renewal)
        cost = self._run_cost(state, chance, ahead_d, renewal)
        free = np.zeros(self.sets.height)
        blank = Outcome(cost, chance, free, free, free, cost, free)
        paid = self._with_prices(blank, actions)
        if not looks_on:
            return paid
        if renewal is None:
            later, doubt = self._later(state, paid)
            return replace(paid, later=later, later_doubt=doubt)
        others = [action for action in actions if not action.renews_age]
        return replace(paid, later=self._kept(others).later)

    def _later(self, state: Actions, now: Outcome) -> tuple[Floats, Floats]:
        """The cost of keeping `state` and, where it pays, renewing the set a week on.

        And the doubt of that renewal: it must save as much beyond its price as one now, or
        every renewal would seem better put off by a week, week after week.
        """
        best, doubted = now.cost, np.zeros(self.sets.height)
        if self.days <= WEEK_D:
            return best, doubted
        waited = self.ahead.chance(state, WEEK_D, None)
        failure = self._failure_cost(state)
        for renewal in self.world.catalogue.actions.values():
            if not (renewal.renews_age and renewal.offered):
                continue
            ahead_d = self.days - WEEK_D
            ahead_d -= min(job_days_off(renewal, self.world.prices), ahead_d)
            chance = self.ahead.chance(state, ahead_d, renewal)
            renewed = self._price(renewal) + self._run_cost(state, chance, ahead_d, renewal)
            cost = now.sure + waited * failure + (1 - waited) * renewed
            doubt = self.doubt(renewal)
            pays = cost.mean(axis=0) + doubt < best.mean(axis=0) + doubted
            best, doubted = np.where(pays, cost, best), np.where(pays, doubt, doubted)
        return best, doubted

    def doubt(self, renewal: Action) -> Floats:
        """What a renewal must save beyond its price; nothing where a failed test asks for it."""
        doubt = np.full(self.sets.height, self.world.renewal_doubt) * self._price(renewal)
        if FAILED in self.sets.columns:
            doubt = np.where(self.sets[FAILED].list.len().to_numpy() > 0, 0.0, doubt)
        return doubt

    def _tested(self, test: Test, done: Actions, never: Outcome) -> Outcome:
        """Cost and chance when a test is done first and a bad reading acted on where that pays.

        By Bayes, with p the chance of failing within the test's reach, a bad reading comes
        with probability se p + (1 - sp)(1 - p).  After a good one, (1 - se) p fail unwarned
        within the reach; of the sp (1 - p) others, some fail later.  Acting pays where the
        renewals then cost less than the failures they avert.
        """
        state = tuple(a for a in done if a.effects)
        within = self.ahead.chance(state, min(test.reach_d.value, self.days), None)
        renewed = self._kept([*done, self.world.catalogue.actions[test.follow_up]])
        se, sp = test.sensitivity.value, test.specificity.value
        sound = 1 - within
        reads_badly = se * within + (1 - sp) * sound
        # Where none is sound after the reach, none is left to fail later.
        later = 1 - np.divide(1 - never.chance, sound, out=np.ones_like(sound), where=sound > 0)
        missed = (1 - se) * within + sp * sound * later
        last = sp * (1 - never.chance)
        acted = (
            never.sure
            + reads_badly * (renewed.cost - never.sure)
            + missed * self._failure_cost(state)
            + last * self._left_at_end(state, self.ahead.ages() + self.ahead.hours(self.days))
        )
        pays = acted.mean(axis=0) < never.cost.mean(axis=0)
        cost = np.where(pays, acted, never.cost)
        chance = np.where(pays, missed + reads_badly * renewed.chance, never.chance)
        bad = reads_badly.mean(axis=0)
        none = np.zeros(self.sets.height)
        return replace(
            never, cost=cost, chance=chance, reads_badly=bad, later=cost, later_doubt=none
        )

    def _worth_of_look(self, look: Finding, done: Actions) -> Floats:
        """What a look at the record is worth: what it finds, as often as it does, put right.

        The expected value of sample information (Raiffa and Schlaifer 1961, chapter 4): the
        answer is given only where it pays in the mean.
        """
        others = self._if_found(look)
        answer = self.world.catalogue.actions[look.answer]
        kept = [a for a in done if a.name != answer.name]
        ways = [tuple(a for a in way if a.effects) for way in (done, [*kept, answer])]
        others.ahead.foresee(ask for way in ways for ask in others._asked_to_end(way))
        left, answered = (
            others._kept(actions, looks_on=False) for actions in (done, [*kept, answer])
        )
        docks, prices = others.sets["dock_id"], self.world.prices
        per_l = outside_per_l(answer, docks, prices) if answer.name == FUEL_RULE else 0.0
        saved = left.cost - answered.cost - per_l * (answered.bought_l - left.bought_l)
        pays = saved.mean(axis=0) > 0
        return np.asarray(look.chance.value * np.where(pays, saved, 0.0))

    def _if_found(self, look: Finding) -> Season:
        if look not in self._found:
            sets = with_effects(self.sets, look.effects)
            found = Season(sets, self.world, self.days)
            answer = self.world.catalogue.actions[look.answer]
            beside = [
                tuple(a for a in actions if a.effects and a.name != answer.name)
                for actions in self.world.catalogue.bundles().values()
                if any(a.finding == look for a in actions)
            ]
            states = [state for kept in beside for state in (kept, (*kept, answer))]
            found.ahead.foresee(ask for state in states for ask in found._asked_to_end(state))
            self._found[look] = found
        return self._found[look]

    def _with_prices(self, found: Outcome, actions: Actions) -> Outcome:
        """The same with what the actions cost whatever happens."""
        sure = sum((self._price(action) for action in actions), np.zeros(self.sets.height))
        bought = sum((self.litres(a) for a in actions if a.name == FUEL_RULE), found.bought_l)
        return replace(
            found,
            cost=found.cost + sure,
            later=found.later + sure,
            sure=found.sure + sure,
            bought_l=bought,
        )

    def _price(self, action: Action) -> Floats:
        prices = self.world.prices
        lost = min(job_days_off(action, prices), self.days) * prices.lost_rental_day
        once = job_price(action, prices) + lost + action.cost_per_d * self.days
        per_l = 0.0 if action.name == FUEL_RULE else action.cost_per_l
        return np.asarray(once + per_l * self.litres(action))

    def litres(self, action: Action) -> Floats:
        """Litres each set burns while the action holds."""
        cruise, full = self.world.burn_l_h
        share = self.sets["full_throttle_25h"].to_numpy().astype(float)
        hours = self.ahead.hours(self.days)
        held_h = hours if action.lasts_h is None else np.minimum(hours, action.lasts_h)
        return np.asarray((cruise + (full - cruise) * share) * held_h)

    def _run_cost(
        self, state: Actions, chance: Floats, ahead_d: float, renewal: Action | None
    ) -> Floats:
        """Failures of the time ahead, and what the set's age at its end brings on."""
        age_h = self.ahead.hours(ahead_d)
        end = self._left_at_end(state, age_h if renewal else age_h + self.ahead.ages())
        return np.asarray(chance * self._failure_cost(state) + (1 - chance) * end)

    def _failure_cost(self, state: Actions) -> Floats:
        """A failure's price, the new set's own chance to fail, and its age at the end."""
        half = self.days * FAILS_AT
        again = self.ahead.chance(state, half, self.world.catalogue.actions.get(REBUILD, NEW_SET))
        return np.asarray(
            self.world.prices.unplanned * (1 + again)
            + self._left_at_end(state, self.ahead.hours(half))
        )

    def _left_at_end(self, state: Actions, age_h: Floats) -> Floats:
        """Money that sets of this age cost more after the season than new ones left as they are.

        What was done for good, as a calibration put back, goes on; a rule does not.
        """
        prices = self.world.prices
        lasting = [a for a in state if a.lasts_h is None and not a.is_rule]
        more = self.ahead.more_than_new(age_h, self.world.carry_h, lasting)
        worth = self.world.carry_share * prices.unplanned * more
        return np.clip(worth, -prices.top_end_planned, prices.top_end_planned)

    def foresee(self, options: Iterable[Actions]) -> None:
        """Work out in few calls of the hazard what the outcomes of these options will ask for."""
        self.ahead.foresee(ask for actions in options for ask in self._asked(actions))

    def _asked_to_end(self, state: Actions) -> Iterator[Ask]:
        yield state, self.days * FAILS_AT, self.world.catalogue.actions.get(REBUILD, NEW_SET)
        yield state, self.days, None
        if self.ahead.readings is not None:
            yield state, min(self.ahead.readings.reach_d, self.days), None

    def _asked(self, actions: Actions) -> Iterator[Ask]:
        catalogue, prices = self.world.catalogue, self.world.prices
        state = tuple(a for a in actions if a.effects and not a.renews_age)
        yield from self._asked_to_end(state)
        yield state, min(WEEK_D, self.days), None
        off_d = [job_days_off(a, prices) for a in actions if not a.renews_age]
        yield state, self.days - min(sum(off_d), self.days), None
        for test in (a.test for a in actions if a.test):
            yield state, min(test.reach_d.value, self.days), None
        for renewal in (a for a in catalogue.actions.values() if a.renews_age):
            for left_d in (self.days, max(0.0, self.days - WEEK_D)):
                yield state, left_d - min(job_days_off(renewal, prices), left_d), renewal
