"""What a test's reading does to the chances ahead, against fates drawn by the thousand."""

from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest

from ringland.decision.actions.action_terms import FAILED, FOUND_OUT
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.action_options import option_table
from ringland.decision.value.last_readings import (
    READ_AGO,
    READ_BAD,
    LastReadings,
    with_last_reading,
)
from ringland.decision.value.last_tests import BAD_READINGS
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES, constant_hazard, running_hulls

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)
TEST = CATALOGUE.actions["leak_down_check"].test
PER_D = 0.004


def read(ago_d: float, *, bad: bool) -> LastReadings:
    sets = pl.DataFrame({READ_AGO: [ago_d], READ_BAD: [bad]})
    found = LastReadings.of(sets, CATALOGUE)
    assert found is not None
    return found


def chance(days: float) -> np.ndarray:
    return np.array([[-np.expm1(-PER_D * days)]])


@pytest.mark.parametrize("bad", [False, True])
@pytest.mark.parametrize("days", [10.0, 30.0, 120.0])
def test_a_reading_moves_the_chance_as_it_does_among_many_fates(days: float, bad: bool) -> None:
    """Source: two million fates drawn, a reading given to each, those with that one counted."""
    assert TEST is not None
    rng = np.random.default_rng(7)
    fails_at = rng.exponential(1 / PER_D, 2_000_000)
    near = fails_at < TEST.reach_d.value
    shown = np.where(near, TEST.sensitivity.value, 1 - TEST.specificity.value)
    seen = (rng.random(fails_at.size) < shown) == bad

    told = read(0.0, bad=bad).told(chance(days), days, chance(30.0), 30.0)

    assert told[0, 0] == pytest.approx((fails_at[seen] < days).mean(), rel=0.02)


def test_a_wet_test_that_bears_out_a_bad_reading_counts_as_it_does_among_many_fates() -> None:
    """Source: two million fates drawn, two readings given to each, those with both bad counted.

    A fault found in use: the second bad reading was taken for the first, so that the plan asked
    for a wet test week after week on a set that it would have renewed after one."""
    leak, wet = TEST, CATALOGUE.actions["find_the_leak"].test
    assert leak is not None
    assert wet is not None
    rng = np.random.default_rng(8)
    fails_at = rng.exponential(1 / PER_D, 2_000_000)
    near = fails_at < leak.reach_d.value
    both = np.ones(fails_at.size, dtype=bool)
    for test in (leak, wet):
        shown = np.where(near, test.sensitivity.value, 1 - test.specificity.value)
        both &= rng.random(fails_at.size) < shown
    sets = pl.DataFrame({READ_AGO: [0.0], READ_BAD: [True], BAD_READINGS: [2]})

    read_twice = LastReadings.of(sets, CATALOGUE)

    assert read_twice is not None
    told = read_twice.told(chance(30.0), 30.0, chance(30.0), 30.0)
    assert told[0, 0] == pytest.approx((fails_at[both] < 30.0).mean(), rel=0.02)


def test_a_set_that_read_badly_twice_is_better_renewed_than_looked_at_again() -> None:
    hulls = running_hulls(2).with_columns(
        pl.Series(READ_AGO, [1.0, 1.0]), pl.Series(READ_BAD, [True, True]),
        pl.Series(BAD_READINGS, [1, 2]), pl.Series(FAILED, [["leak_down"]] * 2),
        pl.Series(FOUND_OUT, [[]] * 2, dtype=pl.List(pl.String)), use_h_d=pl.lit(1.0),
    )  # fmt: skip

    table = option_table(
        hulls, constant_hazard(0.003), catalogue=CATALOGUE, prices=PRICES, horizon_d=100.0,
        assumptions=SETTINGS,
    )  # fmt: skip

    looks = table.filter(pl.col("own_option").is_in(["find_the_leak", "planned_top_end"]))
    best = looks.group_by("hull_id", maintain_order=True).first().sort("hull_id")
    assert best["own_option"].to_list() == ["find_the_leak", "planned_top_end"]


def test_a_reading_older_than_its_reach_says_nothing() -> None:
    old = read(31.0, bad=True).told(chance(60.0), 60.0, chance(30.0), 30.0)

    assert old == pytest.approx(chance(60.0))


def test_a_draw_in_which_a_set_is_sure_to_fail_stays_sure() -> None:
    sure = np.array([[1.0]])

    for bad in (True, False):
        assert read(3.0, bad=bad).told(sure, 60.0, sure, 30.0) == pytest.approx(sure)


def test_the_last_reading_is_the_failure_that_stands_or_else_the_pass() -> None:
    as_of = datetime(2026, 6, 1, tzinfo=UTC)
    running = pl.DataFrame(
        {"engine_id": ["E1", "E2", "E3"], "tested_d_ago": [None, 9.0, None]},
        schema_overrides={"tested_d_ago": pl.Float64},
    )
    standing = pl.DataFrame(
        {
            "engine_id": ["E1", "E3"],
            "measure": ["leak_down", "oil_iron"],
            "failed_at": [datetime(2026, 5, 28, tzinfo=UTC)] * 2,
            "released_by": pl.Series([None, None], dtype=pl.String),
        }
    )

    found = with_last_reading(running, standing, as_of)

    assert found.select(READ_AGO, READ_BAD).rows() == [(4.0, True), (9.0, False), (None, None)]


def test_what_a_bad_reading_says_is_in_the_price_of_leaving_the_set_as_it_is() -> None:
    """A check was bought for what its bad reading would lead to, and when it read badly the
    plan priced the hull as if it had never been tested: it was tested again, never renewed."""
    hulls = running_hulls(3).with_columns(
        pl.Series(READ_AGO, [1.0, 1.0, None], dtype=pl.Float64),
        pl.Series(READ_BAD, [True, False, None]),
        use_h_d=pl.lit(1.0),
    )

    table = option_table(
        hulls, constant_hazard(0.002), catalogue=CATALOGUE, prices=PRICES, horizon_d=100.0,
        assumptions=SETTINGS,
    )  # fmt: skip

    saved = dict(
        table.filter(pl.col("option") == "planned_top_end").select("hull_id", "saving").rows()
    )
    assert saved["H000"] > saved["H002"] + 1000 > saved["H001"] + 1000
