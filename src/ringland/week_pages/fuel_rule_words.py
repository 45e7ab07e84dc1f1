"""What a fuel rule goes with, in sentences: an association with its range, never a cause."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.fleet_risk.unmeasured_confounding import SOURCE
from ringland.service_week.fuel_rules import WHOLE_FLEET


def rule_sentences(outcome: Mapping[str, Any], label: str, currency: str) -> list[str]:
    """One rule at one dock, or over the fleet, as sentences.

    Args:
        outcome: a row of `RuleOutcomes`.
        label: the rule in words, e.g. '91 or better at low'.
        currency: e.g. 'USD', or 'money' where none is on record.
    """
    where = "the whole fleet" if outcome["dock_id"] == WHOLE_FLEET else outcome["dock_id"]
    low, high = outcome["failures_fewer_low"], outcome["failures_fewer_high"]
    lines = [
        f"{label}, {where}: over the same season of use this goes with "
        f"{outcome['failures_fewer']:.1f} fewer ring failures ({low:.1f} to {high:.1f}) of "
        f"{outcome['failures_today']:.1f} expected under the fuel as it was, "
        f"{outcome['money_fewer']:,.0f} {currency}."
    ]
    if low <= 0 <= high:
        lines.append("The range holds no effect at all: this record does not carry the rule.")
    if outcome["job_cost"] > 0:
        lines.append(f"The jobs it asks for would have cost {outcome['job_cost']:,.0f} {currency}.")
    if outcome["break_even_per_l"] is not None:
        lines.append(_break_even(outcome, currency))
    if outcome["e_value"] > 1:
        lines.append(
            f"To explain this away, something not on record would have to go with both fuel and "
            f"failure by a risk ratio of {outcome['e_value']:.1f} each "
            f"({outcome['e_value_limit']:.1f} for the limit nearer to no effect; {SOURCE})."
        )
    if outcome["cannot_separate"] is not None:
        lines.append(f"Cannot separate: {outcome['cannot_separate']}.")
    lines.append("This is what goes with failure in this record; it does not prove what causes it.")
    return lines


def _break_even(outcome: Mapping[str, Any], currency: str) -> str:
    low, high = outcome["break_even_low"], outcome["break_even_high"]
    litres = f"on the {outcome['better_l']:,.0f} better litres"
    if high <= 0:
        return f"No dearer price would pay {litres}."
    return (
        f"It breaks even at {outcome['break_even_per_l']:.2f} {currency} more a litre {litres} "
        f"({low:.2f} to {high:.2f})."
    )
