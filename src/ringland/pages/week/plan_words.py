"""What stands behind the week's list: bay load, who waits, kits, the season, more lift slots."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ringland.words.number_words import (
    UNKNOWN,
    count_text,
    money_text,
    number_text,
    share_text,
    unit_price_text,
)

SPARES = (
    "{days} hull-days off the water this week, {made_good} made good by a spare; one more spare "
    "hull would save {worth}."
)
WAITS = "{job} waits for next week, {why}"
HULL_WAITS = "{job} waits for next week: {why}."
BESIDE = "Beside the plan: jobs of earlier lists, tanks to drain"
HULL_BY_HAND = "decided by hand in the week's file."
PINNED = "pinned to {job}"
FORBIDDEN = "something is forbidden on it; it gets {job}"
NO_KIT = "No kit to order for this week's jobs."
OUTLOOK = (
    "To the season's end, with this week's plan kept up: about {failures}, most likely between "
    "{low} and {high}, and {lost} of rental lost."
)

ANOTHER_SLOT = "What would another lift slot buy?"
SLOTS_THIS_WEEK, SLOTS_NOW = "Lift slots this week", "{slots} (now)"
SLOT_LINE = "{title}: {cost}; {failures}."
FAILURES_EXPECTED = "{failures} failures expected"
GETS, NO_LONGER_GETS = "Gets", "No longer gets"
SLOTS_NOTE = (
    "The same plan solved again with only the slots changed; mechanic hours, kits, spare hulls "
    "and safety rules stay. Where the cost stays, another limit holds, or nothing more pays. "
    "Failures: unplanned, over {ahead}, on the hulls whose chance can be told."
)
NO_SLOT_PAYS = (
    "Nothing this week: with {fewest} to {most} slots the plan stays as it is, at an {cost} and "
    "{failures} over {ahead}. No job that takes a lift pays, or another limit holds it back."
)
SLOTS_COST = "expected cost {cost}"

PLAN_COSTS = "This plan: {cost}"
PLAN_GAP = " (within {share} of the least there may be)"
POLICIES = {
    "nothing": "Nothing at all",
    "fuel_all": "Good fuel for all hulls",
    "fuel_raised": "Good fuel for the raised calibrations only",
    "docks_raised": "The grade of raised calibrations at every dock that can order it",
    "mild": "Every raised calibration put back",
    "read_and_mild": "Every calibration read out, the raised ones put back",
    "by_hours": "A top end for every set past a fixed age, as far as the bay has room",
    "drain": "Old fuel drained",
}
BEGUN = "Begins: {rule} on {hulls}"
ENDED = {
    "cost": "Ends, for keeping it would cost {more} more: {rule} on {hulls}",
    "room": "Ends, for what must be done this week leaves no room for it: {rule} on {hulls}",
    "hand": "Ends, as decided by hand: {rule} on {hulls}",
}
READ_AS = {
    "trade": "As the trade holds, fuel below need harms (common practice, no source)",
    "sceptic": "As a sceptic would, with even odds of no effect at all",
}


def instead_words(policy: str, n_hulls: int, cost: float, more: float, currency: str) -> str:
    """What a simple policy would cost, beside the plan."""
    beside = (
        "the same as the plan"
        if round(more) == 0
        else f"{money_text(abs(more), currency)} {'more' if more > 0 else 'less'} than the plan"
    )
    hulls = f" ({count_text(n_hulls, 'hull')} this week)" if n_hulls else ""
    return f"{POLICIES[policy]}{hulls}: {money_text(cost, currency)}, {beside}"


def booster_words(
    dock: str, n_hulls: int, days: float, money: tuple[float, float, float, float], currency: str
) -> str:
    """What booster until a dock's next delivery would cost and save beyond its cost, with range."""
    cost, saving, low, high = money
    back = (
        f"expected to save {money_text(saving, currency)} beyond that"
        if saving >= 0
        else f"{money_text(-saving, currency)} of it not expected to come back"
    )
    return (
        f"Booster at {dock} in fuel below need until the next delivery, "
        f"{count_text(n_hulls, 'hull')}, {number_text(days, 0)} days: costs "
        f"{money_text(cost, currency)}, {back} ({money_text(low, currency)} to "
        f"{money_text(high, currency)}, from a bottle that does nothing to one that does what its "
        f"label says). No part of the plan"
    )


def order_fuel_words(dock: str, grade: str, n_hulls: int, per_l: float, currency: str) -> str:
    """What a dock should order with its next delivery."""
    return (
        f"Order {grade} AKI at {dock} with the next delivery, "
        f"for its {count_text(n_hulls, 'hull')}: "
        f"{unit_price_text(per_l, currency)} more"
    )


