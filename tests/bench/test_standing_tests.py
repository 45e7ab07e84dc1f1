"""Failed tests by hand: what still stands, what answers it, and who let it go."""

from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.bench.standing_tests import complete_passes, standing_failures, with_releases
from ringland.contracts.record_tables import BenchVerdicts, OpenSheets
from ringland.decision.jobs.bench_lines import bench_warnings, latest_tests, release_lines
from tests.history.record_rows import records

AS_OF = datetime(2026, 8, 3, 6, tzinfo=UTC)
SHOP: dict[str, Any] = {
    "engines": [{"engine_id": "E1", "cylinders": 3}],
    "installations": [
        {"engine_id": "E1", "hull_id": "H1", "installed_at": AS_OF - timedelta(days=900)},
        {"engine_id": "E2", "hull_id": "H2", "installed_at": AS_OF - timedelta(days=900)},
    ],
}


def ago(days: float) -> datetime:
    return AS_OF - timedelta(days=days)


def reading(
    days: float, *verdicts: str, measure: str = "leak_down", engine: str = "E1", **more: Any
) -> list[dict[str, Any]]:
    """One test, a verdict for each cylinder in turn; one verdict alone is the whole engine's."""
    return [
        {
            "engine_id": engine,
            "inspected_at": ago(days),
            "measure": measure,
            "cylinder": number if len(verdicts) > 1 or "cylinder" in more else None,
            "state": "measured",
            "standard_unit": "%",
            "verdict": verdict,
            "reason": f"cylinder {number} read",
        }
        | more
        for number, verdict in enumerate(verdicts, start=1)
    ]


def bench(*tests: list[dict[str, Any]]) -> pl.DataFrame:
    types = {name: column.dtype for name, column in BenchVerdicts.columns().items()}
    return pl.DataFrame([row for rows in tests for row in rows], schema=types)


def standing(*tests: list[dict[str, Any]], **more: Any) -> pl.DataFrame:
    return standing_failures(bench(*tests), records(**(SHOP | more)), AS_OF)


def stands(*tests: list[dict[str, Any]], **more: Any) -> bool:
    return standing(*tests, **more)["released_by"].is_null().any()


FAILED = reading(400, "pass", "fail", "pass")
PASSED = ("pass", "pass", "pass")


def test_a_failed_test_does_not_lapse() -> None:
    """Ten demo hulls that failed a leak-down up to 336 days before read 'Rent as normal'."""
    made = standing(FAILED).row(0, named=True)

    assert (made["measure"], made["cylinder"], made["failed_at"]) == ("leak_down", 2, ago(400))
    assert made["released_by"] is None


@pytest.mark.parametrize(
    ("later", "is_answered"),
    [
        (reading(9, *PASSED), True),
        (reading(500, *PASSED), False),  # before
        (reading(9, "pass", "pass"), False),  # two of three cylinders
        (reading(9, "pass", "cannot judge", "pass"), False),
        (reading(9, "pass", "cannot be", "pass"), False),
        (reading(9, *PASSED, measure="compression"), False),
        (reading(9, *PASSED, engine="E2"), False),
        (reading(9, "cannot judge", state="stated_ok"), False),  # 'ok' of the whole engine
        ([*reading(9, "pass", "pass"), *reading(8, "pass", cylinder=3)], False),  # by halves
    ],
)
def test_only_a_later_complete_test_that_passed_answers(
    later: list[dict[str, Any]], is_answered: bool
) -> None:
    assert stands(FAILED, later) is not is_answered


def test_a_pass_in_between_answers_nothing_that_failed_after_it() -> None:
    assert stands(FAILED, reading(30, *PASSED), reading(9, "fail", "pass", "pass"))
    assert not stands(FAILED, reading(30, "fail", "pass", "pass"), reading(9, *PASSED))


def test_both_ports_of_every_cylinder_must_seal_again() -> None:
    def vacuum(days: float, *sides: str, verdict: str = "pass") -> list[dict[str, Any]]:
        one = {"measure": "valve_seal_vacuum"}
        return [row for side in sides for row in reading(days, *[verdict] * 3, port=side, **one)]

    failed = vacuum(60, "intake", "exhaust", verdict="fail")
    assert stands(failed, vacuum(9, "intake"))
    assert stands(failed, vacuum(9, "intake"), vacuum(8, "exhaust"))
    assert not stands(failed, vacuum(9, "intake", "exhaust"))


def test_a_rebuild_answers_only_with_the_readings_that_accept_it() -> None:
    built = {
        "rebuilds": [{"engine_id": "E1", "rebuilt_at": ago(20)}],
        "piston_sets": [{"engine_id": "E1", "piston_set_id": "P2", "fitted_at": ago(20)}],
    }
    assert stands(FAILED, **built)
    assert stands(FAILED, reading(20, *PASSED, measure="compression"), **built)
    assert not stands(FAILED, reading(20, *PASSED), **built)


