"""Numbers to words, and facts to sentences: nothing stronger than the figure behind it."""

import math
from datetime import UTC, datetime
from typing import Any

import pytest

from ringland.contracts.decision_tables import STATES
from ringland.contracts.record_columns import FAILURE_MODES, MEASURES
from ringland.contracts.record_tables import BENCH_VERDICTS, BenchVerdicts
from ringland.decision.actions.action_catalogue import REPAIR
from ringland.decision.jobs.bench_lines import bench_rows
from ringland.decision.jobs.call_lines import (
    action_line,
    call_reason,
    room_line,
    summary_line,
)
from ringland.pages.evidence.evidence_page import turn_line
from ringland.pages.week.report_words import (
    change_lines,
    driver_line,
    fuel_line,
    level_line,
    makes_no_difference,
    use_line,
)
from ringland.words import fixed_words as words
from ringland.words.number_words import (
    chance_text,
    day_text,
    factor_value,
    money_text,
    number_text,
    range_text,
    share_text,
    weekday_text,
)
from ringland.words.state_words import STATE_MARKS, STATE_SAYS, STATE_SHORT, STATE_TALLY
from tests.decision.small_fleet import CATALOGUE, SETTINGS, frame

MONDAY = datetime(2026, 8, 31, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    ("chance", "text"),
    [
        (None, "not known"),
        (0.0, "under 0.1 %"),
        (0.0123, "1.2 %"),
        (0.0994, "9.9 %"),
        (0.0996, "10 %"),
        (0.234, "23 %"),
        (0.9999, "over 99 %"),
    ],
)
def test_chances_keep_two_figures_and_never_say_never(chance: float | None, text: str) -> None:
    assert chance_text(chance) == text


def test_money_is_rounded_as_an_estimate_and_shares_and_nulls_are_said() -> None:
    assert money_text(12_649, "USD") == "USD 12,600"
    assert money_text(183, "USD") == "USD 180"
    assert money_text(3, "USD") == "under USD 10"
    assert money_text(None, "USD") == "not known"
    assert share_text(0.126) == "13 %"
    assert share_text(float("nan")) == "not known"
    assert number_text(-0.04) == "0.0"
    assert range_text(0.01, None) == "not known"


def test_days_read_the_same_under_every_locale() -> None:
    assert day_text(MONDAY) == "Mon 31 Aug 2026"
    assert weekday_text(MONDAY) == "Mon 31 Aug"


def test_every_fixed_choice_has_its_words() -> None:
    assert set(FAILURE_MODES) <= set(words.MODE_LABELS)
    assert set(MEASURES) <= set(words.MEASURE_LABELS)
    for said in (STATE_SAYS, STATE_TALLY, STATE_MARKS):
        assert list(said) == STATES
    assert set(STATES) <= set(STATE_SHORT)
    for option in (*CATALOGUE.bundles(), REPAIR):
        assert CATALOGUE.label(option)
        assert len(CATALOGUE.short(option)) <= len(CATALOGUE.label(option))
    assert CATALOGUE.short("drain_and_check") == "drain and check"  # of an earlier catalogue


