"""Facts to sentences.  No HTML: the page escapes whatever stands here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from ringland.assumptions import Assumptions
from ringland.service_week.fixed_words import (
    ACTION_LABELS,
    CALL_LABELS,
    FACTOR_LABELS,
    MODE_LABELS,
)
from ringland.service_week.fleet_hazard import FleetFits
from ringland.service_week.number_words import (
    MONTHS,
    WEEKDAYS,
    chance_text,
    count_text,
    day_text,
    factor_value,
    money_text,
    number_text,
    price_text,
    range_text,
    share_text,
)

WORTH_SAYING = 0.005
"""A share that would print as 0 % is not mentioned."""


def call_label(call: str, as_of: datetime, assumptions: Assumptions) -> str:
    """The wording of a call, with the day a check is due."""
    due = as_of + timedelta(days=assumptions.number("call.check_within_d"))
    return CALL_LABELS[call].format(
        day=f"{WEEKDAYS[due.weekday()]} {due.day} {MONTHS[due.month - 1]}"
    )


def call_reason(facts: Mapping[str, object], assumptions: Assumptions) -> str:
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
            f"Chance of failure in 7 days {chance_text(_number(facts['chance_7d']))} "
            f"({range_text(_number(facts['chance_7d_low']), _number(facts['chance_7d_high']))}), "
            f"at or over the limit of {share_text(limit)}."
        )
    if facts["action"] in ("drain_refill", "drain_and_check"):
        now, after = (chance_text(_number(facts[name])) for name in ("chance_30d", "chance_after"))
        if facts["action"] == "drain_refill":
            means = "Good fresh fuel from now on takes"
        else:
            means = "Good fresh fuel from now on and a check take"
        return f"{_above(facts)}{means} the chance in 30 days from {now} to {after}."
    if facts["action"] == "nothing":
        return f"{_above(facts)}No job costs less than waiting."
    return f"{_above(facts)}Waiting costs more than the job."


def _above(facts: Mapping[str, object]) -> str:
    """What lifts a hull above the fleet's middle most, if anything does by a tenth or more."""
    part = _number(facts["top_part"])
    if part is None or part < math.log(1.1):
        return ""
    label = FACTOR_LABELS[str(facts["top_factor"])]
    return f"{label} goes with {math.exp(part):.1f} times the middle hazard. "


def action_line(facts: Mapping[str, object], currency: str) -> str:
    """The action, what it costs and what leaving it is expected to cost.

    Args:
        facts: a row of `HullCalls`.
        currency: e.g. 'USD'.
    """
    action = facts["action"]
    if action is None:
        return "Complete the record; until then judge this hull by inspection."
    label = ACTION_LABELS[str(action)]
    waiting = money_text(_number(facts["cost_of_waiting"]), currency)
    if action == "nothing":
        return f"{label}. Expected cost of failures over 30 days: {waiting}."
    cost = price_text(_number(facts["action_cost"]), currency)
    line = f"{label}: {cost}. Cost of waiting, over 30 days: {waiting}."
    saving = _number(facts["saving"])
    if saving is not None and saving > 0:
        return f"{line} Expected saving: {money_text(saving, currency)}."
    if saving is not None:
        return f"{line} Safety, not money, speaks for it."
    return line


def driver_line(driver: Mapping[str, object]) -> str:
    """One factor in words: its value, the fleet's middle, and how far it goes with failure.

    Args:
        driver: a row of `HullDrivers`.
    """
    factor = str(driver["factor"])
    value, middle = _number(driver["value"]), _number(driver["fleet_middle"])
    times = math.exp(_number(driver["log_hazard_part"]) or 0.0)
    if abs(times - 1) < 0.005:
        effect = "no difference to the fleet's middle"
    elif times >= 1:
        effect = f"goes with {times:.2f} times the hazard"
    else:
        effect = f"goes with {times:.2f} times the hazard (lower)"
    basis = "partly assumed fuel" if driver["is_assumed"] else "from the record"
    return (
        f"{FACTOR_LABELS[factor]}: {factor_value(factor, value)} "
        f"(fleet middle {factor_value(factor, middle)}): {effect}; {basis}."
    )


def use_line(state: Mapping[str, object], assumptions: Assumptions) -> str:
    """The use the chance counts with, and whose it is.

    Args:
        state: the hull's row of `running_sets`.
        assumptions: settings.
    """
    use = _number(state["use_h_d"])
    if use is None:
        return "Expected use is not known."
    days = number_text(assumptions.number("record.recent_sessions_d"), 0)
    whose = (
        f"its own mean over the last {days} days"
        if state["is_own_use"]
        else f"the middle of its dock's hulls: it had no rental in the last {days} days"
    )
    return f"Counted with {number_text(use)} engine hours a day, {whose}."


def fuel_line(burned: Mapping[str, object], assumptions: Assumptions) -> str:
    """What a hull or a dock's hulls burned of late against what they need.

    Args:
        burned: a row of `fuel_burned`; empty for a hull that did not run of late.
        assumptions: settings.
    """
    days = number_text(assumptions.number("record.recent_sessions_d"), 0)
    litres = _number(burned.get("burned_l"))
    if litres is None:
        return f"No fuel burned on record in the last {days} days."
    parts = [f"{number_text(litres, 0)} l burned in the last {days} days"]
    below = _number(burned["below_need_share"])
    need = _number(burned["need_high_aki"])
    if below is None or math.isnan(below):
        parts.append("octane against need is not known")
    elif below == 0:
        parts.append(f"all of it met the need of {number_text(need, 0)} AKI in hard running")
    else:
        parts.append(
            f"{share_text(below)} of it below the need of up to {number_text(need, 0)} AKI, "
            f"by {number_text(_number(burned['shortfall_on']))} octane numbers on average"
        )
    oldest = _number(burned["oldest_fuel_d"])
    if oldest is not None:
        parts.append(f"the oldest fuel of a rental averaged {number_text(oldest, 0)} days")
    unknown = _number(burned["unknown_share"])
    if unknown is not None and unknown >= WORTH_SAYING:
        parts.append(f"{share_text(unknown)} of it is not on record and is taken as a range")
    return "; ".join(parts) + "."


