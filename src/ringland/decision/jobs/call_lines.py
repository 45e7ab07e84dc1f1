"""The call on a hull, its reason, its action and the week's sum, in sentences.  No HTML."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from ringland.contracts.decision_tables import EARLIER, RENT_ONLY
from ringland.decision.actions.action_catalogue import NOTHING, REPAIR, Catalogue
from ringland.decision.actions.action_terms import TESTED
from ringland.decision.actions.safety_rules import HIGH_7D, HIGH_30D
from ringland.decision.actions.week_limits import LIFT_SLOTS, MECHANIC_H, RENTAL_DAYS
from ringland.decision.jobs.hull_state import job_label
from ringland.risk.failure_risk import HORIZONS_D
from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import FACTOR_LABELS, MODE_LABELS, NO_JOB_BESIDE
from ringland.words.number_words import (
    chance_text,
    count_text,
    day_text,
    money_text,
    number_text,
    price_text,
    range_text,
    share_text,
)

CUTS = "The plan's work cuts its chance of an unplanned failure {over} from {left} to {after}."
LEAVES = "With the plan's work its chance of an unplanned failure {over} is {after}."
SPEAKS = {"hand": "A decision by hand", EARLIER: "A job of an earlier list"}
ABOVE = "{label} goes with {times} times the failures of a typical hull here. "


def call_reason(facts: Mapping[str, Any], assumptions: Assumptions) -> str:
    """The sentence or two behind a call.

    Args:
        facts: the hull's row: call, action, found_at, mode, why_not, warning, rule, the
            chances, tested_d_ago, chance_left and chance_after (as it stands and once the
            action is done, over horizon_d), ashore (the option that keeps it off the water),
            waits_for, top_factor and top_part (the driver that lifts it most).
        assumptions: settings.
    """
    ashore = facts["action"] == facts["ashore"]
    no_room = " The week has no room for it, so it stays ashore." if ashore else ""
    found_at = facts["found_at"]
    if isinstance(found_at, datetime):
        found = MODE_LABELS[str(facts["mode"])]
        none = " No room this week to repair it." if ashore else ""
        return f"{found} found on {day_text(found_at)}; no rebuild on record since.{none}"
    plain = facts["warning"] or facts["why_not"]
    if facts["rule"] != HIGH_7D and plain is not None:
        asked = " A check is called for." if ashore else ""
        return f"{_capital(str(plain))}.{asked}{no_room}"
    if facts["rule"] == HIGH_7D:
        limit = share_text(assumptions.number("call.keep_off_chance_7d"))
        failed = "" if facts["warning"] is None else f" {_capital(str(facts['warning']))}."
        return (
            f"Chance of failure in 7 days {chance_text(facts['chance_7d'])} "
            f"({range_text(facts['chance_7d_low'], facts['chance_7d_high'])}), at or over the "
            f"{limit} from which a hull is kept off the water.{failed}{no_room}"
        )
    looked_at_from = assumptions.number("call.check_chance_30d")
    if facts["rule"] == HIGH_30D:
        return (
            f"{_above(facts)}Its chance in 30 days is at or over the {share_text(looked_at_from)} "
            f"from which a hull is checked before it is rented.{no_room}"
        )
    checked = ""
    if facts["chance_30d"] >= looked_at_from:  # no rule binds it: a check stands
        stands_d = number_text(assumptions.number("call.checked_stands_d"), 0)
        checked = (
            f"A check passed {count_text(int(facts[TESTED]), 'day')} ago answers its high chance "
            f"for {stands_d} days; it does not clear it. "
        )
    return checked + _above(facts) + _what_pays(facts)


def _what_pays(facts: Mapping[str, Any]) -> str:
    if facts["decided_by"] == "hand":
        return "Decided by hand."
    if facts["action"] == NOTHING and facts["waits_for"] is None:
        return "Nothing on the list is expected to cost less than doing without."
    if facts["action"] == NOTHING:
        return "What would cost less finds no room this week."
    left, after = chance_text(facts["chance_left"]), chance_text(facts["chance_after"])
    cuts = facts["chance_after"] < facts["chance_left"] and left != after
    return (CUTS if cuts else LEAVES).format(
        over=over_text(facts["horizon_d"]), left=left, after=after
    )


def ahead_text(horizon_d: float) -> str:
    """The time the plan looks ahead, in words."""
    days = number_text(horizon_d, 0)
    return f"{days} days" if horizon_d >= HORIZONS_D["30d"] else f"the season's last {days} days"


def over_text(horizon_d: float) -> str:
    """The time the plan looks ahead, as over which something is expected."""
    return f"over {ahead_text(horizon_d)}"


def _above(facts: Mapping[str, Any]) -> str:
    """What lifts a hull above the fleet's middle most, if anything does by a tenth or more."""
    part = facts["top_part"]
    if part is None or part < math.log(1.1):
        return ""
    label = FACTOR_LABELS[str(facts["top_factor"])]
    return ABOVE.format(label=label, times=number_text(math.exp(part)))


