"""Headings, labels and notes of one hull's sheet, the same on its page and on paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ringland.wording.number_words import number_text

THIS_WEEK = "This week"
CHANCE = "Chance that its pistons or rings fail"
DRIVERS = "What goes with it"
FUEL = "Fuel burned against need"
TESTS = "Last tests, by cylinder"
CHANGES = "What would change this"
LAST_CALL = "Last call and what came of it"
CAUTIONS = "Before you touch it"

DO, JOB, FUEL_RULE, ROOM, ADVICE = "Do", "Job", "Fuel rule", "The week's room", "Fuel and record"

CHANCE_HEADINGS = ("Within", "Chance", "95 % range", "Fleet's middle")
TEST_HEADINGS = ("Test", "Day", "Readings", "Verdict", "Why", "Limit is")

NO_TEST = "No test on record for this engine. That is not the same as a good test."
TESTS_NOTE = "A reading can be normal with a cracked land: no test here clears a hull."
NO_EARLIER_CALL = "No earlier call on this hull is kept."
DRIVERS_NOTE = (
    "Hazard of ring-land fracture against a hull at the fleet's middle. Bars to the right raise "
    "it, to the left lower it."
)
RANGE_NOTE = (
    "The block is the estimate, the line its 95 % range, the dashed upright the fleet's middle."
)


def engine_line(state: Mapping[str, Any], chance: Mapping[str, Any]) -> str:
    """Which engine and piston set sit in a hull, and their hours.

    Args:
        state: the hull's row of `running_sets`.
        chance: its row of `HullChances`.
    """
    if not state["engine_id"]:
        return "No engine on record."
    if not chance["piston_set_id"]:
        return f"Engine {state['engine_id']}."
    hours = number_text(chance["age_h"], 0)
    return (
        f"Engine {state['engine_id']}, piston set {chance['piston_set_id']} with {hours} "
        f"engine hours."
    )


def last_call_line(history: Mapping[str, str] | None) -> str:
    """The last call on a hull and what came of it, in a sentence.

    Args:
        history: texts by name: week, call, chance, outcome; None where no call is kept.
    """
    if history is None:
        return NO_EARLIER_CALL
    return (
        f"Last call, {history['week']}: {history['call']} (chance in 30 days "
        f"{history['chance']}); {history['outcome']}."
    )
