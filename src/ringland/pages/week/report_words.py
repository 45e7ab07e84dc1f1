"""Facts of the week's report to sentences: fuel, use, drivers, rules, what would change a call.

No HTML: the page escapes whatever stands here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import polars as pl

from ringland.contracts.decision_tables import NOT_ENOUGH, NOT_FOR_RENT
from ringland.decision.actions.action_catalogue import Action
from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.action_terms import outside_per_l
from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import FACTOR_LABELS, MODE_LABELS
from ringland.words.number_words import (
    count_text,
    factor_value,
    number_text,
    quantity_text,
    share_text,
    unit_price_text,
)
from ringland.words.shown_units import volume_noun

WORTH_SAYING = 0.005
"""A share that would print as 0 % is not mentioned."""
NINETEEN_IN_20 = 1.96
"""Standard deviations either side of the middle that hold 95 % of a normal."""


def driver_line(driver: Mapping[str, Any], *, is_clear: bool) -> str:
    """One factor in words: its value, the fleet's middle, and how far it goes with failure.

    Args:
        driver: a row of `HullDrivers`.
        is_clear: the record tells the factor's effect from none.
    """
    factor = str(driver["factor"])
    value, middle = driver["value"], driver["fleet_middle"]
    times = math.exp(driver["log_hazard_part"] or 0.0)
    if makes_no_difference(driver):
        effect = "no difference to a typical hull here"
        is_clear = True
    elif times >= 1:
        effect = f"goes with {number_text(times, 2)} times the failures"
    else:
        effect = f"goes with {number_text(times, 2)} times the failures (fewer)"
    if not is_clear:
        effect += ", which this record cannot tell from no effect"
    basis = "partly assumed" if driver["is_assumed"] else "from the record"
    beside = "" if middle is None else f" (a typical hull here: {factor_value(factor, middle)})"
    return f"{FACTOR_LABELS[factor]}: {factor_value(factor, value)}{beside}: {effect}; {basis}."


def makes_no_difference(driver: Mapping[str, Any]) -> bool:
    """Whether the factor's times the failures would print as 1.00."""
    return abs(math.exp(driver["log_hazard_part"] or 0.0) - 1) < 0.005


def level_line(drivers: Sequence[Mapping[str, Any]]) -> str:
    """The factors that make no difference to the fleet's middle, in one line with their values."""
    told = "; ".join(
        f"{FACTOR_LABELS[str(row['factor'])]}: {factor_value(str(row['factor']), row['value'])}"
        + (" (partly assumed)" if row["is_assumed"] else "")
        for row in drivers
    )
    return f"No difference to a typical hull here: {told}."


def use_line(state: Mapping[str, Any], assumptions: Assumptions) -> str:
    """The use the chance counts with, and whose it is.

    Args:
        state: the hull's row of `running_sets`.
        assumptions: settings.
    """
    use = state["use_h_d"]
    if use is None:
        return "Expected use is not known."
    days = number_text(assumptions.number("record.recent_sessions_d"), 0)
    pace = (
        f"the {number_text(state['dock_use_h_d'])} its dock's hulls ran over the last {days} days"
    )
    beside = number_text(state["use_beside_dock"])
    whose = (
        f"{pace}, times {beside} for what it runs beside them over the year"
        if state["is_own_use"]
        else f"{pace}: none of its own rentals of the last year is on record"
    )
    return f"Counted with {number_text(use)} engine hours a day: {whose}{_turn_text(state)}."


def _turn_text(state: Mapping[str, Any]) -> str:
    turn = state["season_turn"]
    if turn == 1:
        return ""
    went_on = (
        "for how earlier seasons went on"
        if state["turn_own_share"]
        else "for how a rental year usually goes on, as no earlier season is on record here"
    )
    low, high = turn_range(state)
    ends = f"{number_text(low, 2)} to {number_text(high, 2)}"
    return f", times {number_text(turn, 2)} ({ends}) {went_on}"


def turn_range(state: Mapping[str, Any]) -> tuple[float, float]:
    """The ends that 19 in 20 of the season's turn lie between, for the whole fleet."""
    off = NINETEEN_IN_20 * state["turn_sd_log"]
    return state["season_turn"] * math.exp(-off), state["season_turn"] * math.exp(off)


def fuel_line(burned: Mapping[str, Any], assumptions: Assumptions) -> str:
    """What a hull or a dock's hulls burned of late against what they need.

    Args:
        burned: a row of `fuel_burned`; empty for a hull that did not run of late.
        assumptions: settings.
    """
    days = number_text(assumptions.number("record.recent_sessions_d"), 0)
    litres = burned.get("burned_l")
    if litres is None:
        return f"No fuel burned on record in the last {days} days."
    parts = [f"{quantity_text(litres, 'l')} burned in the last {days} days"]
    below = burned["below_need_share"]
    need = burned["need_high_aki"]
    if below is None or math.isnan(below):
        parts.append("octane against need is not known")
    elif below == 0:
        parts.append(f"all of it met the need of {number_text(need, 0)} AKI in hard running")
    else:
        parts.append(
            f"{share_text(below)} of it below the need of up to {number_text(need, 0)} AKI, "
            f"by {number_text(burned['shortfall_on'])} octane numbers on average"
        )
    oldest = burned["oldest_fuel_d"]
    if oldest is not None:
        parts.append(f"the oldest fuel of a rental averaged {number_text(oldest, 0)} days")
    unknown = burned["unknown_share"]
    if unknown is not None and unknown >= WORTH_SAYING:
        parts.append(f"{share_text(unknown)} of it is not on record and is taken as a range")
    return "; ".join(parts) + "."


