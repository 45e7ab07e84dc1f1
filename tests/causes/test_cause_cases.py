"""Written cases: findings -> the cause a handbook or common practice names.

The cases and the table's weights had one writer, so they show that the method follows the
handbooks, not that the weights are right; the shop's settled cases will.
"""

import tomllib
from pathlib import Path

import pytest

from ringland.causes.cause_differential import CauseRanking, rank_causes
from ringland.causes.cause_findings import engine_findings
from ringland.causes.cause_table import UNDETERMINED, default_cause_table
from tests.causes.cause_rows import teardown

CASES = tomllib.loads(
    (Path(__file__).parents[1] / "reference_values" / "cause_cases.toml").read_text()
)["case"]
DISPUTES = tomllib.loads(
    (Path(__file__).parents[1] / "reference_values" / "cause_disputes.toml").read_text()
)["case"]
TABLE = default_cause_table()


def ranking(case: dict) -> CauseRanking:
    findings = engine_findings(
        teardown(case["seen"], case["not_seen"]), TABLE, "E1", case["cylinders"]
    )
    assert findings.unmatched == ()
    return rank_causes(findings, TABLE)


def test_there_are_at_least_twenty_cases_and_every_cause_has_one_here_or_in_the_disputes() -> None:
    assert len(CASES) >= 20
    assert {case["expected"] for case in [*CASES, *DISPUTES]} >= set(TABLE.causes)


def test_the_expected_cause_is_first_or_second_in_nine_cases_of_ten() -> None:
    named = [case for case in CASES if case["expected"] != UNDETERMINED]
    in_two = [
        case["name"]
        for case in named
        if case["expected"] in ranking(case).chances["cause"].head(2).to_list()
    ]
    assert len(in_two) >= 0.9 * len(named), {c["name"] for c in named} - set(in_two)


@pytest.mark.parametrize(
    "case", [case for case in CASES if case["expected"] == UNDETERMINED], ids=lambda c: c["name"]
)
def test_too_little_evidence_ends_undetermined(case: dict) -> None:
    ranked = ranking(case)
    assert ranked.first == UNDETERMINED
    assert any("too little" in note for note in ranked.notes)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_every_case_lists_all_causes_and_undetermined(case: dict) -> None:
    chances = ranking(case).chances
    assert set(chances["cause"]) == set(TABLE.outcomes)
    assert chances["chance"].sum() == pytest.approx(1.0, abs=1e-12)  # rounding of 19 terms
    assert (chances["chance"] > 0).all()


def test_gritty_deposit_is_said_to_be_unspecific_where_practice_says_detonation() -> None:
    ranked = rank_causes(
        engine_findings(teardown(["1 | piston | white gritty deposit"]), TABLE, "E1", 3), TABLE
    )
    assert any("not specific" in note and "detonation" in note for note in ranked.notes)
    of_deposit = ranked.evidence
    assert set(of_deposit.filter(of_deposit["cause"] == "knock_fuel")["mark"]) == {"CP"}
    assert of_deposit["weight"].n_unique() == 1
