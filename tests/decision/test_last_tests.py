"""What a failed test asks for next: what tells more, and after a build the same test again."""

from datetime import UTC, datetime, timedelta

import polars as pl

from ringland.contracts.decision_tables import HullJobs
from ringland.contracts.record_tables import StandingFailures
from ringland.decision.actions.action_terms import FAILED, TESTED
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.jobs.bench_lines import bench_warnings
from ringland.decision.jobs.new_jobs import next_look
from ringland.decision.value.last_readings import READ_BAD, with_last_reading
from ringland.decision.value.last_tests import (
    BAD_READINGS,
    BUILT_AT,
    with_bad_readings,
    with_failed_tests,
    with_last_build,
)
from ringland.settings.assumptions import load_assumptions
from tests.decision.small_fleet import frame

AS_OF = datetime(2026, 8, 3, tzinfo=UTC)
CATALOGUE = default_catalogue(load_assumptions())
STANDING = frame(
    StandingFailures,
    [{"engine_id": engine, "measure": "leak_down", "failed_at": AS_OF - timedelta(days=20),
      "reason": "too much"} for engine in ("rebuilt", "as it was")],
)  # fmt: skip
RUNNING = pl.DataFrame({"hull_id": ["A", "B"], "engine_id": ["rebuilt", "as it was"]})
RECORDS = {
    "rebuilds": pl.DataFrame(
        {"engine_id": ["rebuilt"], "rebuilt_at": [AS_OF - timedelta(days=9)]}
    ),
    "piston_sets": pl.DataFrame(
        {"engine_id": ["rebuilt", "as it was"],
         "fitted_at": [AS_OF - timedelta(days=900), AS_OF - timedelta(days=900)]}
    ),
}  # fmt: skip


def told() -> pl.DataFrame:
    built = with_last_build(RUNNING, RECORDS, AS_OF)
    none = HullJobs.create_empty()
    return with_failed_tests(built, bench_warnings(STANDING), STANDING, none)


def test_what_failed_before_a_build_is_read_again_and_else_something_tells_more() -> None:
    """A fault found in use: after a new set, only another one or weeks ashore were left."""
    failed = dict(told().select("hull_id", FAILED).iter_rows())

    assert failed == {"A": [], "B": ["leak_down"]}
    assert next_look(failed["A"], ["find_the_leak"], CATALOGUE) == "leak_down_check"
    assert next_look(failed["B"], [], CATALOGUE) == "find_the_leak"


def test_a_bad_reading_of_the_set_before_says_nothing_of_the_new_one() -> None:
    sets = told().with_columns(pl.lit(None, dtype=pl.Float64).alias(TESTED))

    read = with_last_reading(sets, STANDING, AS_OF)

    assert dict(read.select("hull_id", READ_BAD).iter_rows()) == {"A": None, "B": True}
    assert read.filter(hull_id="A")[BUILT_AT].item() == AS_OF - timedelta(days=9)


def test_bad_readings_are_counted_by_day_since_the_last_pass_and_build_within_their_reach() -> None:
    def read(engine: str, days_ago: float, verdict: str = "fail") -> dict[str, object]:
        at = AS_OF - timedelta(days=days_ago)
        return {"engine_id": engine, "measure": "leak_down", "inspected_at": at, "verdict": verdict}

    bench = pl.DataFrame(
        [
            read("as it was", 50), read("as it was", 9), read("as it was", 9), read("as it was", 2),
            read("rebuilt", 12), read("rebuilt", 4),
            read("passed", 8), read("passed", 3),
        ]
    )  # fmt: skip
    passes = pl.DataFrame([read("passed", 5, "pass")]).drop("verdict")
    hulls = pl.DataFrame({"hull_id": list("ABCD"),
                          "engine_id": ["rebuilt", "as it was", "passed", "new"]})  # fmt: skip
    built = with_last_build(hulls, RECORDS, AS_OF)

    found = with_bad_readings(built, bench, passes, load_assumptions())

    assert found[BAD_READINGS].to_list() == [1, 2, 1, 0]
