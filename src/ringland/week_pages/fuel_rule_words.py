"""What a fuel rule goes with, in sentences: an association with its range, never a cause.

That it is no proof of cause is said once on the page, above all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.service_week.fuel_rules import WHOLE_FLEET
from ringland.wording.number_words import (
    money_text,
    number_text,
    quantity_text,
    unit_price_text,
)

VERDICT_WORDS = {
    "pays": "pays over its whole range",
    "does not pay": "does not pay anywhere in its range",
    "cannot tell": "cannot tell: the range holds gain and loss",
    "no price": "no price on record to say",
    "nothing to buy": "nothing to change",
}


def rule_sentences(outcome: Mapping[str, Any], currency: str) -> list[str]:
    """One rule at one dock, or over the fleet, as sentences.

    Args:
        outcome: a row of `SeasonRuleOutcomes`.
        currency: e.g. 'USD', or 'money' where none is on record.
    """
    is_fleet = outcome["dock_id"] == WHOLE_FLEET
    where = "the whole fleet" if is_fleet else outcome["dock_id"]
    low, high = outcome["failures_fewer_low"], outcome["failures_fewer_high"]
    label = outcome["label"].replace(" at every dock", "")
    lines = [
        f"{label}, {where}: over the year's use this goes with {fewer_text(outcome)} fewer ring "
        f"failures of {number_text(outcome['failures_today'], 1)} expected under the fuel as it "
        f"was, worth {money_text(outcome['money_fewer'], currency)}."
    ]
    if low <= 0 <= high:
        lines.append("The range holds no effect at all: this record does not carry the rule.")
    if outcome["job_cost"] > 0:
        cost = money_text(outcome["job_cost"], currency)
        lines.append(f"The jobs it asks for would have cost {cost}.")
    if outcome["break_even_per_l"] is not None:
        lines.append(_break_even(outcome, currency))
    if outcome["cannot_separate"] is not None:
        lines.append(f"Cannot separate: {outcome['cannot_separate']}.")
    return lines


def fewer_text(outcome: Mapping[str, Any]) -> str:
    """Failures fewer with their range, e.g. '2.8 (1.0 to 9.2)'; a minus sign means more."""
    middle, low, high = (
        number_text(outcome[name], 1)
        for name in ("failures_fewer", "failures_fewer_low", "failures_fewer_high")
    )
    return f"{middle} ({low} to {high})"


def break_even_text(outcome: Mapping[str, Any], currency: str) -> str:
    """The break-even price step with its range, e.g. 'USD 0.47 a litre (USD 0.16 to 1.55)'."""
    low, high = (
        unit_price_text(outcome[f"break_even_{end}"], currency).rsplit(" a ", 1)[0]
        for end in ("low", "high")
    )
    return f"{unit_price_text(outcome['break_even_per_l'], currency)} ({low} to {high})"


def verdict_words(outcome: Mapping[str, Any]) -> str:
    """Whether the rule pays at the prices on record, in words."""
    return VERDICT_WORDS[outcome["verdict"]]


def _break_even(outcome: Mapping[str, Any], currency: str) -> str:
    litres = f"on {quantity_text(outcome['better_l'], 'l')} of better fuel"
    if outcome["break_even_high"] <= 0:
        return f"No dearer price would pay {litres}."
    text = f"It breaks even at {break_even_text(outcome, currency)} more {litres}"
    if outcome["dearer_per_l"] is None:
        return f"{text}; the price step is not on record (no priced delivery of both grades)."
    step = unit_price_text(abs(outcome["dearer_per_l"]), currency)
    way = "dearer" if outcome["dearer_per_l"] >= 0 else "cheaper"
    return f"{text}; as paid, the better grade was {step} {way}: {verdict_words(outcome)}."
