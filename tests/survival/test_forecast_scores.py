"""Scores under censoring against scikit-survival, R by hand, and cases worked by hand."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.survival.forecasts.forecast_ranking import (
    concordance,
    spell_concordance,
    time_dependent_auc,
)
from ringland.survival.forecasts.forecast_scores import brier_score, censoring_weights, score_limits
from ringland.survival.lives.life_data import LifeDataError

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
VALUES = json.loads((REFERENCE / "checks.json").read_text())["G1"]["values"]
COHORT = pl.read_csv(REFERENCE / "gbsg2_cox_predictions.csv")
HORIZONS = [365, 730, 1095, 1460, 1825]
STATED = 1e-6  # the reference prints forecasts to 12 digits and states 1e-6


def forecasts():
    return COHORT.select([f"S{h}" for h in HORIZONS]).to_numpy()


@pytest.mark.parametrize(
    ("convention", "key"),
    [("at failure", "brier_revKM_G(T)"), ("before failure", "brier_revKM_G(T-)")],
)
def test_brier_scores_agree_with_r_in_both_conventions(convention, key):
    """Check G1: GBSG2, Graf et al. (1999); hand code in R, and scikit-survival for G(T)."""
    got = brier_score(COHORT["time"], COHORT["event"], forecasts(), HORIZONS, convention=convention)
    expected = [VALUES[f"R.{key}.t={h}"] for h in HORIZONS]
    assert got.score == pytest.approx(expected, rel=STATED)
    if convention == "at failure":
        expected = [VALUES[f"brier.t={h}"] for h in HORIZONS]
        assert got.score == pytest.approx(expected, rel=STATED)
        assert "as scikit-survival" in got.convention
    assert np.all(got.skill > 0)  # a fitted model beats the base rate on its own data


def test_daily_integrated_brier_agrees_with_the_reference():
    """Check G1: days 365 to 1825; the forecasts follow from the risk by Breslow's baseline."""
    time, failed, risk = (COHORT[c].to_numpy() for c in ("time", "event", "risk"))
    days = np.arange(365, 1826)
    order = np.argsort(-time, kind="stable")
    at_risk = np.cumsum(np.exp(risk[order]))[np.searchsorted(-time[order], -time, side="right") - 1]
    hazard = np.array([(failed / at_risk)[time <= day].sum() for day in days])
    survival = np.exp(-np.outer(np.exp(risk), hazard))
    assert survival[:, 0] == pytest.approx(COHORT["S365"].to_numpy(), rel=1e-9)
    got = brier_score(time, failed, survival, days)
    assert got.integrated == pytest.approx(VALUES["ibs_365_1825_daily"], rel=STATED)


def test_integrated_brier_agrees_with_scikit_survival():
    """Two programs on the five horizons."""
    from sksurv.metrics import integrated_brier_score  # noqa: PLC0415

    record = np.array(
        list(zip(COHORT["event"].cast(bool), COHORT["time"], strict=True)),
        dtype=[("e", bool), ("t", float)],
    )
    got = brier_score(COHORT["time"], COHORT["event"], forecasts(), HORIZONS)
    expected = integrated_brier_score(record, record, forecasts(), HORIZONS)
    assert got.integrated == pytest.approx(expected, rel=1e-12)


def test_ranking_agrees_with_the_reference():
    """Check G1: Harrell's and Uno's concordance, cumulative/dynamic AUC."""
    got = concordance(COHORT["time"], COHORT["event"], COHORT["risk"], until=1825)
    assert got.harrell == pytest.approx(VALUES["harrell_c"], rel=STATED)
    assert got.uno == pytest.approx(VALUES["uno_c_tau=1825"], rel=STATED)
    areas = time_dependent_auc(COHORT["time"], COHORT["event"], COHORT["risk"], HORIZONS)
    expected = [VALUES[f"cum_dyn_auc.t={h}"] for h in HORIZONS]
    assert areas.area == pytest.approx(expected, rel=STATED)


