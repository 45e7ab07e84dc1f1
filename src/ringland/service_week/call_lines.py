"""The call on a hull, its reason, its action and the week's sum, in sentences.  No HTML."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from ringland.assumptions import Assumptions
from ringland.wording.fixed_words import (
    ACTION_LABELS,
    CALL_LABELS,
    FACTOR_LABELS,
    MODE_LABELS,
)
from ringland.wording.number_words import (
    MONTHS,
    WEEKDAYS,
    chance_text,
    count_text,
    day_text,
    money_text,
    price_text,
    range_text,
    share_text,
)


def call_label(call: str, as_of: datetime, assumptions: Assumptions) -> str:
    """The wording of a call, with the day a check is due."""
    due = as_of + timedelta(days=assumptions.number("call.check_within_d"))
    return CALL_LABELS[call].format(
        day=f"{WEEKDAYS[due.weekday()]} {due.day} {MONTHS[due.month - 1]}"
    )


def call_reason(facts: Mapping[str, Any], assumptions: Assumptions) -> str:
    """The one sentence behind a call.

    Args:
        facts: the hull's row: call, action, found_at, mode, why_not, warning, the chances,
            chance_after (in 30 days, once the action is done), top_factor and top_part
            (the driver that lifts it most).
        assumptions: settings.
    """
    found_at = facts["found_at"]
    if isinstance(found_at, datetime):
        found = MODE_LABELS[str(facts["mode"])]
        return f"{found} found on {day_text(found_at)}; no rebuild on record since."
    plain = facts["warning"] or facts["why_not"]
    if plain is not None:
        return f"{_capital(str(plain))}."
    if facts["call"] == "keep_off":
        limit = assumptions.number("call.keep_off_chance_7d")
        return (
            f"Chance of failure in 7 days {chance_text(facts['chance_7d'])} "
            f"({range_text(facts['chance_7d_low'], facts['chance_7d_high'])}), "
            f"at or over the limit of {share_text(limit)}."
        )
    if facts["action"] in ("drain_refill", "drain_and_check"):
        now, after = (chance_text(facts[name]) for name in ("chance_30d", "chance_after"))
        means, of = "good fresh fuel from now on", "failing"
        if facts["action"] == "drain_and_check":
            means, of = "good fresh fuel and a check", "an unplanned failure"
        return (
            f"{_above(facts)}With {means} the model puts the chance of {of} in 30 days at "
            f"{after} instead of {now}."
        )
    if facts["action"] == "nothing":
        return f"{_above(facts)}No job costs less than waiting."
    return f"{_above(facts)}Waiting costs more than the job."


def _above(facts: Mapping[str, Any]) -> str:
    """What lifts a hull above the fleet's middle most, if anything does by a tenth or more."""
    part = facts["top_part"]
    if part is None or part < math.log(1.1):
        return ""
    label = FACTOR_LABELS[str(facts["top_factor"])]
    return f"{label} goes with {math.exp(part):.1f} times the middle hazard. "


def action_line(facts: Mapping[str, Any], currency: str) -> str:
    """The action, what it costs and what leaving it is expected to cost.

    Args:
        facts: a row of `HullCalls`.
        currency: e.g. 'USD'.
    """
    action = facts["action"]
    if action is None:
        return "Complete the record; until then judge this hull by inspection."
    label = ACTION_LABELS[str(action)]
    waiting = money_text(facts["cost_of_waiting"], currency)
    if action == "nothing":
        return f"{label}. Expected cost of failures over 30 days: {waiting}."
    cost = price_text(facts["action_cost"], currency)
    line = f"{label}: {cost}. Cost of waiting, over 30 days: {waiting}."
    saving = facts["saving"]
    if saving is not None and saving > 0:
        return f"{line} Expected saving: {money_text(saving, currency)}."
    if saving is not None:
        return f"{line} Safety, not money, speaks for it."
    return line


def summary_line(calls: Sequence[Mapping[str, Any]], currency: str) -> str:
    """The week in a sentence or two: what waiting costs, what the list saves.

    Args:
        calls: the rows of `HullCalls` that have a rank.
        currency: e.g. 'USD'.
    """
    broken = [call for call in calls if call["action"] == "repair"]
    running = [call for call in calls if call["action"] != "repair"]
    lines = []
    if broken:
        lines.append(
            f"{count_text(len(broken), 'hull stands', 'hulls stand')} broken, at "
            f"{money_text(_total(broken, 'cost_of_waiting'), currency)} of rental lost in 30 days."
        )
    if running:
        to_do = [call for call in running if call["action"] != "nothing"]
        waiting = money_text(_total(running, "cost_of_waiting"), currency)
        lines.append(
            f"Leaving {'the other' if broken else 'all'} {count_text(len(running), 'hull')} as "
            f"they are is expected to cost {waiting} over 30 days."
        )
        if to_do:
            lines.append(
                f"{count_text(len(to_do), 'job')} below, for "
                f"{money_text(_total(to_do, 'action_cost'), currency)}, "
                f"{'is' if len(to_do) == 1 else 'are'} expected to save "
                f"{money_text(_total(to_do, 'saving'), currency)} after their own price."
            )
    return " ".join(lines)


def _total(calls: Sequence[Mapping[str, Any]], column: str) -> float:
    return sum(call[column] or 0.0 for call in calls)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