def reading_words(
    name: str,
    effect: tuple[float, float, float],
    *,
    n_hulls: int,
    cost: float,
    currency: str,
    is_own: bool,
) -> str:
    """What a prior makes of octane after this record, and what the plan under it does.

    Args:
        name: of the prior.
        effect: chance of no effect, log hazard ratio if there is one, numbers below need it is of.
        n_hulls: hulls on better fuel in its plan.
        cost: expected, of its plan.
        currency: e.g. 'USD'.
        is_own: whether the week's plan is made with it.
    """
    none, log_ratio, short_on = effect
    does = "puts" if is_own else "would put"
    return (
        f"{READ_AS[name]}: after this record a chance of {share_text(none)} that octane does not "
        f"matter; if it does, {number_text(short_on, 0)} numbers below need go with "
        f"{number_text(math.exp(log_ratio))} times the failures. "
        f"{'This plan' if is_own else 'The plan'} {does} {count_text(n_hulls, 'hull')} on better "
        f"fuel, expected cost {money_text(cost, currency)}"
    )


def trial_words(
    dock: str,
    hulls: tuple[Sequence[str], Sequence[str]],
    money: tuple[float, float, float],
    would_change: float,
    currency: str,
) -> str:
    """The cheapest honest way to find out whether fuel matters here.

    Args:
        dock: where.
        hulls: those to get better fuel, and those to leave as they are.
        money: what the fuel costs, what of it is not expected to come back, and what an answer is
            worth.
        would_change: chance that the next season's fuel is bought otherwise for it.
        currency: e.g. 'USD'.
    """
    treated, control = (", ".join(names) for names in hulls)
    fuel, net, worth = (money_text(amount, currency) for amount in money)
    back = f", {net} of it not expected to come back" if money[1] > 0 else ""
    return (
        f"To find out: at {dock}, fill {treated} only with fuel that meets the need to the "
        f"season's end and leave {control} as they are. The fuel costs {fuel}{back}; the answer is "
        f"worth about {worth} in the seasons to come and would change what is bought in "
        f"{share_text(would_change)} of the cases. Whether to try is yours to say"
    )


def title_words(name: str) -> str:
    """A limit's name as a label, e.g. 'Lift slots'."""
    text = part_words(name)
    return text[:1].upper() + text[1:]


def part_words(name: str) -> str:
    """A part's or a limit's name as it is read, e.g. 'piston kit'."""
    return name.replace("_", " ")


def worth_words(amount: float | None, currency: str) -> str:
    """What one more of a limit would save in a week; null is said."""
    if amount is None:
        return UNKNOWN
    return "nothing this week" if amount == 0 else money_text(amount, currency)


def hand_words(hull: str, what: str, cost: float, currency: str) -> str:
    """What was decided by hand on a hull, and what that costs against the plan left free."""
    price = f"costs {money_text(cost, currency)} more" if cost > 0 else "costs nothing more"
    return f"{hull}: {what}; {price} than the plan without it."


def order_words(n: int, part: str) -> str:
    """Kits to order for the week's jobs."""
    return f"Order now: {count_text(n, part_words(part))} for this week's jobs."


def season_kits_words(part: str, q50: float, q80: float, q95: float) -> str:
    """Kits that repairs are likely to use up to the season's end, by quantiles of the plays."""
    safer = f", or {number_text(q95, 0)} to be safer" if round(q95) > round(q80) else ""
    return (
        f"To the season's end repairs are likely to use "
        f"{count_text(round(q50), part_words(part))}: keep {number_text(q80, 0)}{safer}."
    )


def renewal_words(
    age_h: float | None, limits: tuple[float | None, float | None, float] | None
) -> str:
    """At what age a set is best renewed on plan, or that no age pays.

    Args:
        age_h: engine hours; None where none pays.
        limits: low and high end of that age in engine hours (None: under the first age tried,
            never) and the share of the draws in which none pays; None where not worked out.
    """
    if age_h is None:
        line = "By the best estimate renewing piston sets by their age alone does not pay"
        if limits is None:
            return f"{line}."
        return f"{line}; the record leaves {share_text(1 - limits[2])} that at some age it would."
    line = f"Planned renewal of a piston set pays best at {number_text(age_h, 0)} engine hours"
    if limits is None:
        return f"{line}."
    low = "less than was tried" if limits[0] is None else number_text(limits[0], 0)
    high = "never" if limits[1] is None else f"{number_text(limits[1], 0)} h"
    return (
        f"{line} for a typical hull here ({low} to {high}; that none pays at all is "
        f"{share_text(limits[2])} likely)."
    )


def slots_title(n_slots: int) -> str:
    """A number of lift slots."""
    return count_text(n_slots, "lift slot")


def slots_cost_words(cost: float, less: float, currency: str, *, is_now: bool) -> str:
    """What the week is expected to cost with a number of slots, beside the plan as it stands.

    Args:
        cost: of the plan with these slots.
        less: what it costs less than the plan as it stands.
        currency: e.g. 'USD'.
        is_now: these are the slots the week has.
    """
    whole = SLOTS_COST.format(cost=money_text(cost, currency))
    if is_now:
        return f"{whole}, as the week stands"
    if less == 0:
        return f"{whole}, the same as now"
    return f"{whole}, {money_text(abs(less), currency)} {'less' if less > 0 else 'more'} than now"