def facts(**values: Any) -> dict[str, Any]:
    return {
        "call": "no_open_job",
        "action": "nothing",
        "ashore": "take_out_of_use",
        "waits_for": None,
        "decided_by": "cost",
        "horizon_d": 30.0,
        "rule": None,
        "found_at": None,
        "mode": None,
        "why_not": None,
        "warning": None,
        "chance_7d": 0.01,
        "chance_7d_low": 0.005,
        "chance_7d_high": 0.02,
        "chance_30d": 0.08,
        "chance_30d_low": 0.06,
        "chance_30d_high": 0.2,
        "chance_left": 0.08,
        "chance_after": 0.03,
        "top_factor": None,
        "top_part": None,
    } | values


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        ({}, "Nothing on the list is expected to cost less than doing without."),
        (
            {"waits_for": "planned_top_end"},
            "What would cost less finds no room this week.",
        ),
        (
            {"found_at": MONDAY, "mode": "ring_wear", "why_not": "x", "action": "repair"},
            "Ring wear found on Mon 31 Aug 2026; no rebuild on record since.",
        ),
        (
            {"found_at": MONDAY, "mode": "ring_wear", "why_not": "x", "action": "take_out_of_use"},
            "Ring wear found on Mon 31 Aug 2026; no rebuild on record since. No room this week to "
            "repair it.",
        ),
        ({"why_not": "no rental on record"}, "No rental on record."),
        (
            {"chance_30d": 0.12, "tested_d_ago": 6.4},
            "A check passed 6 days ago answers its high chance for 14 days; it does not clear it. "
            "Nothing on the list is expected to cost less than doing without.",
        ),
        (
            {"action": "fuel_rule"},
            "The plan's work cuts its chance of an unplanned failure over 30 days from 8.0 % to "
            "3.0 %.",
        ),
        (
            {"action": "fuel_rule", "horizon_d": 12.0},
            "The plan's work cuts its chance of an unplanned failure over the season's last 12 "
            "days from 8.0 % to 3.0 %.",
        ),
        ({"action": "fuel_rule", "decided_by": "hand"}, "Decided by hand."),
        (
            {"top_factor": "fuel_age_25h_d", "top_part": 0.6931},
            "Age of the fuel burned goes with 2.0 times the failures of a typical hull here. "
            "Nothing on the list is expected to cost less than doing without.",
        ),
        (
            {"top_factor": "age_h", "top_part": 0.05},
            "Nothing on the list is expected to cost less than doing without.",
        ),
        (
            {"call": "do_not_rent", "rule": "chance_7d", "chance_7d": 0.25, "chance_7d_high": 0.4},
            "Chance of failure in 7 days 25 % (0.5 % to 40 %), at or over the 20 % from which a "
            "hull is kept off the water.",
        ),
        (
            {"rule": "chance_30d", "chance_30d": 0.12, "action": "take_out_of_use"},
            "Its chance in 30 days is at or over the 10 % from which a hull is checked before it "
            "is rented. The week has no room for it, so it stays ashore.",
        ),
        (
            {"rule": "failed_test", "warning": "compression: low", "action": "leak_down_check"},
            "Compression: low.",
        ),
    ],
)
def test_reason_is_the_first_thing_that_matters(given: dict[str, Any], reason: str) -> None:
    assert call_reason(facts(**given), SETTINGS) == reason


def test_action_line_says_price_waiting_and_saving_or_that_safety_speaks() -> None:
    call = {
        "call": "do_not_rent", "action": "leak_down_check", "do": ["leak_down_check"],
        "action_cost": 380.0,
        "cost_of_waiting": 900.0, "saving": 120.0, "decided_by": "safety",
    }  # fmt: skip

    def line(**changed: Any) -> str:
        return action_line(call | changed, CATALOGUE, 30.0, "USD")

    waiting = "Left as it is, it is expected to cost USD 900 over 30 days."
    assert f"USD 380. {waiting} Expected saving against doing without: USD 120." in line()
    assert "Safety, not money" in line(saving=-50.0)
    assert "A decision by hand, not money" in line(saving=-50.0, decided_by="hand")
    assert "Complete the record" in line(action=None, do=[])
    assert "Its chance cannot be told" in line(cost_of_waiting=None, saving=None)
    assert line(action="nothing", do=[], action_cost=0.0).endswith(waiting)


def test_a_hull_that_waits_for_room_says_for_what_and_which_room() -> None:
    waits = {"waits_for": "planned_top_end", "no_room_in": "lift slots, top_end_kit"}

    assert room_line(waits, CATALOGUE) == (
        "next week: planned top end; no lift slot left, no top end kit on hand"
    )
    assert room_line({"waits_for": None}, CATALOGUE) == ""


