"""Readings judged by their trend: oil metals and crankcase pressure, against their own past."""

from __future__ import annotations

from ringland.bench.bench_verdicts import (
    FAIL,
    PASS,
    Reading,
    Verdict,
    cannot_judge,
    held_against,
)
from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import number_text, share_text


def judge_oil_metal(reading: Reading, limits: Assumptions) -> Verdict:
    """Wear metal: outside the general band by its value, inside by fleet rank and own rise."""
    value, high = reading["standard_value"], limits[f"{reading['measure']}.high"]
    rank, rise = reading["fleet_rank"], reading["own_rise"]
    ranked = (
        f"above {share_text(rank)} of the fleet's readings so far"
        if rank is not None
        else ("too few readings in the fleet for a rank")
    )
    risen = (
        f"{number_text(rise)} times its own earlier readings"
        if rise is not None
        else ("no earlier reading of its own")
    )
    said = f"{number_text(value, 0)} ppm; {ranked}; {risen}"
    if value > high.value:
        return held_against(FAIL, said, value, "ppm", high, is_least=False)
    if has_risen(reading, limits):
        grown = limits["oil_metals.rise"]
        return held_against(FAIL, said, rise, "times own middle", grown, is_least=False)
    return held_against(PASS, said, value, "ppm", high, is_least=False)


def has_risen(reading: Reading, limits: Assumptions) -> bool:
    """Whether a reading judged by its trend fails, alone or against what went before."""
    measure, value, rise = reading["measure"], reading["standard_value"], reading["own_rise"]
    if measure == "crankcase_pressure":
        return rise is not None and rise >= limits.number("crankcase_pressure.act_at")
    if value > limits.number(f"{measure}.high"):
        return True
    rank = reading["fleet_rank"]
    return (
        value > limits.number(f"{measure}.low")
        and rank is not None
        and rise is not None
        and rank >= limits.number("oil_metals.high_rank")
        and rise >= limits.number("oil_metals.rise")
    )


def judge_crankcase(reading: Reading, limits: Assumptions) -> Verdict:
    """Crankcase pressure against the engine's own earlier readings."""
    rise, limit = reading["own_rise"], limits["crankcase_pressure.act_at"]
    if rise is None:
        return cannot_judge("no earlier reading above zero: it is judged by its trend")
    outcome = FAIL if has_risen(reading, limits) else PASS
    return held_against(
        outcome,
        f"{number_text(rise)} times its own earlier readings; act when it has doubled",
        rise,
        "times own middle",
        limit,
        is_least=False,
    )
