"""What to fill and what to drain, in sentences: one hull's rule, one dock's, the one age rule.

Every page, mail, list and sheet says it in these words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ringland.decision.jobs.fuel_lines import blend_text
from ringland.decision.jobs.hull_state import is_limited_by_own_fuel, own_condition
from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import count_text, number_text, quantity_text

NO_NEED = (
    "The octane need of its calibration is not on record: ask for it before the next fill, and "
    "until then fill with the best grade sold."
)
FILL_WITH = "Fill with {need} AKI or better{calibration}."
OF_CALIBRATION = " ({calibration} calibration)"
FILL_OUTSIDE = "Fill outside with {need} AKI or better{calibration}."
NOT_FROM = "Do not fill from {dock}'s tank: {why}."
HOLDS = "{dock}'s tank holds {blend}."
NO_MARGIN = (
    "{dock}'s tank holds {blend}: by its label just enough, and a label may be off by {spread}; "
    "take a higher grade where one is sold."
)
DOCK_EMPTY = "{dock}'s tank is empty by the record: see the grade of its next delivery first."
DOCK_NOT_KNOWN = "What {dock}'s tank holds is not on record: see its grade first, or fill outside."

IT_HOLDS = {
    "misses": "it holds {blend}, below the need",
    "may miss": "it holds {blend}, and what the record leaves open may bring it below the need",
}
IT_IS_OLD = "its fuel is {age} days old on average"

WAY_OUT = {
    "throttle": (
        "Where that cannot be had, rent it at no more than three-quarter throttle: {part} AKI is "
        "then enough (common practice, no source)."
    ),
    "stock": "Or go back to the stock calibration, which needs {stock} AKI (common practice).",
    None: "No throttle limit makes up for less than {part} AKI (common practice, no source).",
}

OWN_TANK = "In its own tank: {level} of {blend}, {age} days old on average"
OWN_SHORT = {"misses": "below its need", "may miss": "which may be below its need"}
OWN_OLD = "too old"
DRAIN_FIRST = "{tank}; {why}: drain it and refill before the next rental."
LIMITED = "{tank}; {why}: rent it only with {ways}."
OWN_WAY_OUT = {
    "stock": "Or go back to the stock calibration, for which that fuel will do.",
}
OLD_SOON = "{tank}: burn it within {days} days, or drain it."
OWN_NOT_KNOWN = "What is in its own tank is not on record: drain it if nobody knows."
WEEK_D = 7.0

AGE_RULE = (
    "Fuel older than {days} days, in a dock's tank or a craft's, is not used: drain it, and give "
    "it to those licensed to take it (the age is common practice, no source)."
)

DOCK_FILL = "Fill with {need} AKI or better, the highest need among its hulls."
DOCK_MEETS = "Its tank holds {blend}."
DOCK_NO_MARGIN = "Its tank holds {blend}: by its label just enough, with no margin."
DOCK_SHORT = "Do not fill {hulls} from its tank: {why}. They need {needs} AKI: fill them outside."
DOCK_OLD = "Do not fill from its tank: {why}."
TANK_EMPTY = "Its tank is empty by the record: see the grade of its next delivery first."
TANK_NOT_KNOWN = "What its tank holds is not on record: see its grade first, or fill outside."
DOCK_NO_NEED = "What its hulls need is not on record."


def age_rule_line(assumptions: Assumptions) -> str:
    """From what age fuel is not used, for every tank; said once on a page."""
    return AGE_RULE.format(days=_old_d(assumptions))


def is_fuel_wrong(at_hand: Mapping[str, Any]) -> bool:
    """Whether a hull's dock or its own tank holds fuel that will not do.

    Args:
        at_hand: its row of `FuelAtHand`; empty if it has none.
    """
    names = ("is_dock_short", "is_dock_old", "is_own_short", "is_own_old")
    return any(at_hand.get(name) for name in names)


def hull_rule_line(at_hand: Mapping[str, Any], assumptions: Assumptions) -> str:
    """What to fill a hull with, whether its dock's tank will do, and what to do with its own.

    Args:
        at_hand: its row of `FuelAtHand`; empty if it has none.
        assumptions: settings.
    """
    if not at_hand:
        return NO_NEED
    if at_hand["need_aki"] is None:
        return " ".join(filter(None, (NO_NEED, _own_line(at_hand, assumptions))))
    return " ".join(
        filter(None, (_dock_line(at_hand, assumptions), _own_line(at_hand, assumptions)))
    )


def dock_rule_line(
    dock: Mapping[str, Any], hulls: Sequence[Mapping[str, Any]], assumptions: Assumptions
) -> str:
    """A dock's fuel rule in one line.

    Args:
        dock: a row of `dock_fuel`.
        hulls: the rows of `FuelAtHand` of its hulls.
        assumptions: settings.
    """
    needs = [row["need_aki"] for row in hulls if row["need_aki"] is not None]
    if dock["level_l"] is None:
        tank = TANK_NOT_KNOWN
    elif any(row["dock_standing"] == "empty" for row in hulls):
        tank = TANK_EMPTY
    else:
        tank = _tank_line(dock, hulls, assumptions)
    fill = DOCK_FILL.format(need=number_text(max(needs), 0)) if needs else DOCK_NO_NEED
    return f"{fill} {tank}"


def _tank_line(
    dock: Mapping[str, Any], hulls: Sequence[Mapping[str, Any]], assumptions: Assumptions
) -> str:
    blend = blend_text(dock)
    standings = {row["dock_standing"] for row in hulls}
    old = _old_reason(dock["fuel_age_now_d"], assumptions)
    short = [row for row in hulls if row["is_dock_short"]]
    if short:
        is_sure = "misses" in standings
        why = IT_HOLDS["misses" if is_sure else "may miss"].format(blend=blend)
        needs = sorted({number_text(row["need_aki"], 0) for row in short})
        some = DOCK_SHORT.format(
            hulls=f"{len(short)} of its {count_text(len(hulls), 'hull')}",
            why=why,
            needs=" to ".join(dict.fromkeys((needs[0], needs[-1]))),
        )
        return f"{some} {DOCK_OLD.format(why=old)}" if old else some
    if old:
        return f"{DOCK_MEETS.format(blend=blend)} {DOCK_OLD.format(why=old)}"
    said = DOCK_NO_MARGIN if "no margin" in standings else DOCK_MEETS
    return said.format(blend=blend)


def _dock_line(at_hand: Mapping[str, Any], assumptions: Assumptions) -> str:
    standing, dock = at_hand["dock_standing"], at_hand["dock_id"]
    calibration = at_hand["calibration"]
    said = {
        "need": number_text(at_hand["need_aki"], 0),
        "calibration": ""
        if calibration is None
        else OF_CALIBRATION.format(calibration=calibration),
    }
    fill = FILL_WITH.format(**said)
    if standing == "empty":
        return f"{fill} {DOCK_EMPTY.format(dock=dock)}"
    if standing == "not known":
        return f"{fill} {DOCK_NOT_KNOWN.format(dock=dock)}"
    blend = blend_text(at_hand, "dock_")
    reasons = []
    if at_hand["is_dock_short"]:
        reasons.append(IT_HOLDS[standing].format(blend=blend))
    if at_hand["is_dock_old"]:
        reasons.append(_old_reason(at_hand["dock_fuel_age_d"], assumptions))
    if reasons:
        lines = [
            NOT_FROM.format(dock=dock, why=", and ".join(reasons)),
            FILL_OUTSIDE.format(**said),
        ]
        if at_hand["is_dock_short"]:
            lines.append(_way_out(at_hand["dock_way"], assumptions))
        return " ".join(lines)
    if standing == "no margin":
        spread = number_text(assumptions.number("octane.label_spread_on"))
        return f"{fill} {NO_MARGIN.format(dock=dock, blend=blend, spread=spread)}"
    return f"{fill} {HOLDS.format(dock=dock, blend=blend)}"


def _own_line(at_hand: Mapping[str, Any], assumptions: Assumptions) -> str:
    standing, age = at_hand["own_standing"], at_hand["own_fuel_age_d"]
    if at_hand["own_level_l"] is None:
        return OWN_NOT_KNOWN
    if standing == "empty":
        return ""
    tank = OWN_TANK.format(
        level=quantity_text(at_hand["own_level_l"], "l"),
        blend=blend_text(at_hand, "own_"),
        age=number_text(age, 0),
    )
    reasons = [OWN_SHORT[standing]] if at_hand["is_own_short"] else []
    if at_hand["is_own_old"]:
        reasons.append(OWN_OLD)
    if is_limited_by_own_fuel(at_hand):
        ways = own_condition(at_hand)
        return LIMITED.format(tank=tank, why=" and ".join(reasons), ways=ways)
    if reasons:
        drain = DRAIN_FIRST.format(tank=tank, why=" and ".join(reasons))
        way_out = None if at_hand["is_own_old"] else OWN_WAY_OUT.get(at_hand["own_way"])
        return f"{drain} {way_out}" if way_out else drain
    left_d = assumptions.number("fuel.old_after_d") - (age or 0.0)
    if left_d < WEEK_D:
        return OLD_SOON.format(tank=tank, days=number_text(max(left_d, 1.0), 0))
    return f"{tank}."


def _way_out(way: str | None, assumptions: Assumptions) -> str:
    return WAY_OUT[way].format(
        part=number_text(assumptions.number("octane.part_throttle_need_aki"), 0),
        stock=number_text(assumptions.number("octane.need_stock_aki"), 0),
    )


def _old_reason(age_d: float | None, assumptions: Assumptions) -> str:
    if age_d is None or age_d <= assumptions.number("fuel.old_after_d"):
        return ""
    return IT_IS_OLD.format(age=number_text(age_d, 0))


def _old_d(assumptions: Assumptions) -> str:
    return number_text(assumptions.number("fuel.old_after_d"), 0)
