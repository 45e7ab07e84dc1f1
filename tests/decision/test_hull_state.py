"""The one plain state of a hull, by hand."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from ringland.contracts.decision_tables import NO_OPEN_JOB, RENT_ONLY, STATES
from ringland.decision.jobs.call_lines import do_label
from ringland.decision.jobs.hull_state import Week, hull_state, own_fuel_will_do
from tests.decision.small_fleet import AS_OF, CATALOGUE, TABLE_ROW

WEEK = Week(AS_OF, CATALOGUE)
FACTS = {
    "hull_id": "H1",
    "engine_id": "E1",
    "last_session_at": AS_OF - timedelta(days=1),
    "why_not": None,
    "is_ashore": False,
    "has_no_room": False,
}
FINE = TABLE_ROW


def job(what: str, because: str, *, is_must: bool = True, due: int = 5) -> dict[str, Any]:
    return {
        "what": what,
        "because": because,
        "is_must": is_must,
        "due_at": AS_OF + timedelta(days=due),
    }


def says(
    *jobs: dict[str, Any],
    actions: tuple[str, ...] = (),
    at_hand: dict[str, Any] | None = None,
    week: Week = WEEK,
    **facts: Any,
) -> str:
    own = FINE | (at_hand or {})
    state = hull_state(FACTS | facts, jobs, own, actions, week)
    assert state.kind in STATES
    return state.says


DRAIN = job("drain_refill", "own_fuel")
SHORT_DOCK = {"is_dock_short": True, "dock_way": "throttle"}


@pytest.mark.parametrize(
    ("jobs", "until"),
    [
        ([job("repair", "open_failure")], "it is repaired and measured"),
        ([job("find_the_leak", "failed_test")],
         "its failed test is answered (next: wet test and borescope)"),
        ([job("rebuild_sheet", "open_sheet")], "its rebuild sheet is measured and signed"),
        ([job("leak_down_check", "chance_30d")], "its leak-down check is passed"),
        ([job("planned_top_end", "open_job", due=-20)], "its planned top end is done"),
        ([DRAIN], "its tank is drained and refilled with 91 AKI or better"),
        ([job("leak_down_check", "chance_7d"), DRAIN],
         "its leak-down check is passed, and until its tank is drained and refilled with 91 AKI "
         "or better"),
    ],
)  # fmt: skip
def test_a_hull_with_a_job_that_comes_first_is_not_rented_until_all_are_done(
    jobs: list[dict[str, Any]], until: str
) -> None:
    assert says(*jobs) == f"Do not rent until {until}"


def test_a_hull_ashore_says_until_when_and_what_has_no_room() -> None:
    look = job("leak_down_check", "chance_30d")

    assert says(is_ashore=True) == "Do not rent until Mon 10 Aug, when it is decided again"
    assert says(look, is_ashore=True, has_no_room=True) == (
        "Do not rent until its leak-down check is passed (no room this week)"
    )


@pytest.mark.parametrize(
    ("at_hand", "conditions"),
    [
        ({"own_way": "throttle"},
         "no more than three-quarter throttle until the fuel in its tank is burned"),
        ({"own_fill_aki": 92.0}, "its tank filled to the brim first, outside, with 92 AKI or "
         "better"),
        ({"own_fill_aki": 91.0, "can_fill_at_dock": True},
         "its tank filled to the brim first with 91 AKI or better"),
        ({"own_way": "throttle", "own_fill_aki": 92.0},
         "its tank filled to the brim first, outside, with 92 AKI or better, or no more than "
         "three-quarter throttle until the fuel in its tank is burned"),
    ],
)  # fmt: skip
def test_fuel_a_little_below_the_need_is_burned_with_a_limit_and_keeps_no_hull_ashore(
    at_hand: dict[str, Any], conditions: str
) -> None:
    """25 of 46 hulls of the demo read 'do not rent' for a drain, also where a limit would do."""
    assert says(at_hand={"is_own_short": True} | at_hand) == f"Rent only with {conditions}"


def test_a_raised_calibration_on_low_fuel_and_old_fuel_keep_a_hull_ashore() -> None:
    short = {"is_own_short": True}

    assert not own_fuel_will_do(FINE | short | {"own_way": "stock"})
    assert not own_fuel_will_do(FINE | short | {"own_way": "throttle", "is_own_old": True})
    assert not own_fuel_will_do(FINE | short | {"own_fill_aki": 92.0, "is_own_old": True})
    assert own_fuel_will_do(FINE)
    assert own_fuel_will_do({})
    assert says(DRAIN, at_hand=short | {"own_way": "stock"}) == (
        "Do not rent until its tank is drained and refilled with 91 AKI or better, or it is back "
        "on the stock calibration"
    )


@pytest.mark.parametrize(
    ("given", "conditions"),
    [
        ({"at_hand": {"is_dock_short": True}}, "91 AKI or better, filled outside"),
        ({"at_hand": SHORT_DOCK},
         "91 AKI or better, filled outside, or no more than three-quarter throttle"),
        ({"at_hand": {"is_dock_old": True}}, "91 AKI or better, fresh, filled outside"),
        ({"actions": ("fuel_rule", "restrict_throttle")},
         "91 AKI or better; no more than three-quarter throttle"),
        ({"at_hand": {"need_aki": None}}, "the best grade sold (its need is not on record)"),
        ({"at_hand": {"own_level_l": None}},
         "a tank whose fuel somebody knows (nothing of it is on record)"),
    ],
)  # fmt: skip
def test_a_hull_that_runs_on_a_condition_is_rented_only_with_it(
    given: dict[str, Any], conditions: str
) -> None:
    assert says(**given) == f"Rent only with {conditions}"


def test_a_job_for_moneys_sake_has_its_day_and_says_when_that_has_passed() -> None:
    """A check asked for and never done was gone from the next list."""
    check = job("leak_down_check", "cost", is_must=False)
    late = check | {"due_at": AS_OF - timedelta(days=2)}
    weeks_late = check | {"due_at": AS_OF - timedelta(days=16)}

    assert says(weeks_late) == (
        "Rent only with this done, or let go by name, as it is overdue since Sat 18 Jul: "
        "leak-down check"
    )
    assert says(check) == "Rent only with this done by Sat 8 Aug: leak-down check"
    assert says(late) == "Rent only with this done, overdue since Sat 1 Aug: leak-down check"


def test_what_is_not_for_rent_not_known_or_without_an_open_job_says_so() -> None:
    assert says() == "No open job known"
    assert says(engine_id=None) == "Not for rent: no engine in it on record"
    assert says(why_not="no rental on record") == "Not enough on record to say"
    assert says(why_not="no rental on record", at_hand={"is_dock_short": True}) == (
        "Not enough on record to say; if it is rented, only with 91 AKI or better, filled outside"
    )
    assert says(DRAIN, why_not="no rental on record").startswith("Do not rent until")


def test_after_the_season_only_a_hull_that_still_runs_is_for_rent() -> None:
    def over(ended_at: datetime) -> str:
        return says(week=replace(WEEK, season_ended_at=ended_at))

    assert over(AS_OF - timedelta(hours=1)) == "Not for rent: out of season"
    assert over(AS_OF - timedelta(days=2)) == "No open job known"


def test_a_hull_rented_on_a_condition_is_not_told_to_need_nothing() -> None:
    """Found in use: 'rent only with its tank filled', and below it 'do: nothing'."""
    row = {"call": RENT_ONLY, "action": "nothing", "do": []}

    assert do_label(row, CATALOGUE) == "Nothing beyond that condition"
    assert do_label(row | {"call": NO_OPEN_JOB}, CATALOGUE) == "Nothing beyond normal care"
    assert do_label(row | {"do": ["borescope"]}, CATALOGUE) == CATALOGUE.label("borescope")
