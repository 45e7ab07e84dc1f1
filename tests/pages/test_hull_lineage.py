"""The fills behind the last engine hours, by hand: which count, and where they stand."""

from datetime import UTC, datetime, timedelta

import polars as pl

from ringland.pages.week.hull_lineage import recent_fills
from ringland.settings.assumptions import load_assumptions
from tests.history.record_rows import records

SETTINGS = load_assumptions()
NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)


def exposure(hours: list[tuple[int, float]]) -> pl.DataFrame:
    """Sessions of one hull as (day, engine hours)."""
    at, rows = 0.0, []
    for day, run_h in hours:
        rows.append(("A", NOON + timedelta(days=day), at, at + run_h))
        at += run_h
    return pl.DataFrame(
        rows, schema=["hull_id", "started_at", "engine_h_start", "engine_h_stop"], orient="row"
    )


def fills(*days: int) -> pl.DataFrame:
    return records(
        fills=[
            {
                "hull_id": "A",
                "filled_at": NOON + timedelta(days=day, hours=-1),
                "volume_l": 40.0,
                "source": "dock",
                "source_dock_id": "north",
            }
            for day in days
        ]
    )["fills"].sort("filled_at")


def days_of(found: pl.DataFrame) -> list[int]:
    return [(at - NOON).days + 1 for at in found["filled_at"]]


def test_fills_within_the_look_back_count_and_the_one_before_it() -> None:
    # 25 h back from the end of day 9 reaches into the session of day 4 (10 + 10 + 5 of 10 h).
    ran = exposure([(0, 10.0), (4, 10.0), (7, 10.0), (9, 10.0)])

    assert days_of(recent_fills(fills(0, 2, 4, 7, 9), ran, SETTINGS)) == [4, 7, 9]
    assert days_of(recent_fills(fills(0, 2, 7, 9), ran, SETTINGS)) == [2, 7, 9]


def test_a_session_that_ends_where_the_look_back_begins_does_not_count() -> None:
    ran = exposure([(0, 10.0), (4, 15.0), (9, 10.0)])

    assert days_of(recent_fills(fills(-2, 0, 3, 9), ran, SETTINGS)) == [3, 9]


def test_lineage_names_file_and_row_and_says_null_where_nobody_handed_them_on() -> None:
    ran = exposure([(0, 10.0)])
    bare = recent_fills(fills(0), ran, SETTINGS)
    marked = recent_fills(
        fills(0).with_columns(source_file=pl.lit("july.csv"), source_row=pl.lit(17)), ran, SETTINGS
    )

    assert bare.select("source_file", "source_row").row(0) == (None, None)
    assert marked.select("source_file", "source_row").row(0) == ("july.csv", 17)


def test_a_hull_without_a_rental_has_no_fill_behind_its_hours() -> None:
    assert recent_fills(fills(0, 1), exposure([]).cast({"hull_id": pl.String}), SETTINGS).is_empty()
