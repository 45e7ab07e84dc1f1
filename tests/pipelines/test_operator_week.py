"""The pure chain of a week and the weekly assets say the same of every hull."""

from datetime import UTC, datetime, timedelta

import polars as pl
from polars.testing import assert_frame_equal

from pipelines.command_line import DEMO_AS_OF
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import OwnFile
from pipelines.shop_week import shop_catalogue, shop_week
from ringland.decision.actions.standing_rules import GivenOut
from ringland.decision.jobs.open_jobs import StandsNow, asked_jobs
from ringland.decision.operator_week import decide_week, operator_week
from ringland.settings.assumptions import load_assumptions
from tests.pipelines.demo_run import DemoRun, week_table


def test_the_chain_a_study_calls_gives_the_chances_and_calls_of_the_week_command(
    demo: DemoRun,
) -> None:
    """Studies once called a planner whose horizon differed from the product's.

    What the week before gave out and asked for is told to both.
    """
    warehouse, settings = warehouse_at(demo.home.database), load_assumptions()
    as_of = datetime.combine(DEMO_AS_OF, datetime.min.time(), UTC)
    records = warehouse.read_records()
    catalogue = shop_catalogue(demo.home, settings)
    hulls = records["hulls"]["hull_id"].to_list()
    own = shop_week(
        OwnFile("week.toml", None),
        as_of.date(),
        catalogue=catalogue,
        hulls=hulls,
        settings=settings,
    )

    week = operator_week(records, as_of, settings, open_sheets=week_table(demo.home, "open_sheets"))
    before = as_of - timedelta(weeks=1)  # the demo's one list given out
    told = [
        week_table(demo.home, "week_decisions", name, f"{before:%Y-%m-%d}").with_columns(
            as_of=pl.lit(before), is_given_out=pl.lit(value=True)
        )
        for name in ("calls", "jobs")
    ]
    decided = decide_week(
        week,
        as_of,
        settings,
        catalogue=catalogue,
        limits=own.limits,
        given=GivenOut.validate(told[0].select("as_of", "hull_id", option="action"), cast=True),
        earlier_jobs=asked_jobs(
            told[1],
            week.record.known,
            week.record.bench,
            StandsNow(week.tables.standing, week.tables.sheets, week.tables.at_hand),
            catalogue=catalogue,
            as_of=as_of,
        ),
    )

    said = week_table(demo.home, "week_tables", "chances")
    called = week_table(demo.home, "week_decisions", "calls")
    order = {"check_row_order": False, "check_dtypes": False, "check_column_order": False}
    assert_frame_equal(week.tables.chances, said, **order)
    assert_frame_equal(decided.calls, called, **order)
