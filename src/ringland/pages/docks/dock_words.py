"""Headings, labels and notes of the page that sets the docks side by side, and of its table."""

from __future__ import annotations

from ringland.words.number_words import count_text, number_text

TITLE = "Docks side by side"
NO_DOCK = "No dock has running on record yet."
ONE_DOCK = "One dock: there is nothing to compare it with."
MOST_AND_FEWEST = (
    "Most ring failures per engine hour: {top}, {top_rate} per 1,000 engine hours; fewest: "
    "{last}, {last_rate}. {finding}"
)
STANDS_OUT = "Beyond its fuel and use, {docks} stands out from the fleet."
NONE_STANDS_OUT = (
    "Once each dock's fuel, use, calibrations and set ages are counted, no dock can be told from "
    "the rest of the fleet."
)

PICTURE = (
    "Ring failures per 1,000 engine hours at each dock with exact limits; the table below holds "
    "the same figures."
)
PICTURE_NOTE = "Dashed: the whole fleet. Bars: exact 95 % limits."
PICTURE_AXIS, PICTURE_RANGE = "ring failures per 1,000 engine h", "with exact limits"

FAILURES = "Failures, hours, and what was to be expected"
DOCK, HOURS = "Dock", "Engine hours"
RATE, RATE_SHORT = "Ring failures per 1,000 h (95 % range)", "Per 1,000 h"
EXPECTED, EXPECTED_SHORT = "Expected with its fuel and use", "Expected"
RATIO, RATIO_SHORT = "Seen over expected (95 % range)", "Seen over expected"
SAYS, SAYS_SHORT = "What that says", "Says"
HULLS_AND_SETS = "{hulls}, {sets}"
FAILURES_NOTE = (
    "Ring failures are ring-land fracture and ring wear. Expected: what the whole fleet's record "
    "gives for the dock's hours with its fuel, full throttle, calibrations, pistons and set ages, "
    "leaving out what the chances allow a dock and its engines of their own. A ratio of 1 is as "
    "expected; a range that holds 1 tells nothing. With few failures the range is wide whatever "
    "the dock is like. The risk was worked out with the dock in it, which draws "
    "its ratio towards 1."
)
NO_RATIO = "not known: no risk could be estimated"

EFFECTS = "Is it the fuel, or the dock?"
EFFECTS_HEADINGS = ("Of what", "Within docks (95 % range)", "Between docks (95 % range)", "Says")
EFFECTS_LABELS = ("Of what", "Within docks", "Between docks", "Says")
EFFECTS_NOTE = (
    "Times the risk of ring-land fracture. Within docks: hulls of one dock on worse and on better "
    "fuel. Between docks: docks that sell worse and better fuel, which differ in their riders and "
    "much else that nobody wrote down (Mundlak 1978, Econometrica 46:69-85). Only what holds "
    "within docks counts as an effect of fuel; it is what the chances and the plan change when "
    "fuel does."
)
HOLDS_WITHIN = "holds within docks"
ONLY_BETWEEN = "seen between docks only: the dock may be the reason, not its fuel"
CANNOT_TELL = "the record cannot tell"
CANNOT_SEPARATE = "Cannot separate:"

FUEL = "What each dock's hulls burned, whole record"
BURNED, BELOW_NEED, MEAN_AGE = "Burned", "Below need", "Average age"
OLDER, NOT_ON_RECORD = "Older than 28 days", "Octane not on record"
AMOUNT_AND_SHARE, DAYS = "{amount} ({share})", "{number} days"
FUEL_NOTE = (
    "Shares are of the fuel burned; the share below need is of the fuel whose octane and need are "
    "known. {rules}."
)
FUEL_RULES = "What better fuel would cost and save, dock by dock"

HOW = "How this is worked out"
HOW_NOTE = (
    "Limits of a count are exact Poisson limits (Garwood 1936, Biometrika 28:437-442). Seen over "
    "expected is indirect standardisation (Breslow and Day 1987, Statistical Methods in Cancer "
    "Research II, chapter 2); its range mixes those limits with the uncertainty of the expected "
    "failures."
)

TABLE_HEADINGS = {
    "dock_id": "dock",
    "n_hulls": "hulls (count)",
    "n_sets": "piston sets (count)",
    "running_h": "running (engine h)",
    "burned_l": "burned (l)",
    "below_need_l": "burned below need (l)",
    "below_need_share": "below need (share of 1)",
    "unknown_share": "octane not on record (share of 1)",
    "fuel_age_d": "mean fuel age (d)",
    "over_28d_share": "older than 28 d (share of 1)",
    "n_failures": "ring failures (count)",
    "rate": "ring failures per 1000 engine h",
    "rate_low": "per 1000 engine h, low",
    "rate_high": "per 1000 engine h, high",
    "expected": "expected with its fuel and use (count)",
    "ratio": "seen over expected (ratio)",
    "ratio_low": "ratio, low (ratio)",
    "ratio_high": "ratio, high (ratio)",
    "is_one_grade": "burned one grade only",
}
"""Headings of the spreadsheet, by column of `DockRows`, in order."""


def rate_words(low: float, middle: float, high: float, n_failures: int) -> str:
    """A rate of failures with its range and the failures behind it."""
    ends = [number_text(value, 2) for value in (low, middle, high)]
    return f"{ends[1]} ({ends[0]} to {ends[2]}; {count_text(n_failures, 'failure')})"


def ratio_words(low: float, middle: float | None, high: float) -> str:
    """Failures seen over those expected with its range; null is said."""
    if middle is None:
        return NO_RATIO
    ends = [number_text(value, 2) for value in (low, middle, high)]
    return f"{ends[1]} ({ends[0]} to {ends[2]})"


def finding_words(ratio: float | None, *, stands_out: bool, is_one_grade: bool) -> str:
    """What a dock's ratio says, with the two ways in which it may say nothing.

    Args:
        ratio: failures seen over expected; None where no risk could be estimated.
        stands_out: its range leaves 1 out.
        is_one_grade: the dock burned one grade only.
    """
    if ratio is None:
        return "cannot tell"
    told = (
        ("more than its fuel and use explain" if ratio > 1 else "fewer than expected")
        if stands_out
        else "cannot tell from the fleet"
    )
    if is_one_grade:
        return f"{told}; it burned one grade, so dock and fuel cannot be separated"
    return told
