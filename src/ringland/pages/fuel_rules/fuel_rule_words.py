"""What the fuel-rules page says: headings, notes, and what a rule goes with.

An association with its range, never a cause; that it is no proof of cause is said once on
the page, above all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.words.number_words import (
    count_text,
    money_text,
    number_text,
    quantity_text,
    unit_price_text,
)

TITLE = "What the cheap fuel costs"
PROBLEM = "No fuel rule can be compared: {problem}."
KEEP_WRITING = (
    "{counts} Keep writing down what was delivered, filled and ridden: the comparison comes with "
    "the record."
)
LEAD = (
    "The same year of use, {span}, with the fuel as it was and under a rule: failures, money, and "
    "how much dearer a {volume} of better fuel may be before the rule stops paying."
)
SPAN = "{since} to {until}"
NO_PROOF = (
    "This is what goes with failure in this record; it does not prove what causes it. {how_sure}"
)
HOW_SURE = "How sure is this?"

DOCKS = "Dock by dock"
DOCK_VERDICT, EVERY_RULE_AT = "{dock}: {verdict}", "Every rule at {dock}"
BURNED_ALREADY = "{rule} is what its hulls burned already: nothing to change."
PRICES_PICTURE = (
    "Break-even price step of each least grade at each dock with its range, beside the step as "
    "paid; the tables hold the same figures."
)
PRICES_NOTE = (
    "A diamond left of the whole bar: the better fuel pays. Inside the bar: the record cannot "
    "tell. Right of it: it does not. The step as paid is the better grade's price at that dock, or "
    "at the cheapest dock that sold it, less what the dock paid for the lesser grade, by litres "
    "delivered in the year."
)

FLEET = "Every rule, whole fleet"
FLEET_PICTURE = (
    "Fewer ring failures in the year under each rule, with range; the table below holds the same "
    "figures."
)
FLEET_NOTE = (
    "Counts of ring failures in the year; ranges at 95 %, with the best and the worst fuel that "
    "the open part of the record may have been. Worth: those failures at the price of an unplanned "
    "one. Jobs: drains, recalibrations, the discount for a slower craft, booster. A minus sign "
    "means more failures, or a loss."
)

RULE, TODAY, TODAY_SHORT = "Rule", "Expected, fuel as it was", "Expected"
UNDER_RULE, FEWER, FEWER_SHORT = "Under the rule", "Fewer (range)", "Fewer"
WORTH, JOBS = "Worth", "Jobs"
BREAK_EVEN, BREAK_EVEN_SHORT = "Breaks even at (range)", "Breaks even at"
DEARER, VERDICT = "Dearer as paid", "Verdict"
NONE, NO_FUEL, NO_PRICE = "none", "no fuel to buy", "no price on record"

CANNOT_SEPARATE = "Cannot separate:"
CONTROL_NOTE = (
    "Water and foreign objects break engines whatever is in the tank, so octane must not go with "
    "those failures. {control}"
)
UNMEASURED = "What something not on record would have to be"
UNMEASURED_NOTE = (
    "To explain a rule's whole effect away, something nobody wrote down would have to go with both "
    "the fuel and the failures by at least this risk ratio each (E-value); in the last column, to "
    "explain away the end of the range nearer to no effect. 1 means nothing is needed: the range "
    "holds no effect already."
)
RISK_RATIO = "Failures today over under the rule (range)"
RISK_RATIO_SHORT = "Today over under the rule"
E_VALUE, E_VALUE_LIMIT, E_VALUE_LIMIT_SHORT = "E-value", "E-value, nearer end", "nearer end"

MEANING = "What each rule means here"
MEANING_LINES = (
    "At least so many AKI: the shortfall of every ride is cut to what that grade would have left "
    "of the stated need.",
    "Mild calibration: a raised calibration is taken off while its hull burns fuel below need.",
    "Throttle limit: while the fuel is below need, the share at full throttle goes down to the "
    "least this fleet has run; beyond that the model would only guess. Three-quarter throttle is "
    "taken to need {part_throttle} AKI (common practice, no source).",
    "Drain: fuel older than {old} days is drained before the ride; that limit is common practice "
    "without a source.",
    "Booster: its numbers are added to fuel below need, a bottle to each tank of it. What a label "
    "promises nobody here has measured: the range runs from none of it to the whole.",
)
METHOD = (
    "The risk of failing is summed over the year's own hours, once with the record as it is "
    "and once as the rule would have made it (standardisation, also called g-computation). It "
    "adjusts for full throttle, calibration, piston type, fuel age and hours on the set, and for "
    "nothing else. "
    "Drained fuel is hazardous waste: local rules come first."
)

VERDICT_WORDS = {
    "pays": "pays over its whole range",
    "does not pay": "does not pay anywhere in its range",
    "cannot tell": "cannot tell: the range holds gain and loss",
    "no price": "no price on record to say",
    "nothing to buy": "nothing to change",
}

TABLE_HEADINGS = {
    "label": "rule",
    "dock_id": "dock",
    "failures_seen": "failures seen in the year (count)",
    "running_h": "running in the year (engine h)",
    "failures_today": "failures expected, fuel as it was (count)",
    "failures_rule": "failures expected under the rule (count)",
    "failures_fewer": "fewer failures (count)",
    "failures_fewer_low": "fewer failures, low (count)",
    "failures_fewer_high": "fewer failures, high (count)",
    "money_fewer": "price of those failures ({currency})",
    "job_cost": "cost of the rule's jobs ({currency})",
    "better_l": "litres to be of a better grade (l)",
    "break_even_per_l": "break-even price step ({currency}/l)",
    "break_even_low": "break-even price step, low ({currency}/l)",
    "break_even_high": "break-even price step, high ({currency}/l)",
    "dearer_per_l": "price step as paid ({currency}/l)",
    "net_money": "left over after jobs and fuel ({currency})",
    "net_low": "left over, low ({currency})",
    "net_high": "left over, high ({currency})",
    "risk_ratio": "failures today over under the rule (ratio)",
    "risk_ratio_low": "ratio, low (ratio)",
    "risk_ratio_high": "ratio, high (ratio)",
    "e_value": "E-value (risk ratio)",
    "e_value_limit": "E-value of the nearer limit (risk ratio)",
    "verdict": "verdict",
    "cannot_separate": "cannot separate",
}
"""Headings of the spreadsheet, by column of `SeasonRuleOutcomes`, in order."""


def counts_words(n_failures: int, year: Mapping[str, Any] | None) -> str:
    """The failures behind the page, and those seen and expected in the year.

    Args:
        n_failures: ring failures on record.
        year: failures_seen, failures_today and running_h of the whole fleet; None where no
            rule was compared.
    """
    behind = f"Behind every figure stand {count_text(n_failures, 'ring failure')} on record"
    if year is None:
        return f"{behind}."
    return (
        f"{behind}; {year['failures_seen']} of them fell in this year, where the model expects "
        f"{number_text(year['failures_today'], 1)} over {number_text(year['running_h'], 0)} engine "
        f"hours. Ring failures are ring-land fracture and ring wear."
    )


def rule_sentences(outcome: Mapping[str, Any], currency: str, *, is_fleet: bool) -> list[str]:
    """One rule at one dock, or over the fleet, as sentences.

    Args:
        outcome: a row of `SeasonRuleOutcomes`.
        currency: e.g. 'USD', or 'money' where none is on record.
        is_fleet: the row is of the whole fleet and not of one dock.
    """
    where = "the whole fleet" if is_fleet else outcome["dock_id"]
    low, high = outcome["failures_fewer_low"], outcome["failures_fewer_high"]
    lines = [
        f"{rule_label(outcome)}, {where}: over the year's use this goes with "
        f"{fewer_text(outcome)} fewer ring failures of {number_text(outcome['failures_today'], 1)} "
        f"expected under the fuel as it was, worth {money_text(outcome['money_fewer'], currency)}."
    ]
    if low <= 0 <= high:
        lines.append("The range holds no effect at all: this record does not carry the rule.")
    if outcome["job_cost"] > 0:
        cost = money_text(outcome["job_cost"], currency)
        lines.append(f"The jobs it asks for would have cost {cost}.")
    if outcome["break_even_per_l"] is not None:
        lines.append(_break_even(outcome, currency))
    if outcome["cannot_separate"] is not None:
        lines.append(f"{CANNOT_SEPARATE} {outcome['cannot_separate']}.")
    return lines


def rule_label(outcome: Mapping[str, Any]) -> str:
    """A rule's name beside a dock's, or in a table of one dock."""
    return str(outcome["label"]).replace(" at every dock", "")


def fewer_text(outcome: Mapping[str, Any]) -> str:
    """Failures fewer with their range, e.g. '2.8 (1.0 to 9.2)'; a minus sign means more."""
    return number_range(outcome, "failures_fewer", 1)


def number_range(row: Mapping[str, Any], name: str, digits: int) -> str:
    """A figure of a row with its range, from the columns `name`, `name`_low, `name`_high."""
    middle, low, high = (number_text(row[f"{name}{end}"], digits) for end in ("", "_low", "_high"))
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
