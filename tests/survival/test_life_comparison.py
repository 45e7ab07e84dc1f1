"""Likelihood-ratio tests between life models: a handbook value, algebra, and error rates."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import chi2

from ringland.survival.lives.life_comparison import groups_test, modes_test, pool, wear_out_test
from ringland.survival.lives.life_data import LifeDataError, ended_lives
from ringland.survival.lives.parametric_life import fit_life

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
VALUES = json.loads((REFERENCE / "checks.json").read_text())["B2"]["values"]
FANS = pl.read_csv(REFERENCE / "genfan.csv")


def test_fans_show_no_wear_out():
    """Check B2: Weibull against exponential, generator fans (Nelson 1982)."""
    test = wear_out_test(ended_lives(FANS["hours"], FANS["status"]))
    # a difference of two log likelihoods near 135, each known to 1e-10
    assert test.statistic == pytest.approx(VALUES["lr_stat_weibull_vs_exp"], rel=1e-5)
    assert test.p_value == pytest.approx(chi2.sf(test.statistic, 1))
    assert test.degrees == 1
    assert test.n_failures == {"all": 12.0}


def test_two_copies_of_one_group_are_one_life():
    lives = ended_lives(FANS["hours"], FANS["status"])
    test = groups_test({"a": lives, "b": lives})
    assert test.statistic == pytest.approx(0.0, abs=1e-8)
    assert test.degrees == 2
    assert pool([lives, lives]).n_failures == 24


def test_different_groups_are_told_apart():
    rng = np.random.default_rng(2)
    cast = ended_lives(200 * rng.weibull(1.5, 40), np.ones(40, bool))
    forged = ended_lives(500 * rng.weibull(3.0, 40), np.ones(40, bool))
    assert groups_test({"cast": cast, "forged": forged}).p_value < 1e-6


def test_pooled_modes_are_the_common_shape_with_constant_proportions():
    """Two routes: the shared-shape likelihood is the pooled one plus the modes' proportions."""
    rng = np.random.default_rng(4)
    early, late = 600 * rng.weibull(0.9, 120), 500 * rng.weibull(3.0, 120)
    end = np.minimum(np.minimum(early, late), 450.0)
    mode = [
        None if e == 450 else ("early" if e == a else "late")
        for e, a in zip(end, early, strict=True)
    ]
    test, fits = modes_test(end, mode)
    pooled = fit_life(ended_lives(end, np.array([m is not None for m in mode])))
    n = np.array(list(test.n_failures.values()))
    proportions = float((n * np.log(n / n.sum())).sum())
    assert test.log_likelihood_smaller == pytest.approx(
        pooled.log_likelihood + proportions, rel=1e-9
    )
    assert test.p_value < 1e-4
    assert fits["early"].shape < 1.3
    assert fits["late"].shape > 2.0


def test_false_alarms_of_the_modes_test_come_at_their_rate():
    """Same shape for both modes: 5 % tests reject about 5 % (binomial 99.9 % range at 200)."""
    rng = np.random.default_rng(9)
    rejected = 0
    for _ in range(200):
        a, b = 400 * rng.weibull(1.8, 60), 500 * rng.weibull(1.8, 60)
        mode = ["a" if x < y else "b" for x, y in zip(a, b, strict=True)]
        rejected += modes_test(np.minimum(a, b), mode)[0].p_value < 0.05
    assert 1 <= rejected <= 21


def test_one_mode_or_one_group_cannot_be_compared():
    lives = ended_lives([1.0, 2.0, 3.0], [1, 1, 0])
    with pytest.raises(LifeDataError, match="two groups"):
        groups_test({"only": lives})
    with pytest.raises(LifeDataError, match="two modes"):
        modes_test([1.0, 2.0], ["a", None])