def ranked_lives(seed):
    rng = np.random.default_rng(seed)
    n = rng.integers(12, 60)
    time, failed = rng.integers(1, 12, n).astype(float), rng.random(n) < rng.uniform(0.3, 0.9)
    time[0], failed[0] = 12.0, False  # somebody is followed throughout: every weight is finite
    return time, failed, rng.integers(0, 6, n).astype(float)


@pytest.mark.parametrize("seed", range(30))
def test_ranking_with_ties_agrees_with_scikit_survival(seed):
    """Two programs; tied times, tied risks and leavings, with and without an end."""
    from sksurv import metrics  # noqa: PLC0415

    time, failed, risk = ranked_lives(seed)
    record = np.array(list(zip(failed, time, strict=True)), dtype=[("e", bool), ("t", float)])
    until = None if seed % 2 else 8.0
    got = concordance(time, failed, risk, until=until)
    harrell = metrics.concordance_index_censored(failed, time, risk)
    assert got.harrell == pytest.approx(harrell[0], abs=1e-12)
    assert got.n_pairs == sum(harrell[1:4])
    uno = metrics.concordance_index_ipcw(record, record, risk, tau=until)[0]
    assert got.uno == pytest.approx(uno, abs=1e-10)
    area, mean = metrics.cumulative_dynamic_auc(record, record, risk, [6, 9])
    areas = time_dependent_auc(time, failed, risk, [6, 9])
    assert areas.area == pytest.approx(area, abs=1e-10)
    assert areas.mean == pytest.approx(mean, abs=1e-10)


def test_concordance_over_spells_agrees_with_r():
    """R 4.2.2, survival 3.5-3: 13 pairs in order, 4 not, 2 tied in risk.

    start <- c(0,0,2,0,1,4,3,0,5,0); stop <- c(4,2,6,3,4,7,9,8,9,9)
    failed <- c(1,0,1,0,0,1,0,1,1,0); risk <- c(3,1,4,2,2,3,1,3,5,2)
    concordance(Surv(start, stop, failed) ~ risk, reverse = TRUE)
    """
    start, stop = [0, 0, 2, 0, 1, 4, 3, 0, 5, 0], [4, 2, 6, 3, 4, 7, 9, 8, 9, 9]
    failed, risk = [1, 0, 1, 0, 0, 1, 0, 1, 1, 0], [3, 1, 4, 2, 2, 3, 1, 3, 5, 2]
    got = spell_concordance(start, stop, failed, risk)
    assert got.harrell == pytest.approx(14 / 19, abs=1e-12)
    assert got.n_pairs == 19


@pytest.mark.parametrize("seed", range(5))
def test_splitting_a_life_without_change_of_risk_changes_no_concordance(seed):
    time, failed, risk = ranked_lives(seed)
    cut = time / 2
    start, stop = np.concatenate((0 * time, cut)), np.concatenate((cut, time))
    ends = np.concatenate((np.zeros(time.size, bool), failed))
    got = spell_concordance(start, stop, ends, np.tile(risk, 2))
    assert got.harrell == pytest.approx(concordance(time, failed, risk).harrell, abs=1e-12)


def test_six_lives_by_hand():
    """A failure tied with a leaving at 4; horizon 5."""
    time, failed = [2.0, 3, 4, 4, 6, 7], [1, 0, 1, 0, 1, 0]
    # followed: at 3 one of five leaves; at 4 the failure goes first, then one of three leaves
    at_3, at_4 = 4 / 5, 4 / 5 * 2 / 3
    expected = [1, 0, 1 / at_4, 0, 1 / at_4, 1 / at_4]
    assert censoring_weights(time, failed, [5])[:, 0] == pytest.approx(expected)
    before = censoring_weights(time, failed, [5], convention="before failure")[:, 0]
    assert before == pytest.approx([1, 0, 1 / at_3, 0, 1 / at_4, 1 / at_4])
    forecast = [0.2, 0.5, 0.4, 0.5, 0.9, 0.6]
    got = brier_score(time, failed, forecast, [5])
    by_hand = (0.2**2 + 0.4**2 / at_4 + (0.1**2 + 0.4**2) / at_4) / 6
    assert got.score[0] == pytest.approx(by_hand)