def dock_rule_line(dock: Mapping[str, object], assumptions: Assumptions) -> str:
    """A dock's fuel rule in one line.

    Args:
        dock: a row of `dock_fuel`.
        assumptions: settings.
    """
    need, delivered = _number(dock["need_high_aki"]), _number(dock["delivered_aki"])
    if need is None:
        return f"Meet the calibration's stated octane need; {_drain_rule(assumptions)}."
    rule = f"Fill with {number_text(need, 0)} AKI or better, the highest need among its hulls"
    return f"{rule}{_short_delivery(need, delivered)}; {_drain_rule(assumptions)}."


def hull_rule_line(
    fuel: Mapping[str, object], dock: Mapping[str, object] | None, assumptions: Assumptions
) -> str:
    """A hull's fuel rule in one line: its own need against what its dock last got.

    Args:
        fuel: its row of `fuel_burned`; empty if it did not run of late.
        dock: its dock's row of `dock_fuel`; null if the dock is not on record.
        assumptions: settings.
    """
    need = _number(fuel.get("need_now_aki"))
    if need is None:
        return f"Meet the calibration's stated octane need; {_drain_rule(assumptions)}."
    calibration = fuel["calibration_now"]
    of = "" if calibration is None else f" ({calibration} calibration)"
    delivered = None if dock is None else _number(dock["delivered_aki"])
    rule = f"Fill with {number_text(need, 0)} AKI or better{of}"
    return f"{rule}{_short_delivery(need, delivered)}; {_drain_rule(assumptions)}."


def _short_delivery(need: float, delivered: float | None) -> str:
    if delivered is None or delivered >= need:
        return ""
    return (
        f"; the dock's last delivery was {number_text(delivered, 0)} AKI, so fill elsewhere or "
        f"run a calibration that needs no more"
    )


def _drain_rule(assumptions: Assumptions) -> str:
    old_d = number_text(assumptions.number("fuel.old_after_d"), 0)
    return f"drain what has stood longer than {old_d} days (common practice, no source)"


def change_lines(
    call: Mapping[str, object], state: Mapping[str, object], quality: Mapping[str, object]
) -> list[str]:
    """What would change the call on a hull.

    Args:
        call: its row of `HullCalls`.
        state: its row of `running_sets`.
        quality: its row of `RecordQuality` with `known_shares`.
    """
    lines = []
    if call["call"] == "not_enough_record":
        lines.append(f"A record that answers this: {state['why_not']}.")
    if state["found_at"] is not None:
        lines.append("A rebuild entered with its acceptance measurements.")
    known = _number(quality["fuel_known_share"])
    if known is not None and 1 - known >= WORTH_SAYING:
        lines.append(
            f"The grade of every fill written down: {share_text(1 - known)} of the litres are "
            "not on record, and the range allows for the worst of them."
        )
    throttle = _number(quality["throttle_known_share"])
    if throttle is not None and 1 - throttle >= WORTH_SAYING:
        lines.append(
            f"Full-throttle time logged: {share_text(1 - throttle)} of the rentals are taken "
            "at the fleet's middle."
        )
    if call["call"] in ("rent_as_normal", "book_check", "keep_off") and state["found_at"] is None:
        lines.append(
            "A leak-down or compression reading with cylinders apart, an alarm, or oil in the hull."
        )
        lines.append("A change of fuel, calibration or use: the next weekly report counts it.")
    return lines


def quality_line(quality: Mapping[str, object]) -> str:
    """How much of a hull's record was written down, in a sentence or two.

    Args:
        quality: its row of `RecordQuality` with `known_shares`.
    """
    meter = (
        f"hours kept to the meter for {share_text(_number(quality['on_meter_share']))} of its "
        f"running time; {'a bench test' if quality['has_bench_test'] else 'no bench test'} since "
        f"its pistons were fitted; calibration "
        f"{'on record' if quality['has_calibration'] else 'not on record'}."
    )
    if quality["n_sessions"] is None:
        return f"No recent rental; {meter}"
    return (
        f"Of its {quality['n_sessions']} recent rentals, fuel is on record for "
        f"{share_text(_number(quality['fuel_known_share']))} of the litres and full-throttle "
        f"time for {share_text(_number(quality['throttle_known_share']))} of the rentals; {meter}"
    )


def summary_line(calls: Sequence[Mapping[str, object]], currency: str) -> str:
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


def failure_count_line(fits: FleetFits) -> str:
    """How many failures stand behind the chances, mode by mode."""
    return (
        "; ".join(
            f"{MODE_LABELS[fit.mode].lower()} {count_text(fit.n_failures, 'failure')} among "
            f"{count_text(fit.n_sets, 'piston set')}"
            for fit in fits.modes
        )
        + "."
    )


def unpriced_line(items: Sequence[str]) -> str:
    """Which prices are the settings' and not the shop's own; empty if none."""
    if not items:
        return ""
    listed = ", ".join(item.replace("_", " ") for item in items)
    return f"Not priced in the shop's records, taken from the settings: {listed}."


def _total(calls: Sequence[Mapping[str, object]], column: str) -> float:
    return sum(_number(call[column]) or 0.0 for call in calls)


def _number(value: object) -> float | None:
    return None if value is None else float(value)  # type: ignore[arg-type]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