def test_summary_keeps_broken_hulls_apart_from_those_that_run() -> None:
    common = {"waits_for": None}
    broken = common | {
        "action": "repair", "do": ["repair"], "cost_of_waiting": 13800.0, "action_cost": 11000.0,
        "saving": 2800.0,
    }  # fmt: skip
    stands = broken | {"action": "take_out_of_use", "waits_for": "repair"}
    drain = common | {
        "action": "drain_refill", "do": ["drain_refill"], "cost_of_waiting": 900.0,
        "action_cost": 170.0, "saving": 300.0,
    }  # fmt: skip
    check = drain | {"action": "leak_down_check", "action_cost": 380.0, "saving": -350.0}
    idle = common | {
        "action": "nothing", "do": [], "cost_of_waiting": 100.0, "action_cost": 0.0, "saving": 0.0,
    }  # fmt: skip

    def line(*calls: dict[str, Any]) -> str:
        return summary_line(calls, 30.0, "USD")

    whole = line(broken, stands, drain, idle)
    assert "2 hulls stand broken, 1 to be repaired this week for USD 11,000" in whole
    assert "the other 2 hulls as they are is expected to cost USD 1,000 over" in whole
    assert "Work on 1 hull, for USD 170, is expected to save USD 300 beyond its own" in whole
    assert "1 hull stands broken, and the week has no room to repair." in line(stands)
    assert "expected to cost USD 50 more, which safety asks for" in line(drain, check)
    assert line() == ""


def driver(**values: Any) -> dict[str, Any]:
    return {
        "factor": "shortfall_25h_on",
        "value": 2.0,
        "fleet_middle": 0.5,
        "log_hazard_part": 0.6931,
        "is_assumed": False,
    } | values


def test_a_driver_that_the_record_cannot_tell_from_nothing_says_so() -> None:
    clear = driver_line(driver(), is_clear=True)
    unclear = driver_line(driver(is_assumed=True), is_clear=False)

    assert clear == (
        "Fuel below need in hard running: 2.0 octane numbers (a typical hull here: 0.5 octane "
        "numbers): goes with 2.00 times the failures; from the record."
    )
    assert "cannot tell from no effect" in unclear
    assert "partly assumed" in unclear
    assert "no difference" in driver_line(driver(log_hazard_part=0.0), is_clear=False)


def test_factors_that_make_no_difference_share_one_line() -> None:
    level = [
        driver(factor="is_forged", value=0.0, log_hazard_part=0.0),
        driver(factor="build_number", value=1.0, log_hazard_part=-0.001),
        driver(factor="full_throttle_25h", value=0.25, log_hazard_part=0.0, is_assumed=True),
    ]

    assert all(makes_no_difference(row) for row in level)
    assert not makes_no_difference(driver(log_hazard_part=0.01))
    assert level_line(level) == (
        "No difference to a typical hull here: Forged pistons: no; "
        "Piston sets so far in this engine: 1; "
        "Share of time at full throttle: 25 % (partly assumed)."
    )


def test_factors_read_in_their_own_units() -> None:
    assert factor_value("full_throttle_25h", 0.25) == "25 %"
    assert factor_value("is_forged", 1.0) == "yes"
    assert factor_value("age_h", 157.4) == "157 h"
    assert factor_value("build_number", 2.0) == "2"
    assert factor_value("build_number", 1.5) == "1.5"  # the middle of an even number of hulls
    assert factor_value("fuel_age_25h_d", None) == "not known"


FUEL = {
    "burned_l": 500.0,
    "below_need_share": 0.25,
    "need_high_aki": 93.0,
    "shortfall_on": 2.0,
    "oldest_fuel_d": 40.0,
    "unknown_share": 0.1,
}


def test_fuel_line_says_share_below_need_and_what_is_not_on_record() -> None:
    line = fuel_line(FUEL, SETTINGS)

    assert "25 % of it below the need of up to 93 AKI, by 2.0 octane numbers" in line
    assert "10 % of it is not on record" in line
    assert "all of it met the need" in fuel_line(FUEL | {"below_need_share": 0.0}, SETTINGS)
    assert "is not known" in fuel_line(FUEL | {"below_need_share": None}, SETTINGS)
    assert "No fuel burned on record" in fuel_line({}, SETTINGS)
    assert "not on record" not in fuel_line(FUEL | {"unknown_share": 0.001}, SETTINGS)