def test_without_censoring_brier_is_the_mean_squared_error():
    rng = np.random.default_rng(1)
    time, forecast = rng.weibull(1.5, 50), rng.random(50)
    got = brier_score(time, np.ones(50, bool), forecast, [0.8])
    assert got.score[0] == pytest.approx(np.mean(((time > 0.8) - forecast) ** 2))
    base = np.mean(time > 0.8)
    assert got.base[0] == pytest.approx(base * (1 - base))


def test_base_rate_forecast_has_no_skill():
    rng = np.random.default_rng(2)
    time, failed = np.ceil(20 * rng.weibull(1.5, 60)), rng.random(60) < 0.6
    base = brier_score(time, failed, np.full(60, 0.5), [12]).base[0]
    assert base > 0
    from ringland.survival.lives.life_tables import kaplan_meier  # noqa: PLC0415

    rate = kaplan_meier(time, failed).at([12]).estimate[0]
    assert brier_score(time, failed, np.full(60, rate), [12]).skill[0] == pytest.approx(0.0)


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.integers(0, 10_000))
def test_weights_add_to_the_number_of_lives(seed):
    """The weights share out the lives that left: they sum to n while anyone is followed."""
    rng = np.random.default_rng(seed)
    time, failed = rng.integers(1, 15, 30).astype(float), rng.random(30) < 0.5
    time[0], failed[0] = 20.0, False
    weights = censoring_weights(time, failed, [5, 10], convention="before failure")
    assert weights.sum(axis=0) == pytest.approx([30.0, 30.0], rel=1e-12)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.integers(0, 10_000))
def test_ranking_turns_about_one_half_when_risk_is_reversed(seed):
    rng = np.random.default_rng(seed)
    time, failed = np.ceil(30 * rng.weibull(1.5, 25)), rng.random(25) < 0.7
    time[:2], failed[:2] = [1.0, 90.0], [True, False]
    risk = rng.normal(size=25)
    one, other = concordance(time, failed, risk), concordance(time, failed, -risk)
    assert one.harrell + other.harrell == pytest.approx(1.0)


def test_limits_from_drawn_hulls_hold_the_score():
    hull = [f"h{k % 40}" for k in range(COHORT.height)]
    time, failed, risk = (COHORT[c].to_numpy() for c in ("time", "event", "risk"))

    def harrell(rows):
        return concordance(time[rows], failed[rows], risk[rows]).harrell

    got = score_limits(harrell, hull, np.random.default_rng(5), n_draws=40)
    assert got.low < got.value < got.high
    assert 0.01 < got.high - got.low < 0.2
    assert "40 draws of 40 clusters; 0 without" in got.method


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: brier_score([1.0, 2], [1, 0], [0.5, 1.5], [1]), "row 2"),
        (lambda: brier_score([1.0, 2], [1, 0], [0.5, 0.5], [2]), "No life was followed beyond 2"),
        (lambda: brier_score([1.0, 2], [1, 0], [[0.5, 0.5]], [1]), "2 lives by 1 horizons"),
        (lambda: brier_score([1.0, 2], [1, 0], [0.5, 0.5], [0]), "positive and rising"),
        (lambda: concordance([1.0, 2], [0, 0], [1, 2]), "No two lives"),
        (lambda: concordance([1.0, 2], [1, 0], [1, np.nan]), "row 2: risk is missing"),
        (lambda: concordance([1.0, 2], [1, 0], [1, 2, 3]), "2 rows"),
        (lambda: concordance([2.0, 2], [1, 1], [1, 2]), "none fails while another runs"),
        (lambda: concordance([3.0, 4], [1, 0], [1, 2], until=2), "before 2"),
        (lambda: spell_concordance([0, 2], [1.0, 2], [1, 0], [1, 2]), "row 2: spell"),
        (lambda: spell_concordance([0, 5], [1.0, 6], [1, 0], [1, 2]), "No two lives"),
        (lambda: time_dependent_auc([3.0, 4], [1, 0], [1, 2], [2]), "No life failed by 2"),
    ],
)
def test_unscorable_record_is_refused(call, says):
    with pytest.raises(LifeDataError, match=says):
        call()