def action_line(
    facts: Mapping[str, Any], catalogue: Catalogue, horizon_d: float, currency: str
) -> str:
    """The action, what it costs and what leaving it is expected to cost.

    Args:
        facts: a row of `HullCalls`.
        catalogue: what can be done.
        horizon_d: days the plan looks ahead.
        currency: e.g. 'USD'.
    """
    label, ahead = do_label(facts, catalogue), ahead_text(horizon_d)
    if label is None:
        return "Complete the record; until then judge this hull by inspection."
    if facts["cost_of_waiting"] is None:
        cost = price_text(facts["action_cost"], currency) if facts["action_cost"] else ""
        return f"{label}{': ' if cost else ''}{cost}. Its chance cannot be told."
    waiting = (
        f"Left as it is, it is expected to cost "
        f"{money_text(facts['cost_of_waiting'], currency)} over {ahead}."
    )
    if not facts["action_cost"]:
        return f"{label}. {waiting}"
    line = f"{label}: {price_text(facts['action_cost'], currency)}. {waiting}"
    saving = facts["saving"]
    if saving > 0:
        saved = money_text(saving, currency)
        return f"{line} Expected saving against doing without: {saved}."
    return f"{line} {SPEAKS.get(facts['decided_by'], 'Safety')}, not money, speaks for it."


def do_label(facts: Mapping[str, Any], catalogue: Catalogue) -> str | None:
    """What is to be done on a hull; None where the record does not even say that it is nothing.

    Args:
        facts: a row of `HullCalls`.
        catalogue: what can be done.
    """
    labels = [job_label(what, catalogue) for what in facts["do"]]
    if labels or facts["action"] is None:
        return "; ".join(labels) or None
    if is_on_condition_alone(facts):
        return NO_JOB_BESIDE
    return catalogue.label(str(facts["action"]))


def is_on_condition_alone(facts: Mapping[str, Any]) -> bool:
    """Whether a hull is rented on a condition, and nothing else is to be done on it."""
    return facts["call"] == RENT_ONLY and facts["action"] == NOTHING and not facts["do"]


def room_line(facts: Mapping[str, Any], catalogue: Catalogue) -> str:
    """What a hull waits for and why, e.g. 'next week: planned top end; no lift slot left'.

    Args:
        facts: a row of `HullCalls`.
        catalogue: what can be done.
    """
    if facts["waits_for"] is None:
        return ""
    short = [no_room_text(name) for name in str(facts["no_room_in"]).split(", ")]
    return f"next week: {catalogue.short(facts['waits_for'])}; {', '.join(short)}"


def no_room_text(limit: str) -> str:
    """A limit with no room left, in words."""
    known = {
        LIFT_SLOTS: "no lift slot left",
        MECHANIC_H: "too few mechanic hours left",
        RENTAL_DAYS: "too few rental days left to spare",
    }
    return known.get(limit, f"no {limit.replace('_', ' ')} on hand")


def summary_line(calls: Sequence[Mapping[str, Any]], horizon_d: float, currency: str) -> str:
    """The week in a sentence or two: what waiting costs, what the list saves.

    Args:
        calls: the rows of `HullCalls` that have a rank.
        horizon_d: days the plan looks ahead.
        currency: e.g. 'USD'.
    """
    broken = [call for call in calls if REPAIR in (call["action"], call["waits_for"])]
    running = [call for call in calls if REPAIR not in (call["action"], call["waits_for"])]
    lines = []
    if broken:
        repaired = [call for call in broken if call["action"] == REPAIR]
        stand = count_text(len(broken), "hull stands", "hulls stand")
        lines.append(
            f"{stand} broken, {len(repaired)} to be repaired this week for "
            f"{money_text(_total(repaired, 'action_cost'), currency)}, lost rental included."
            if repaired
            else f"{stand} broken, and the week has no room to repair."
        )
    if running:
        to_do = [call for call in running if call["do"]]
        waiting = money_text(_total(running, "cost_of_waiting"), currency)
        lines.append(
            f"Leaving {'the other' if broken else 'all'} {count_text(len(running), 'hull')} as "
            f"they are is expected to cost {waiting} over {ahead_text(horizon_d)}."
        )
        if to_do:
            saved = _total(to_do, "saving")
            outcome = (
                f"save {money_text(saved, currency)} beyond its own price"
                if saved > 0
                else f"cost {money_text(-saved, currency)} more, which safety asks for"
            )
            lines.append(
                f"Work on {count_text(len(to_do), 'hull')}, for "
                f"{money_text(_total(to_do, 'action_cost'), currency)}, is expected to {outcome}."
            )
    return " ".join(lines)


def _total(calls: Sequence[Mapping[str, Any]], column: str) -> float:
    return sum(call[column] or 0.0 for call in calls)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