def test_use_says_whose_it_is() -> None:
    own = use_line(
        {"use_h_d": 1.25, "dock_use_h_d": 1.0, "use_beside_dock": 1.25, "is_own_use": True,
         "season_turn": 1.0},
        SETTINGS,
    )  # fmt: skip
    dock = use_line(
        {"use_h_d": 1.25, "dock_use_h_d": 2.5, "use_beside_dock": 1.0, "is_own_use": False,
         "season_turn": 0.5, "turn_own_share": 0.9, "turn_sd_log": 0.1},
        SETTINGS,
    )  # fmt: skip

    assert "times 1.2 for what it runs beside them" in own
    assert "none of its own rentals" in dock
    assert "earlier seasons" not in own
    assert "times 0.50 (0.41 to 0.61) for how earlier seasons went on" in dock
    assert "not known" in use_line({"use_h_d": None, "is_own_use": False}, SETTINGS)


def test_what_would_change_a_call_follows_the_gaps_of_its_record() -> None:
    state = {"found_at": None, "why_not": "no rental on record"}
    gaps = {"fuel_known_share": 0.7, "throttle_known_share": 1.0}
    unknown = change_lines({"call": "not_enough_record"}, state, gaps)
    broken = change_lines({"call": "do_not_rent"}, state | {"found_at": MONDAY}, gaps)

    assert unknown[0] == "A record that answers this: no rental on record."
    assert any("30 % of the litres" in line for line in unknown)
    assert not any("Full-throttle" in line for line in unknown)
    assert broken[0].startswith("A rebuild entered")


def reading(cylinder: int, verdict: str, **values: Any) -> dict[str, Any]:
    return {
        "engine_id": "E1",
        "inspected_at": MONDAY,
        "measure": "compression",
        "cylinder": cylinder,
        "state": "measured",
        "value": 170.0 + cylinder,
        "unit": "psi",
        "verdict": verdict,
        "reason": f"reason {cylinder}",
        "mark": "S",
    } | values


def test_a_test_is_one_line_with_its_worst_verdict() -> None:
    tests = frame(
        BenchVerdicts,
        [
            reading(1, "pass"),
            reading(2, "fail"),
            reading(3, "cannot judge", state="not_looked_at", value=None),
        ],
    )
    (line,) = bench_rows(tests)

    assert line["readings"] == "cyl 1: 171 psi, cyl 2: 172 psi, cyl 3: not looked at"
    assert (line["verdict"], line["why"]) == ("fail", "cyl 2: reason 2")
    (measured,) = bench_rows(tests.head(2))
    assert measured["readings"] == "cyl 1: 171, cyl 2: 172 psi"


@pytest.mark.parametrize("verdict", BENCH_VERDICTS)
def test_every_verdict_of_the_bench_has_its_place(verdict: str) -> None:
    (line,) = bench_rows(frame(BenchVerdicts, [reading(1, verdict)]))

    assert line["verdict"] == verdict


def test_how_we_know_says_how_far_the_seasons_turn_was_off_and_what_it_rests_on() -> None:
    """A sd of 0.1 is 0.82 to 1.22 times; an error of log 1.1 is 10 %."""
    own = {"use_h_d": 1.0, "season_turn": 0.5, "turn_sd_log": 0.1, "turn_own_share": 0.95,
           "turn_weeks": 22, "turn_off_log": math.log(1.1)}  # fmt: skip

    line = turn_line(own)
    assert "0.50 times those of late, 0.41 to 0.61" in line
    assert "In 22 past weeks" in line
    assert "error of 10 %; the turn is 95 % from it" in line
    assert "no past week" in turn_line(own | {"turn_weeks": 0, "turn_off_log": None})
    assert "stated guess" in turn_line(own | {"turn_own_share": 0.0, "turn_off_log": None})
    assert turn_line(None) == turn_line(own | {"use_h_d": None}) == ""
