"""Frozen cases of two hands, with what the shop had settled before.

The sixty of `cause_disputes.toml` had the weights' own writer; they were frozen first, then
tuned against.  The forty of `cause_second_hand.toml` had another, who had read neither.  At
their first measurement the expected cause was first or second in 34, 33, 31, 31 of their 36
with 0, 5, 13, 50 settled cases, fuel-heavy and calibration-heavy alike; no headline stood
against its evidence.  Two faults of principle were then mended (spread damage of another
kind counted for knock; knock led by habit alone where none of its signs was seen): 35, 35,
34, 33.  They show that the method follows the handbooks, not that the weights are right.
"""

import re
import tomllib
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from ringland.causes.cause_chances import SettledCases
from ringland.causes.cause_differential import CauseRanking, rank_causes
from ringland.causes.cause_findings import (
    NOT_SEEN,
    SEEN,
    EngineFindings,
    engine_findings,
)
from ringland.causes.cause_headline import headline
from ringland.causes.cause_table import UNDETERMINED, default_cause_table
from tests.causes.cause_rows import teardown

VALUES = Path(__file__).parents[1] / "reference_values"
SETS: dict[str, dict[str, Any]] = {
    name: tomllib.loads((VALUES / f"{name}.toml").read_text("utf-8"))
    for name in ("cause_disputes", "cause_second_hand")
}
HISTORIES = [(name, history) for name, frozen in SETS.items() for history in frozen["history"]]
TABLE = default_cause_table()
UNSETTLED = {"confirmed_cause": None, "cause_confirmed_at": None}


def found(case: dict[str, Any]) -> EngineFindings:
    rows = teardown(case["seen"], case["not_seen"])
    got = engine_findings(rows, TABLE, "E1", case.get("cylinders", 3))
    assert got.unmatched == ()
    return got


def settled(frozen: dict[str, Any], history: str) -> SettledCases:
    cases = SettledCases.none(TABLE)
    for name, number in frozen["history"][history].items():
        opening = frozen["opening"][name]
        states = found(opening).states
        row = TABLE.outcomes.index(opening["settled"])
        cases.by_cause[row] += number
        for column, key in enumerate(TABLE.findings):
            cases.seen[row, column] += number * (states[key] == SEEN)
            cases.not_seen[row, column] += number * (states[key] == NOT_SEEN)
    return cases


def speaks(case: dict[str, Any]) -> pl.DataFrame:
    record = case.get("record", {})
    return pl.DataFrame(
        [(key, record.get(key, "says nothing"), "") for key in TABLE.causes],
        schema=["cause", "side", "sentence"],
        orient="row",
    )


@pytest.fixture(scope="module", params=HISTORIES, ids="-".join)
def told(request: pytest.FixtureRequest) -> list[tuple[dict[str, Any], CauseRanking, str]]:
    """Each case of one hand with its ranking and its headline, under one history."""
    name, history = request.param
    cases = settled(SETS[name], history)
    made = []
    for case in SETS[name]["case"]:
        ranking = rank_causes(found(case), TABLE, cases)
        line = headline(ranking, found(case), speaks(case), UNSETTLED, TABLE)
        made.append((case, ranking, line))
    return made


def named_in(line: str) -> set[str]:
    """The causes a headline names as where the findings point, its runner-up included."""
    pointing = re.findall(r"(?:speak most|then|Tests speak) for '([^']+)'", line)
    pointing += re.findall(r" and '([^']+)' \((?:about|over|under)", line)
    leaning = line.partition("The record ")[2]
    return {key for key, c in TABLE.causes.items() if c.name in pointing or c.name in leaning}


@pytest.mark.parametrize(("name", "number"), [("cause_disputes", 60), ("cause_second_hand", 40)])
def test_each_hand_wrote_its_cases_with_a_source_and_a_name_of_their_own(
    name: str, number: int
) -> None:
    cases = SETS[name]["case"]
    assert len({case["name"] for case in cases}) == len(cases) == number
    assert all(case["source"] for case in cases)


@pytest.mark.parametrize("frozen", SETS.values(), ids=list(SETS))
def test_no_case_expects_a_cause_that_no_headline_may_name(frozen: dict[str, Any]) -> None:
    assert not [case["name"] for case in frozen["case"] if case["expected"] in case["never"]]


@pytest.mark.parametrize("frozen", SETS.values(), ids=list(SETS))
def test_the_histories_hold_the_settled_cases_their_names_say(frozen: dict[str, Any]) -> None:
    for name, openings in frozen["history"].items():
        size = int(name.rpartition("_")[2]) if "_" in name else 0
        assert sum(openings.values()) == size, name
        assert set(openings) <= set(frozen["opening"]), name


def test_no_headline_names_a_driver_that_its_own_test_or_the_record_speaks_against(
    told: list[tuple[dict[str, Any], CauseRanking, str]],
) -> None:
    for case, _, line in told:
        assert not named_in(line) & set(case["never"]), (case["name"], line)


def test_the_expected_cause_is_first_or_second_in_nine_cases_of_ten(
    told: list[tuple[dict[str, Any], CauseRanking, str]],
) -> None:
    named = [one for one in told if one[0]["expected"] != UNDETERMINED]
    missed = []
    for case, ranking, line in named:
        if case["expected"] not in TABLE.causes:
            is_right = line.lower().startswith(case["expected"]) and "not established" in line
        else:
            first_two = ranking.chances["cause"].head(2).to_list()
            is_right = ranking.first != UNDETERMINED and case["expected"] in first_two
        if not is_right:
            missed.append(case["name"])
    assert len(missed) <= 0.1 * len(named), missed


def test_thin_cases_stay_undetermined(
    told: list[tuple[dict[str, Any], CauseRanking, str]],
) -> None:
    thin = [one for one in told if one[0]["expected"] == UNDETERMINED]
    assert len(thin) >= 4
    for case, ranking, line in thin:
        assert ranking.first == UNDETERMINED, case["name"]
        assert line == "What was found does not name a cause.", case["name"]


def test_settled_cases_order_no_drivers_that_nothing_tells_apart(
    told: list[tuple[dict[str, Any], CauseRanking, str]],
) -> None:
    """Bare knock, the fuel never looked at, went from 39 to 91 % fuel after five cases."""
    tests = {t for c in TABLE.mechanisms["knock"] for t in TABLE.causes[c].own_tests}
    bare = 0
    for case, ranking, line in told:
        states = found(case).states
        if case["expected"] != "knock" or any(states[t] in (SEEN, NOT_SEEN) for t in tests):
            continue
        bare += 1
        drivers = ranking.chances.filter(pl.col("mechanism") == "knock")
        split = drivers["chance"] / drivers["chance"].sum()
        start = drivers["table_share"] / drivers["table_share"].sum()
        assert (split - start).abs().max() < 1e-9  # type: ignore[operator]
        by_record = {c for c, side in case.get("record", {}).items() if side == "for"}
        assert named_in(line) <= by_record, case["name"]
    assert bare >= 1
