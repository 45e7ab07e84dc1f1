"""The sixty frozen cases of `cause_disputes.toml` are whole and stand by themselves."""

import tomllib
from pathlib import Path

FROZEN = tomllib.loads(
    (Path(__file__).parents[1] / "reference_values" / "cause_disputes.toml").read_text("utf-8")
)
CASES = FROZEN["case"]


def test_there_are_sixty_cases_each_with_a_source_and_its_own_name() -> None:
    assert len(CASES) == 60
    assert len({case["name"] for case in CASES}) == 60
    assert all(case["source"] for case in CASES)


def test_no_case_expects_a_cause_that_no_headline_may_name() -> None:
    assert not [case["name"] for case in CASES if case["expected"] in case["never"]]


def test_the_histories_hold_the_settled_cases_their_names_say() -> None:
    for name, openings in FROZEN["history"].items():
        size = int(name.rpartition("_")[2]) if "_" in name else 0
        assert sum(openings.values()) == size, name
        assert set(openings) <= set(FROZEN["opening"]), name
