"""What is in a tank against a need, in a sentence: for a job's reason and every page."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.words import state_words as said
from ringland.words.number_words import UNKNOWN, number_text, quantity_text

BLEND = "{middle} AKI ({low} to {high})"
BLEND_BOUNDS = "{low} to {high} AKI by the bounds, none of it on record"


def blend_text(tank: Mapping[str, Any], whose: str = "") -> str:
    """A tank's octane with its bounds, e.g. '89.4 AKI (88.8 to 90.0)'.

    Args:
        tank: octane_aki, octane_low_aki, octane_high_aki; None is said.
        whose: what stands before those names, e.g. 'dock_'.
    """
    middle, low, high = (tank[f"{whose}octane_{part}aki"] for part in ("", "low_", "high_"))
    if low is None or high is None:
        return f"{UNKNOWN} AKI"
    bounds = {"low": number_text(low), "high": number_text(high)}
    return (
        BLEND_BOUNDS.format(**bounds)
        if middle is None
        else BLEND.format(middle=number_text(middle), **bounds)
    )


def own_fuel_line(at_hand: Mapping[str, Any]) -> str:
    """What is wrong with the fuel in a hull's own tank.

    Args:
        at_hand: its row of `FuelAtHand`, with `is_own_short` or `is_own_old`.
    """
    need = number_text(at_hand["need_aki"], 0)
    reasons = []
    if at_hand["is_own_short"]:
        reasons.append(said.BELOW_NEED[at_hand["own_standing"]].format(need=need))
    if at_hand["is_own_old"]:
        reasons.append(said.TOO_OLD)
    return said.OWN_FUEL.format(
        level=quantity_text(at_hand["own_level_l"], "l"),
        blend=blend_text(at_hand, "own_"),
        age=number_text(at_hand["own_fuel_age_d"], 0),
        why=" and ".join(reasons),
    )
