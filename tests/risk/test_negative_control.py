"""The negative control in worlds with and without a hidden cause."""

import numpy as np
import polars as pl

from ringland.risk.negative_control import negative_control
from ringland.settings.assumptions import load_assumptions
from tests.risk.made_spells import made_spells, weibull_truth

SETTINGS = load_assumptions().changed(survival__draws=500)


def control(spells):  # type: ignore[no-untyped-def]
    return negative_control(spells, SETTINGS, np.random.default_rng(1))


def test_water_failures_that_know_nothing_of_octane_pass() -> None:
    spells = made_spells(weibull_truth(shortfall_effect=0.0), mode="water", n_sets=150)

    result = control(spells)

    assert result.passes is True
    assert result.low < 1 < result.high  # type: ignore[operator]
    assert "holds no effect" in result.sentence


def test_in_most_of_twenty_honest_worlds_the_range_holds_no_effect() -> None:
    # 95 % ranges: twenty honest worlds give at most four misses with chance 0.997.
    passed = [
        control(
            made_spells(weibull_truth(shortfall_effect=0.0), mode="water", n_sets=60, seed=seed)
        ).passes
        for seed in range(20)
    ]

    assert passed.count(False) <= 4


def test_a_hidden_cause_behind_both_is_found_out() -> None:
    result = control(made_spells(weibull_truth(0.45), mode="foreign_object", n_sets=150))

    assert result.passes is False
    assert result.low > 1  # type: ignore[operator]
    assert result.sentence.startswith("Warning")


def test_ring_land_failures_do_not_count() -> None:
    assert control(made_spells(weibull_truth(0.45))).n_failures == 0


def test_without_failures_the_record_cannot_tell() -> None:
    result = control(made_spells(lambda frame: np.zeros(frame.height), n_sets=4))

    assert result.passes is None
    assert "found in" in result.sentence


def test_a_handful_of_failures_rules_nothing_out() -> None:
    """Seen on the demo: two water failures, a range of 0.5 to 1.8, called as it should be."""
    spells = made_spells(weibull_truth(shortfall_effect=0.0), mode="water", n_sets=12, seed=3)

    result = control(spells)

    assert result.passes is None
    assert result.power is not None
    assert result.power < 0.5
    assert result.sentence.startswith("Cannot tell")


def test_a_range_that_holds_the_suspected_effect_too_rules_nothing_out() -> None:
    spells = made_spells(weibull_truth(shortfall_effect=0.0), mode="water", n_sets=150)
    larger = negative_control(spells, SETTINGS, np.random.default_rng(1), suspected=2.5)
    smaller = negative_control(spells, SETTINGS, np.random.default_rng(1), suspected=1.1)

    assert larger.power is not None
    assert smaller.power is not None
    assert larger.power > smaller.power  # a larger effect is found more often
    assert smaller.passes is True  # held against the least effect it must be able to find


def test_a_shortfall_that_never_varies_cannot_be_judged() -> None:
    spells = made_spells(weibull_truth(), mode="water").with_columns(shortfall_25h_on=pl.lit(2.0))

    result = control(spells)

    assert (result.passes, result.hazard_ratio) == (None, None)
    assert "does not vary" in result.sentence
