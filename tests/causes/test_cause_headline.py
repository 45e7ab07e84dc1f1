"""Which cause a headline may name."""

from datetime import datetime
from typing import Any

import polars as pl
import pytest

from ringland.causes.cause_chances import SettledCases
from ringland.causes.cause_differential import rank_causes
from ringland.causes.cause_findings import engine_findings
from ringland.causes.cause_headline import clash_lines, headline, spoken_against
from ringland.causes.cause_table import (
    UNDETERMINED,
    CauseTableError,
    default_cause_table,
    read_cause_table,
)
from tests.causes.cause_rows import OPENED, teardown

TABLE = default_cause_table()
KNOCK = [
    "1 | piston | second land broken down",
    "2 | piston | second land broken down",
    "1 | piston | pitting at the crown edge",
]
SAMPLE_LOW = "fuel system | fuel sample below the need of the calibration"


def speaks(**sides: str) -> pl.DataFrame:
    return pl.DataFrame(
        [(key, sides.get(key, "says nothing"), "") for key in TABLE.causes],
        schema=["cause", "side", "sentence"],
        orient="row",
    )


def said(
    seen: list[str],
    not_seen: list[str] | None = None,
    settled: str | None = None,
    **sides: str,
) -> str:
    found = engine_findings(teardown(seen, not_seen or []), TABLE, "E1", 3)
    at: datetime | None = OPENED if settled else None
    failure: dict[str, Any] = {"confirmed_cause": settled, "cause_confirmed_at": at}
    return headline(rank_causes(found, TABLE), found, speaks(**sides), failure, TABLE)


def test_a_driver_is_named_where_its_own_test_says_so() -> None:
    assert said([*KNOCK, SAMPLE_LOW]).startswith("The findings speak most for 'Knock: fuel below")


def test_the_record_alone_keeps_a_driver_out_of_the_headline() -> None:
    line = said([*KNOCK, SAMPLE_LOW], knock_fuel="against")
    assert line.startswith("Knock (")
    assert line.endswith(
        "driver not established: the record speaks against 'Knock: fuel below need'."
    )


TUNE_RAISED = "controller | calibration read out: raised"


def test_two_drivers_that_tests_speak_for_stand_beside_each_other() -> None:
    """'Speaks most for fuel (65 %)' stood over a calibration read out as raised."""
    line = said([*KNOCK, SAMPLE_LOW, TUNE_RAISED])
    assert line.startswith("Knock (")
    assert "Tests speak for 'Knock: fuel below need' (about " in line
    assert " and 'Knock: calibration asks for more than the fuel gives' (about " in line
    assert "does not say which of them broke it" in line
    alone = said([*KNOCK, SAMPLE_LOW, TUNE_RAISED], knock_tune="against")
    assert "calibration asks" not in alone


def test_a_driver_the_record_speaks_for_stands_beside_one_that_was_tested() -> None:
    line = said([*KNOCK, SAMPLE_LOW], knock_tune="for", knock_fuel="for")
    assert "The record speaks as well for 'Knock: calibration asks" in line
    assert "as well for 'Knock: fuel" not in line


@pytest.mark.parametrize(
    ("seen", "not_seen", "side", "clashes"),
    [
        ([SAMPLE_LOW], [], "against", True),
        ([], [SAMPLE_LOW], "for", True),
        ([SAMPLE_LOW], [], "for", False),
        ([], [], "against", False),
    ],
)
def test_a_test_and_a_record_that_contradict_each_other_are_named(
    seen: list[str], not_seen: list[str], side: str, clashes: bool
) -> None:
    found = engine_findings(teardown([*KNOCK, *seen], not_seen), TABLE, "E1", 3)
    told = clash_lines(found, speaks(knock_fuel=side), TABLE)
    assert [line for line in told if "'Knock: fuel below need'" in line] == list(told)
    assert bool(told) == clashes


