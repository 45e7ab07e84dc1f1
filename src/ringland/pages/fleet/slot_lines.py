"""What another lift slot would buy, in words: the plan by number of slots."""

from __future__ import annotations

from typing import Any

from ringland.decision.actions.action_catalogue import NOTHING, Catalogue
from ringland.decision.actions.week_limits import LIFT_SLOTS
from ringland.decision.plan.slot_trials import SlotTrial
from ringland.decision.week_decisions import WeekDecisions
from ringland.pages.week import plan_words
from ringland.words.number_words import money_text, number_text


def slot_rows(
    decisions: WeekDecisions, catalogue: Catalogue, currency: str
) -> list[dict[str, Any]]:
    """One entry per number of lift slots the plan was solved for; empty where there is no plan.

    Returns:
        slots, is_now, cost (unrounded, in the records' money), title, whole_cost (in words),
        cost_line (the same, beside the plan as it stands), failure_line, comes_in and
        goes_out: (hull, what it gets or loses) against the plan as it stands, moves: whether
        cost or hulls differ from it.
    """
    if decisions.plan is None:
        return []
    room = round(decisions.plan.room[LIFT_SLOTS])
    now = next((trial for trial in decisions.slots if trial.lift_slots == room), None)
    if now is None:
        return []
    return [
        {
            "slots": trial.lift_slots,
            "is_now": trial is now,
            "cost": trial.total_cost,
            "title": plan_words.slots_title(trial.lift_slots),
            "whole_cost": plan_words.SLOTS_COST.format(cost=money_text(trial.total_cost, currency)),
            "cost_line": plan_words.slots_cost_words(
                trial.total_cost, _less(trial, now), currency, is_now=trial is now
            ),
            "failure_line": plan_words.FAILURES_EXPECTED.format(
                failures=number_text(trial.failures, 2)
            ),
            "comes_in": _changed(trial, now, catalogue),
            "goes_out": _changed(now, trial, catalogue),
            "moves": trial.options != now.options or _less(trial, now) != 0,
        }
        for trial in decisions.slots
    ]


def _less(trial: SlotTrial, now: SlotTrial) -> float:
    """What the trial costs less than the plan as it stands; solver noise below a cent is none."""
    return round(now.total_cost - trial.total_cost, 2)


def _changed(then: SlotTrial, before: SlotTrial, catalogue: Catalogue) -> list[tuple[str, str]]:
    """Hulls that get something in `then` which they do not get in `before`."""
    return [
        (hull, catalogue.short(option))
        for hull, option in then.options.items()
        if option != NOTHING and before.options[hull] != option
    ]
