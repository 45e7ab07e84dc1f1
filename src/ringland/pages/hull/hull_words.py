"""Headings, labels and notes of one hull's sheet, the same on its page and on paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ringland.contracts.decision_tables import EARLIER
from ringland.words.number_words import (
    count_text,
    money_text,
    number_text,
    plain_text,
    price_text,
)

THIS_WEEK = "This week"
CHANCE = "Chance that its pistons or rings fail"
DRIVERS = "What goes with it"
FUEL = "Fuel burned against need"
TESTS, TESTS_OPEN = "Last tests, by cylinder", "Tests that did not pass, by cylinder"
CHANGES = "What would change this"
LAST_CALL = "Last call and what came of it"

RELEASED = "Let go by name"
DO, JOB, FUEL_RULE, ROOM, ADVICE = "Do", "Job", "Fuel rule", "The week's room", "Fuel and record"

CHANCE_30D, RANGE, PICTURE = "Chance in 30 days", "95 % range", "Picture"
CHANCE_HEADINGS = ("Within", "Chance", "95 % range", "Typical hull")
FIGURES = ("Chance", "Typical hull", CHANCE_30D, "Amount")
"""Headings over figures, which stand to the right."""
TEST_HEADINGS = ("Test", "Day", "Readings", "Verdict", "Why", "Limit is")

BARS_RUN = "Bars run from 0 to {top}. Behind these figures: {behind}"
NO_CHANCE = "No chance is given: {why}."

WHAT_IF, FILL_NOW, AS_OF_LATE = "What if", "Fill from now on", "as of late"
NEW_SET, AS_IT_IS = "New piston set", "none"
EXTRA_PRICE, STEPS, AS_IT_STANDS = "Extra price, {currency} a {volume}", "Steps", "As it stands"
GRADE_MEETS, GRADE_BELOW = "{grade} AKI, meets the need", "{grade} AKI, {short} below need"
WHAT_IF_ANSWERS = {
    "now": (
        "As it stands: chance in 7 days {0} ({1} to {2}), in 30 days {3} ({4} to {5}). To expect "
        "from failures in 30 days: {left}."
    ),
    "then": (
        "Chance in 7 days {0} ({1} to {2}) instead of {now0}, in 30 days {3} ({4} to {5}) instead "
        "of {now3}. Over 30 days: paid for sure {sure}, left to expect from failures {left}, in "
        "all {total} instead of {nowTotal}, {change}."
    ),
    "less": "{amount} less",
    "more": "{amount} more",
}
"""Sentences that `what-if.js` fills: chances by number as `what_if_form` orders them, money."""
WHAT_IF_NOTE = (
    "The week's run worked out every choice here as it did the figures above; no connection is "
    "used. A grade counts as its pump number against the need of {need}. Effects of steps are "
    "settings of the action catalogue, most of them assumptions.{left_out}"
)
THE_CALIBRATION, NEED = "the calibration", "{need} AKI"
NOT_TRIED = " Not to be tried here, as the choices would be too many: {steps}."

TIMELINE = "Fuel, tests and builds on one time line"
TIMELINE_PICTURE = (
    "Octane margin of each rental, age of the fuel burned, and fills, tests, calibrations, "
    "piston sets, failures and rebuilds on one time axis."
)
TIMELINE_NOTE = (
    "Margin is octane supplied minus octane needed at full throttle; below 0 is a shortfall. "
    "Dotted lines on fuel age: {turns} days (begins to turn) and {old} days (old): common "
    "practice, no source. {unknown}"
)
NOT_DRAWN = "{unknown} of {rentals} rentals have no known margin and are not drawn above."
NO_RENTAL = "No rental on record."

HISTORY = "Past calls and what came of them"
HISTORY_HEADINGS = ("Week of", "Call", DO, CHANCE_30D, "What came of it")
HISTORY_NOTE = (
    "A failure that came does not make a low chance wrong, nor a quiet month a high one: only all "
    "calls together can be scored."
)

LINEAGE = "Where the fuel figures come from: {fills} fills behind the last {hours} engine hours"
LINEAGE_HEADINGS = ("Filled", "Amount", "From", "Grade written down", "File and row")
NO_FILL = "No fill on record."
GRADE_AKI, GRADE_RON, GRADE_OF_DOCK = "{grade} AKI", "{grade} RON", "as the dock's tank"
FILE_AND_ROW = "{file}, row {row}"

NO_STEP = "Complete the record; until then judge this hull by inspection."
NO_TEST = "No test on record for this engine. That is not the same as a good test."
TESTS_NOTE = "A reading can be normal with a cracked land: no test here clears a hull."
NO_EARLIER_CALL = "No earlier call on this hull is kept."
DRIVERS_NOTE = (
    "Ring-land fractures against those of a typical hull here: bars to the right go with more, to "
    "the left with fewer."
)
RANGE_NOTE = (
    "The block is the estimate, the line its 95 % range, the dashed upright a typical hull."
)


DOING_COSTS, LEAVING_COSTS = "Doing it costs", "Leaving it costs"
PAID, EXPECTED_OVER = (
    "whatever happens, lost rental included",
    "if left as it is, expected over {ahead}",
)
SAVES = "Expected saving"
AFTER_PRICE = (
    "after its own price, against doing without it; what lasts beyond the season counts too"
)
COSTS_MORE = "More than it saves"
SPEAKS_FOR_IT = {
    "safety": "safety speaks for it, not money",
    "hand": "decided by hand",
    EARLIER: "an earlier list asked for it",
}
TAKES = "It takes"


def cost_facts(call: Mapping[str, Any], ahead: str, currency: str) -> list[dict[str, str]]:
    """What the step costs, what leaving it costs and what that saves: label, value and note.

    Args:
        call: a row of `HullCalls`; what it does not know is left out.
        ahead: how far the costs look ahead, e.g. '30 days'.
        currency: e.g. 'USD'.
    """
    facts = []
    if call["action_cost"]:
        facts.append((DOING_COSTS, price_text(call["action_cost"], currency), PAID))
    if call["cost_of_waiting"] is not None:
        waiting = money_text(call["cost_of_waiting"], currency)
        facts.append((LEAVING_COSTS, waiting, EXPECTED_OVER.format(ahead=ahead)))
    if call["action_cost"] and call["saving"] is not None:
        saved = money_text(abs(call["saving"]), currency)
        if call["saving"] > 0:
            facts.append((SAVES, saved, AFTER_PRICE))
        else:
            facts.append((COSTS_MORE, saved, SPEAKS_FOR_IT.get(call["decided_by"], "")))
    return [{"label": label, "value": value, "note": note} for label, value, note in facts]


def tests_passed_words(n_tests: int) -> str:
    """The heading over the last tests that passed."""
    return f"{count_text(n_tests, 'last test')} passed, by cylinder"


def job_words(mechanic_h: float, n_slots: int, kits: Sequence[tuple[str, int]]) -> str:
    """What a step's jobs take: mechanic's hours, lift slots, kits.

    Args:
        mechanic_h: hours over all jobs.
        n_slots: lift slots over all jobs.
        kits: part and how many of it, job by job.
    """
    slots = count_text(n_slots, "lift slot") if n_slots else "no lift slot"
    parts = ", ".join(f"{count} {part.replace('_', ' ')}" for part, count in kits) or "no kit"
    return f"{number_text(mechanic_h)} mechanic hours; {slots}; {parts}."


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


def grade_words(grade_aki: float, need_aki: float) -> str:
    """A grade to choose, and whether it meets the need."""
    short = need_aki - grade_aki
    said = GRADE_BELOW if short > 0 else GRADE_MEETS
    return said.format(grade=plain_text(grade_aki), short=plain_text(round(short, 1)))


def what_if_note(need_aki: float | None, left_out: Sequence[str]) -> str:
    """What stands behind the what-if, and which steps it leaves out."""
    need = THE_CALIBRATION if need_aki is None else NEED.format(need=plain_text(need_aki))
    steps = NOT_TRIED.format(steps="; ".join(left_out)) if left_out else ""
    return WHAT_IF_NOTE.format(need=need, left_out=steps)


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