def test_its_own_test_alone_speaks_against_a_driver() -> None:
    found = engine_findings(teardown(KNOCK, [SAMPLE_LOW]), TABLE, "E1", 3)
    assert set(spoken_against(found, speaks(), TABLE)) == {"knock_fuel"}
    assert "Knock: fuel" not in said(KNOCK, [SAMPLE_LOW])


def test_a_driver_that_nothing_tells_apart_is_not_established() -> None:
    line = said(KNOCK)
    assert line.startswith("Knock (about ")
    assert line.endswith(
        "driver not established: nothing that was looked at speaks for one of its drivers."
    )


def test_where_only_the_record_leans_the_headline_says_that_it_is_the_record() -> None:
    line = said(KNOCK, knock_fuel="for")
    assert "driver not established" in line
    assert line.endswith("The record by itself speaks for 'Knock: fuel below need'.")


def test_a_settled_cause_beside_findings_that_name_none_says_both() -> None:
    line = said([], settled="water")
    assert line.startswith("The shop settled on 'Water taken in from outside'")
    assert line.endswith("What was found does not name a cause.")


def test_one_of_two_own_tests_that_says_yes_lets_the_driver_be_named() -> None:
    # the charge cooler is clear, the passages are blocked: hot charge stays possible
    hot = [*KNOCK, "cooling | cooling passages blocked by scale, sand or weed"]
    found = engine_findings(teardown(hot, ["cooling | charge cooler fouled"]), TABLE, "E1", 3)
    assert "knock_hot_charge" not in spoken_against(found, speaks(), TABLE)


def test_the_runner_up_in_a_headline_is_not_one_spoken_against_either() -> None:
    line = said([*KNOCK, SAMPLE_LOW], knock_tune="against")
    assert "calibration asks" not in line


def test_what_the_shop_settled_on_comes_before_where_the_findings_lean() -> None:
    line = said([*KNOCK, SAMPLE_LOW], settled="knock_tune")
    assert line.startswith("The shop settled on 'Knock: calibration asks for more")
    assert "Knock: fuel" not in line


def test_a_settled_cause_against_its_own_test_is_not_named_in_a_headline() -> None:
    stock = "controller | calibration read out: stock"
    line = said([*KNOCK, SAMPLE_LOW, stock], settled="knock_tune")
    assert line.startswith("Driver not established")


def test_an_own_test_that_weighs_nothing_is_refused_with_its_name() -> None:
    text = """
    [model]
    [cause.a]
    name = "A"
    mechanism = "m"
    share = 1
    ask = ""
    prevention = ""
    own_tests = ["f"]
    [finding.f]
    part = "p"
    words = "w"
    mark = "A"
    source = "s"
    weights = {}
    """
    with pytest.raises(CauseTableError, match=r"cause\.a names f as its own tests"):
        read_cause_table(text, "t.toml")


def test_no_mechanism_is_named_by_habit_where_nothing_seen_speaks_for_it() -> None:
    """Dents read 'Knock, about 60 %' in a shop that had settled 44 knocks."""
    opened = ["valve | seats pitted", "fuel system | gum in rail"]
    findings = engine_findings(teardown(opened), TABLE, "E1", 3)
    cases = SettledCases.none(TABLE)
    cases.by_cause[TABLE.outcomes.index("knock_fuel")] = 500

    ranked = rank_causes(findings, TABLE, cases)

    assert ranked.first == UNDETERMINED
    assert any("Nothing that was seen speaks for knock" in note for note in ranked.notes)


def test_scuffing_in_several_cylinders_is_no_sign_of_knock() -> None:
    opened = [f"{cylinder} | piston | scuff on both faces" for cylinder in (1, 2)]
    ranked = rank_causes(engine_findings(teardown(opened), TABLE, "E1", 3), TABLE)

    spread = ranked.evidence.filter(pl.col("finding") == "several_cylinders")

    assert "knock_fuel" not in spread["cause"]