def one_grade_line(docks: Sequence[str]) -> str:
    """What cannot be told of the docks that sold one grade; empty if none did."""
    if not docks:
        return ""
    return (
        f"At {' and '.join(docks)} the hulls burned one grade: there an effect of fuel cannot be "
        f"separated from an effect of the dock."
    )


def change_lines(
    call: Mapping[str, Any], state: Mapping[str, Any], quality: Mapping[str, Any]
) -> list[str]:
    """What would change the call on a hull.

    Args:
        call: its row of `HullCalls`.
        state: its row of `running_sets`.
        quality: its row of `RecordQuality` with `known_shares`.
    """
    lines = []
    if call["call"] == NOT_ENOUGH:
        lines.append(f"A record that answers this: {state['why_not']}.")
    if state["found_at"] is not None:
        lines.append("A rebuild entered with its acceptance measurements.")
    known = quality["fuel_known_share"]
    if known is not None and 1 - known >= WORTH_SAYING:
        lines.append(
            f"The grade of every fill written down: {share_text(1 - known)} of the "
            f"{volume_noun()}s are not on record, and the range allows for the worst of them."
        )
    throttle = quality["throttle_known_share"]
    if throttle is not None and 1 - throttle >= WORTH_SAYING:
        lines.append(
            f"Full-throttle time logged: {share_text(1 - throttle)} of the rentals are taken "
            "as a typical rental here."
        )
    if call["call"] not in (NOT_ENOUGH, NOT_FOR_RENT) and state["found_at"] is None:
        lines.append(
            "A leak-down or compression reading with cylinders apart, an alarm, or oil in the hull."
        )
        lines.append("A change of fuel, calibration or use: the next weekly report counts it.")
    return lines


def quality_line(quality: Mapping[str, Any]) -> str:
    """How much of a hull's record was written down, in a sentence or two.

    Args:
        quality: its row of `RecordQuality` with `known_shares`.
    """
    meter = (
        f"hours kept to the meter for {share_text(quality['on_meter_share'])} of its "
        f"running time; {'a bench test' if quality['has_bench_test'] else 'no bench test'} since "
        f"its pistons were fitted; calibration "
        f"{'on record' if quality['has_calibration'] else 'not on record'}."
    )
    if quality["n_sessions"] is None:
        return f"No recent rental; {meter}"
    return (
        f"Of its {quality['n_sessions']} recent rentals, fuel is on record for "
        f"{share_text(quality['fuel_known_share'])} of the {volume_noun()}s and full-throttle "
        f"time for {share_text(quality['throttle_known_share'])} of the rentals; {meter}"
    )


def failure_count_line(modes: Iterable[tuple[str, int, int]]) -> str:
    """How many failures stand behind the chances, mode by mode.

    Args:
        modes: per mode its name, its failures and the piston sets they fell among.
    """
    return (
        "; ".join(
            f"{MODE_LABELS[mode].lower()} {count_text(n_failures, 'failure')} among "
            f"{count_text(n_sets, 'piston set')}"
            for mode, n_failures, n_sets in modes
        )
        + "."
    )


def unpriced_line(items: Sequence[str]) -> str:
    """Which prices are the settings' and not the shop's own; empty if none."""
    if not items:
        return ""
    listed = ", ".join(item.replace("_", " ") for item in items)
    return f"Not priced in the shop's records, taken from the settings: {listed}."


OUTSIDE_PAID = (
    "A {volume} of better fuel filled outside is counted at what was paid on record beyond the "
    "dock's own: {docks}."
)
OUTSIDE_SET = (
    "A {volume} of better fuel filled outside is counted at {price} beyond the dock's own, a set "
    "price: too few such fills are on record with theirs."
)


def outside_line(rule: Action | None, prices: Prices, docks: Sequence[str]) -> str:
    """At what fuel filled outside is counted, and why; empty where there is no fuel rule.

    Args:
        rule: the catalogue's fuel rule.
        prices: what things cost this season.
        docks: those of the fleet.
    """
    if rule is None:
        return ""
    per_l = outside_per_l(rule, pl.Series(docks, dtype=pl.String), prices)
    if not prices.outside_per_l or (per_l == rule.cost_per_l).all():
        price = unit_price_text(rule.cost_per_l, prices.currency)
        return OUTSIDE_SET.format(volume=volume_noun(), price=price)
    said = zip(docks, per_l, strict=True)
    told = [f"{dock} {unit_price_text(float(price), prices.currency)}" for dock, price in said]
    return OUTSIDE_PAID.format(volume=volume_noun(), docks=", ".join(told))


AFTERWARDS = " (worked out afterwards from what was known then)"
"""Behind the day of a week whose list was not given out."""
