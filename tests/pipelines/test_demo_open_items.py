"""On the demo week: what failed and was not answered is seen, and keeps its hull off the water."""

import polars as pl
import pytest

from pipelines.weeks import as_of_week
from ringland.history.engine_history import installed_engines
from tests.pipelines.demo_run import DEMO_WEEK, DemoRun, the_week, week_table

AS_OF = as_of_week(DEMO_WEEK)


@pytest.fixture(scope="module")
def newest(demo: DemoRun) -> pl.DataFrame:
    """The newest complete test of each measure of the engines in service, with their calls.

    Complete here: no reading of it is missing, and as many as the fullest of its kind has.
    """
    records = the_week(demo.home).value("snapshot").records
    bench = week_table(demo.home, "bench_verdicts")
    kind = ["engine_id", "measure"]
    tests = bench.group_by(*kind, "inspected_at").agg(
        is_read=(pl.col("state") == "measured").all(),
        places=pl.len(),
        is_failed=(pl.col("verdict") == "fail").any(),
    )
    whole = tests.filter("is_read", pl.col("places") == pl.col("places").max().over(kind))
    released = records["releases"].select(
        "engine_id", "released_at", measure="what", released_by="released_by"
    )
    return (
        whole.filter(pl.col("inspected_at") == pl.col("inspected_at").max().over(kind))
        .join(installed_engines(records["installations"], AS_OF), on="engine_id")
        .join(week_table(demo.home, "week_decisions", "calls"), on="hull_id")
        .join(released, on=kind, how="left")
        .filter(pl.col("released_at").is_null() | (pl.col("released_at") >= pl.col("inspected_at")))
    )


def test_no_hull_whose_newest_complete_test_failed_reads_as_rentable(newest: pl.DataFrame) -> None:
    """Ten hulls whose leak-down failed 53 to 335 days before read 'Rent as normal'."""
    failed = newest.filter("is_failed")
    bound = failed.filter(pl.col("released_by").is_null())

    assert set(bound["call"]) == {"keep_off"}
    assert bound.filter(measure="leak_down")["hull_id"].n_unique() == 11
    assert bound["hull_id"].n_unique() == 13
    # one more, its silicon let go by name, may be rented: nothing else stands against it
    let_go = failed.filter(~pl.col("hull_id").is_in(bound["hull_id"].implode()))
    assert let_go.select("hull_id", "measure", "released_by", "call").rows() == [
        ("QM-16", "oil_silicon", "H. Quist", "rent_as_normal")
    ]
