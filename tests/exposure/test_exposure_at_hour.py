"""Trailing means of many sets at one hour: by hand, and against the way by running totals."""

from datetime import datetime, timedelta

import numpy as np
import polars as pl
import pytest

from ringland.exposure.exposure_at_hour import RunningSets
from ringland.exposure.exposure_spells import current_exposure
from ringland.settings.assumptions import load_assumptions
from tests.causes.cause_rows import START, lives, sessions

SETTINGS = load_assumptions()
COVARIATES = ["shortfall_25h_on", "fuel_age_25h_d", "full_throttle_25h", "is_raised_calibration"]


def seen_at(
    exposure: pl.DataFrame, hour: float, until: datetime = START + timedelta(days=9_999)
) -> pl.DataFrame:
    return RunningSets.of(exposure, SETTINGS).at_hour(hour, until)


def test_a_session_counts_by_the_part_of_it_that_lies_in_the_trailing_hours() -> None:
    """Two sessions of 20 h, 1 and 3 octane numbers short, seen at 30 h: 15 h of the first and
    10 h of the second lie in the last 25; (15 x 1 + 10 x 3) / 25 = 1.8."""
    rows = sessions("P", -1.0, hours=2).with_columns(
        set_h_start=pl.Series([0.0, 20.0]),
        set_h_stop=pl.Series([20.0, 40.0]),
        engine_h_start=pl.Series([0.0, 20.0]),
        engine_h_stop=pl.Series([20.0, 40.0]),
        hard_running_h=pl.Series([5.0, 5.0]),
        shortfall_on=pl.Series([1.0, 3.0]),
    )

    seen = seen_at(rows, 30.0)

    assert seen["shortfall_25h_on"].to_list() == pytest.approx([1.8])
    assert seen["full_throttle_25h"].to_list() == pytest.approx([0.25])  # 10 h in 40


@pytest.mark.parametrize("hour", [30.0, 41.7, 55.5])
def test_both_ways_to_the_covariates_agree(hour: float) -> None:
    rng = np.random.default_rng(3)
    names = [f"P{number}" for number in range(12)]
    parts = []
    for name in names:
        length = rng.uniform(0.2, 2.5, 40)
        ends = np.cumsum(length)
        parts.append(
            sessions(name, -1.0, hours=40).with_columns(
                set_h_start=pl.Series(ends - length),
                set_h_stop=pl.Series(ends),
                engine_h_start=pl.Series(ends - length),
                engine_h_stop=pl.Series(ends),
                hard_running_h=pl.Series(length * rng.uniform(0.0, 0.6, 40)),
                shortfall_on=pl.Series(rng.uniform(0.0, 4.0, 40)),
                burn_l=pl.Series(rng.uniform(1.0, 60.0, 40)),
                fuel_age_d=pl.Series([None if x > 30 else x for x in rng.uniform(0.0, 40.0, 40)]),
                calibration=pl.Series(rng.choice(["stock", "raised"], 40)),
            )
        )
    exposure = pl.concat(parts)
    sets = lives(dict.fromkeys(names, hour)).with_columns(
        state=pl.lit("running"), exit_h=pl.lit(hour), fitted_at=pl.lit(START - timedelta(days=1))
    )

    fast = seen_at(exposure, hour)
    slow = current_exposure(exposure, sets, SETTINGS)

    assert fast["piston_set_id"].to_list() == slow["piston_set_id"].to_list()
    for name in COVARIATES:
        assert fast[name].to_list() == pytest.approx(slow[name].to_list(), rel=1e-9), name
        # two orders of summation apart


def test_a_set_that_ran_nothing_in_these_hours_is_left_to_the_other_way() -> None:
    rows = pl.concat([sessions("P", -1.0, hours=40), sessions("Q", -1.0, hours=5)])

    assert seen_at(rows, 38.0)["piston_set_id"].to_list() == ["P"]


def test_a_rental_that_ended_later_is_not_known_yet() -> None:
    rows = sessions("P", -1.0, hours=40)
    ends = rows["ended_at"].sort()

    known = RunningSets.of(rows, SETTINGS).reached(ends[29])

    assert known.rows() == [("P", pytest.approx(rows.sort("ended_at")["set_h_stop"][29]))]
    assert seen_at(rows, 60.0, ends[39])["piston_set_id"].to_list() == ["P"]
    assert seen_at(rows, 60.0, ends[29])["piston_set_id"].to_list() == []
