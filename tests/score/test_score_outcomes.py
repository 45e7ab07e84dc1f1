"""What became of a set: which endings put a past chance to the test."""

from datetime import UTC, datetime

import polars as pl

from ringland.score.score_outcomes import failures_at_stake, sets_taken_out

ENDED = datetime(2026, 7, 1, tzinfo=UTC)


def lives() -> pl.DataFrame:
    rows = [
        ("A", "failed", "ring_land_fracture", ENDED),
        ("B", "failed", "water", ENDED),
        ("C", "removed", None, ENDED),
        ("D", "running", None, None),
        (None, "failed", "ring_wear", ENDED),
        ("F", "withdrawn", None, ENDED),
        ("G", "failed", "ring_wear", ENDED),
    ]
    schema = {
        "hull_id": pl.String,
        "state": pl.String,
        "mode": pl.String,
        "ended_at": pl.Datetime("us", "UTC"),
    }
    return pl.DataFrame(rows, schema=schema, orient="row")


def test_only_ring_failures_in_a_known_hull_come_true() -> None:
    failed = failures_at_stake(lives())

    assert failed["hull_id"].to_list() == ["A", "G"]
    assert failed["failed_at"].to_list() == [ENDED, ENDED]


def test_every_other_ending_ends_the_watch() -> None:
    assert sets_taken_out(lives())["hull_id"].to_list() == ["B", "C", "F"]
