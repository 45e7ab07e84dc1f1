"""Inspection data: against the exact current-status answer, Kaplan-Meier, and by hand."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.survival.lives.inspection_lives import inspected_once, inspection_life_table
from ringland.survival.lives.life_data import LifeDataError, bounded_lives, ended_lives
from ringland.survival.lives.life_tables import kaplan_meier
from ringland.survival.lives.parametric_life import fit_life

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
VALUES = json.loads((REFERENCE / "checks.json").read_text())["B8"]["values"]
WHEELS = pl.read_csv(REFERENCE / "turbine_wheel_inspections.csv")


def wheels_as_lives():
    hours = WHEELS["hours"].to_numpy().astype(float)
    failed = WHEELS["failed"].to_numpy()
    count = np.concatenate([WHEELS["inspected"].to_numpy() - failed, failed])
    lower = np.concatenate([hours, np.zeros_like(hours)])
    upper = np.concatenate([np.full_like(hours, np.inf), hours])
    return bounded_lives(lower[count > 0], upper[count > 0], count=count[count > 0])


def test_wheels_inspected_once_agree_with_the_exact_answer():
    """Check B8: Nelson (1982) chapter 9, isotonic share failed."""
    got = inspected_once(WHEELS["hours"], WHEELS["inspected"], WHEELS["failed"])
    expected = VALUES["pava_NPMLE_F_at_4,10,..,46"]
    assert got.share_failed == pytest.approx(expected, rel=1e-10)  # printed to 12 digits


def test_general_estimate_agrees_with_the_exact_one_and_with_r():
    """Check B8, two routes; R's EM is only within 5e-3 of the exact answer."""
    table = inspection_life_table(wheels_as_lives())
    bounds = table.survival_bounds(WHEELS["hours"])
    exact = 1 - np.array(VALUES["pava_NPMLE_F_at_4,10,..,46"])
    for column in (0, 1):
        # the gap is closed to 1e-8 of the likelihood, so the chances to about its root
        assert bounds[:, column] == pytest.approx(exact, abs=1e-6)
    levels = dict(zip(VALUES["turnbull_time"], VALUES["turnbull_surv"], strict=True))
    for hours, survival in zip(WHEELS["hours"], exact, strict=True):
        assert survival == pytest.approx(levels[float(hours)], abs=5e-3)


def test_six_lives_by_hand():
    """Two groups share nothing: (0, 10] and (5, 15] meet in (5, 10]; 20 is exact; rest run."""
    lives = bounded_lives([0, 5, 20, 20, 12, 25], [10, 15, 20, 20, np.inf, np.inf])
    table = inspection_life_table(lives)
    # (5, 10] holds the two bounded ones: 2/6.  Then [20] and beyond 25: of the four left, the
    # life running at 12 is spread over both; two at 20, one beyond: 2/3 and 1/3 of 4/6.
    assert table.lower.tolist() == [5, 20, 25]
    assert table.upper.tolist() == [10, 20, np.inf]
    assert table.chance == pytest.approx([2 / 6, 4 / 9, 2 / 9], abs=1e-7)
    assert table.survival_bounds([7, 10, 20, 21]) == pytest.approx(
        np.array([[4 / 6, 1], [4 / 6, 4 / 6], [2 / 9, 2 / 9], [2 / 9, 2 / 9]]), abs=1e-7
    )
    assert table.n_failures == 4


def test_interval_ending_where_another_opens_does_not_meet_it():
    """(0, 10] and (10, 20] are half open: no life can be in both."""
    table = inspection_life_table(bounded_lives([0, 10], [10, 20]))
    assert table.chance == pytest.approx([0.5, 0.5])
    # an exact failure at 10 lies in (0, 10], not in (10, 20]
    table = inspection_life_table(bounded_lives([0, 10, 10], [10, 10, 20]))
    assert table.lower.tolist() == [10, 10]
    assert table.upper.tolist() == [10, 20]
    assert table.chance == pytest.approx([2 / 3, 1 / 3])


@st.composite
def exact_fleets(draw):
    size = draw(st.integers(3, 20))
    exit_ = np.array(draw(st.lists(st.integers(1, 30), min_size=size, max_size=size)), float)
    failed = np.array(draw(st.lists(st.booleans(), min_size=size, max_size=size).filter(any)))
    return exit_, failed


@settings(derandomize=True, deadline=None, max_examples=40)
@given(exact_fleets())
def test_failures_seen_to_the_hour_give_kaplan_meier(fleet):
    exit_, failed = fleet
    table = inspection_life_table(ended_lives(exit_, failed))
    expected = kaplan_meier(exit_, failed)
    is_past = expected.time <= exit_[failed].max()
    bounds = table.survival_bounds(expected.time[is_past])
    assert bounds[:, 0] == pytest.approx(expected.estimate[is_past], abs=1e-6)
    assert bounds[:, 1] == pytest.approx(expected.estimate[is_past], abs=1e-6)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_delayed_entry_gives_kaplan_meier_too(seed):
    rng = np.random.default_rng(seed)
    entry = np.round(rng.uniform(0, 30, 60))
    entry[:15] = 0.0
    exit_ = entry + np.round(1 + 60 * rng.weibull(1.5, 60))
    failed = rng.random(60) < 0.6
    expected = kaplan_meier(exit_, failed, entry=entry)
    assert expected.warnings == ()
    table = inspection_life_table(ended_lives(exit_, failed, entry=entry))
    bounds = table.survival_bounds(expected.time[expected.time <= exit_[failed].max()])
    assert bounds[:, 0] == pytest.approx(expected.estimate[: len(bounds)], abs=1e-5)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.integers(0, 10_000))
def test_no_other_chances_are_likelier_and_order_does_not_matter(seed):
    rng = np.random.default_rng(seed)
    life = 100 * rng.weibull(1.6, 25)
    last_good = np.floor(life / 20) * 20
    lower = np.where(last_good > 80, 80.0, last_good)
    upper = np.where(last_good > 80, np.inf, last_good + 20 + 10 * rng.integers(0, 2, 25))
    count = rng.integers(1, 4, 25)
    lives = bounded_lives(lower, upper, count=count)
    if lives.n_failures == 0:
        return
    table = inspection_life_table(lives)
    assert table.chance.sum() == pytest.approx(1.0, abs=1e-12)
    order = rng.permutation(25)
    again = inspection_life_table(bounded_lives(lower[order], upper[order], count=count[order]))
    assert again.log_likelihood == pytest.approx(table.log_likelihood, rel=1e-7)
    single = inspection_life_table(bounded_lives(np.repeat(lower, count), np.repeat(upper, count)))
    assert single.log_likelihood == pytest.approx(table.log_likelihood, rel=1e-7)
    # any life distribution is one of the candidates it was chosen from
    if np.unique(upper[np.isfinite(upper)]).size > 2:
        assert table.log_likelihood >= fit_life(lives).log_likelihood - 1e-6


@pytest.mark.parametrize(
    ("age", "inspected", "failed"), [(0, 3, 1), (5, 0, 0), (5, 2, 3), (np.nan, 2, 1)]
)
def test_impossible_inspection_row_is_named(age, inspected, failed):
    with pytest.raises(LifeDataError, match="row 2"):
        inspected_once([4, age], [10, inspected], [2, failed])