def test_metal_in_the_oil_is_answered_by_a_build_that_passed_its_leak_down() -> None:
    oil = reading(60, "fail", measure="oil_iron")
    built = {"rebuilds": [{"engine_id": "E1", "rebuilt_at": ago(20)}]}

    assert stands(oil, reading(20, *PASSED))  # no build: the metal still comes from somewhere
    assert stands(oil, reading(30, *PASSED), **built)
    assert not stands(oil, reading(20, *PASSED), **built)
    assert not stands(oil, reading(9, "pass", measure="oil_iron"))


def release(**fields: Any) -> dict[str, Any]:
    usual = {"released_at": ago(5), "what": "leak_down", "released_by": "R. Vane", "why": "seen."}
    return {"releases": [usual | fields]}


@pytest.mark.parametrize(
    ("fields", "holds"),
    [
        ({"engine_id": "E1"}, True),
        ({"hull_id": "H1"}, True),
        ({"engine_id": "E1", "what": "all_open"}, True),
        ({"what": "all_open"}, True),  # adoption day: the whole fleet by one signature
        ({"engine_id": "E1", "until": ago(-1)}, True),
        ({"engine_id": "E1", "until": AS_OF}, False),
        ({"engine_id": "E2"}, False),
        ({"hull_id": "H2"}, False),
        ({"engine_id": "E1", "what": "compression"}, False),
        ({"engine_id": "E1", "what": "rebuild_sheet"}, False),
        ({"engine_id": "E1", "released_at": ago(401)}, False),  # before it failed
    ],
)
def test_a_release_by_name_holds_for_what_it_names(fields: dict[str, Any], holds: bool) -> None:
    assert stands(FAILED, **release(**fields)) is not holds


def test_a_release_of_a_hull_is_of_the_engine_that_sat_in_it_then() -> None:
    moved = [
        {"engine_id": "E2", "hull_id": "H1", "installed_at": ago(900), "removed_at": ago(3)},
        {"engine_id": "E1", "hull_id": "H1", "installed_at": ago(3)},
    ]
    assert stands(FAILED, installations=moved, **release(hull_id="H1"))
    assert not stands(FAILED, installations=moved, **release(hull_id="H1", released_at=ago(2)))


def test_a_signed_reason_on_an_acceptance_reading_is_a_release_by_its_signer() -> None:
    let_go = {"accepted_because": "new seats, laps in", "signed_by": "T. Ollander"}
    made = standing(reading(9, "fail", "pass", "pass", **let_go)).row(0, named=True)

    assert (made["released_by"], made["released_because"]) == ("T. Ollander", "new seats, laps in")
    assert stands(reading(9, "fail", "pass", "pass", accepted_because="nobody signed"))


def test_the_warning_names_the_place_the_day_and_what_answers_it() -> None:
    made = standing(
        FAILED,
        reading(30, "pass", "pass"),
        reading(60, "fail", measure="oil_iron"),
        reading(9, "fail", "pass", "pass", engine="E2"),
        **release(engine_id="E2"),
    )

    assert bench_warnings(made).rows() == [
        (
            "E1",
            "Leak-down, cylinder 2 on Sun 29 Jun 2025: cylinder 2 read. Failed too: Iron in oil on "
            "Thu 4 Jun 2026. A test since then was not complete or not passed, and answers "
            "nothing. A failed test stands until a complete one of the same measure passes, or "
            "somebody releases it by name",
            ["leak_down", "oil_iron"],
        )
    ]
    no_sheets = with_releases(
        OpenSheets.create_empty(),
        records(),
        AS_OF,
        since="rebuilt_at",
        what=pl.lit("rebuild_sheet"),
    )
    assert release_lines(made, no_sheets) == {
        "E2": [
            "Leak-down, cylinder 1 on Sat 25 Jul 2026: failed. Released by R. Vane on Wed 29 Jul "
            "2026: seen."
        ]
    }


def test_the_latest_test_of_each_measure_is_the_one_shown() -> None:
    frame = bench(FAILED, reading(9, *PASSED), reading(60, "fail", measure="oil_iron"))
    assert latest_tests(frame).select("measure", "verdict").rows() == [
        *[("leak_down", "pass")] * 3,
        ("oil_iron", "fail"),
    ]


OUTCOMES = ["pass", "fail", "lap and retest", "cannot be", "cannot judge"]


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    tests=st.lists(st.lists(st.sampled_from(OUTCOMES), min_size=2, max_size=3), max_size=6),
    n_more=st.integers(0, 400),
)
def test_whatever_was_tested_a_failure_goes_only_with_a_complete_pass_after_it(
    tests: list[list[str]], n_more: int
) -> None:
    """And no number of days makes a difference."""
    n = len(tests)
    made = [reading(n_more + n - at, *outcomes) for at, outcomes in enumerate(tests)]
    is_open = False
    for outcomes in tests:
        if "fail" in outcomes:
            is_open = True
        elif outcomes == ["pass"] * 3:
            is_open = False
    frame = bench(*made)

    assert stands(*made) is is_open
    assert complete_passes(frame, records(**SHOP)["engines"]).height == tests.count(["pass"] * 3)
