"""Comebacks by mechanic, machinist and part batch."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest
from scipy.stats import poisson

from ringland.rebuilds.comebacks import comebacks
from ringland.rebuilds.rebuild_lines import comeback_rows
from ringland.settings.assumptions import load_assumptions

BUILT = datetime(2025, 5, 1, tzinfo=UTC)
SETTINGS = load_assumptions()


def table(*rows: tuple[str, str | None, float, str]) -> pl.DataFrame:
    """Rows of engine, mechanic, hours run and state."""
    at = [BUILT + timedelta(days=n) for n in range(len(rows))]
    builds = pl.DataFrame(
        {
            "engine_id": [row[0] for row in rows],
            "rebuilt_at": at,
            "piston_set_id": [f"P{n}" for n in range(len(rows))],
            "entry_h": [0.0] * len(rows),
            "exit_h": [row[2] for row in rows],
            "state": [row[3] for row in rows],
        }
    )
    rebuilds = pl.DataFrame(
        {
            "engine_id": [row[0] for row in rows],
            "rebuilt_at": at,
            "built_by": [row[1] for row in rows],
            "machined_by": [None] * len(rows),
        },
        schema_overrides={"machined_by": pl.String, "built_by": pl.String},
    )
    sets = pl.DataFrame({"piston_set_id": builds["piston_set_id"], "batch": ["L1"] * len(rows)})
    return comebacks(builds, rebuilds, sets, SETTINGS)


def test_only_failures_in_the_first_hours_are_comebacks_and_only_these_hours_count() -> None:
    got = table(
        ("A", "R. Vane", 40.0, "failed"),
        ("B", "R. Vane", 300.0, "failed"),
        ("C", "T. Ollander", 60.0, "running"),
    ).filter(pl.col("kind") == "mechanic")
    vane, ollander = got.iter_rows(named=True)
    assert (vane["builds"], vane["comebacks"], vane["engine_h"]) == (2, 1, 140.0)
    assert (ollander["builds"], ollander["comebacks"], ollander["engine_h"]) == (1, 0, 60.0)


def test_the_range_of_a_rate_is_the_exact_one() -> None:
    got = table(("A", "R. Vane", 50.0, "failed")).filter(pl.col("kind") == "mechanic")
    row = got.row(0, named=True)
    confidence = SETTINGS.number("survival.confidence")
    # the limits are where one failure or fewer, and one or more, have the tail's chance
    tail = (1 - confidence) / 2
    assert poisson.cdf(1, row["high"] / 1000 * 50) == pytest.approx(tail, rel=1e-6)
    assert poisson.sf(0, row["low"] / 1000 * 50) == pytest.approx(tail, rel=1e-6)


def test_one_comeback_of_few_builds_speaks_against_nobody() -> None:
    got = table(
        ("A", "R. Vane", 50.0, "failed"),
        ("B", "R. Vane", 100.0, "running"),
        ("C", "T. Ollander", 100.0, "running"),
        ("D", "T. Ollander", 100.0, "running"),
    ).filter(pl.col("kind") == "mechanic")
    for row in got.iter_rows(named=True):
        assert row["ratio_low"] <= 1 <= row["ratio_high"], row


def test_a_name_with_nobody_beside_it_is_compared_with_nobody() -> None:
    got = table(("A", "R. Vane", 50.0, "failed"), ("B", None, 50.0, "failed"))
    batch = got.filter(pl.col("kind") == "part batch").row(0, named=True)
    assert batch["builds"] == 2
    assert batch["ratio"] is None
    assert got.filter(pl.col("kind") == "mechanic").height == 1


def test_many_names_widen_the_range_of_each() -> None:
    two = table(("A", "M0", 50.0, "failed"), ("B", "M1", 100.0, "failed"))
    four = table(
        ("A", "M0", 50.0, "failed"),
        ("B", "M1", 100.0, "failed"),
        ("C", "M2", 1e-6, "running"),
        ("D", "M3", 1e-6, "running"),
    )
    narrow, wide = (rows.row(0, named=True) for rows in (two, four))
    assert wide["ratio_low"] < narrow["ratio_low"]


def test_against_a_rest_that_had_none_only_a_least_is_said() -> None:
    """The page read 'no upper end times (0.01 to no upper end)'."""
    got = table(("A", "R. Vane", 40.0, "failed"), ("B", "T. Ollander", 90.0, "running"))
    rows = {row[1]: row[-1] for row in comeback_rows(got) if row[0] == "mechanic"}
    assert rows["R. Vane"].startswith("the rest had none; at least 0.")
    assert rows["T. Ollander"].startswith("0.00 times (0.00 to ")
