"""Power-law trend of repairs against the NIST and military handbooks, and known truth."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import chi2

from ringland.survival.lives.life_data import LifeDataError
from ringland.survival.repairs.power_law_trend import (
    cramer_von_mises_test,
    fleet_trend,
    laplace_test,
    military_handbook_test,
    power_law_trend,
)

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
CHECKS = json.loads((REFERENCE / "checks.json").read_text())
NIST = pl.read_csv(REFERENCE / "nist_powerlaw.csv")["hours"].to_numpy()
CROW = pl.read_csv(REFERENCE / "milhdbk189_appendixC.csv")["hours"].to_numpy()
CLOSED_FORM = 1e-6  # stated with the reference


def test_nist_case_study_agrees():
    """Check E3: NIST e-Handbook 8.4.5.2, record ended at 1,500 hours, 80 % limits."""
    values = CHECKS["E3"]["values"]
    got = power_law_trend(NIST, 1500.0, confidence=0.80)
    assert got.unbiased_shape == pytest.approx(values["modified_mle.b"], rel=CLOSED_FORM)
    assert got.unbiased_rate == pytest.approx(values["modified_mle.a"], rel=CLOSED_FORM)
    assert got.unbiased_mtbf_at_end == pytest.approx(
        values["modified_mle.MTBF_at_T"], rel=CLOSED_FORM
    )
    limits = [got.mtbf_limits.low, got.mtbf_limits.high]
    assert limits == pytest.approx([values["MTBF80_lo"], values["MTBF80_hi"]], rel=CLOSED_FORM)
    assert got.shape == pytest.approx(values["mle.b"], rel=CLOSED_FORM)
    assert got.rate == pytest.approx(values["mle.a"], rel=CLOSED_FORM)
    assert got.log_likelihood == pytest.approx(values["mle.loglik"], rel=CLOSED_FORM)
    wide = power_law_trend(NIST, 1500.0, confidence=0.95).shape_limits
    assert [wide.low, wide.high] == pytest.approx(values["mle.b_chi2_95"], rel=CLOSED_FORM)


def test_nist_trend_tests_agree():
    """Check E3: Laplace and MIL-HDBK chi-square."""
    values = CHECKS["E3"]["values"]
    laplace, handbook = laplace_test(NIST, 1500.0), military_handbook_test(NIST, 1500.0)
    assert laplace.statistic == pytest.approx(values["laplace_U"], rel=CLOSED_FORM)
    assert handbook.statistic == pytest.approx(values["mil_hdbk_chi2_stat"], rel=CLOSED_FORM)
    assert (laplace.direction, handbook.direction) == ("improving", "improving")
    assert laplace.p_value == pytest.approx(0.18452, rel=1e-4)  # 2 x normal tail of 1.32695
    assert 0.01 < handbook.p_value < 0.05


def test_military_handbook_appendix_agrees():
    """Check E4: MIL-HDBK-189 (1981) Appendix C, 27 failures in 300 hours."""
    values = CHECKS["E4"]["values"]
    got = power_law_trend(CROW, 300.0)
    assert got.shape == pytest.approx(values["mle.beta"], rel=CLOSED_FORM)
    assert got.rate == pytest.approx(values["mle.lambda"], rel=CLOSED_FORM)
    assert got.unbiased_shape == pytest.approx(values["unbiased.beta"], rel=CLOSED_FORM)
    assert got.intensity_at_end == pytest.approx(values["intensity_at_T"], rel=CLOSED_FORM)
    assert got.mtbf_at_end == pytest.approx(values["MTBF_at_T"], rel=CLOSED_FORM)
    fit = cramer_von_mises_test(CROW, 300.0, np.random.default_rng(1))
    assert fit.statistic == pytest.approx(values["CvM"], rel=CLOSED_FORM)
    assert fit.p_value > 0.10  # the handbook accepts the fit at its 10 % level (from memory)


def test_bad_fit_is_told():
    """Two bursts of repairs are no power law."""
    bursts = np.concatenate([np.linspace(90, 100, 12), np.linspace(880, 900, 12)])
    assert cramer_von_mises_test(bursts, 1000.0, np.random.default_rng(1)).p_value < 0.01


def test_one_hull_and_a_fleet_of_one_agree():
    """Two routes: closed form against the root search, also for identical hulls pooled."""
    one, fleet = power_law_trend(CROW, 300.0), fleet_trend([0.0], [300.0], CROW)
    assert fleet.shape.value == pytest.approx(one.shape, rel=1e-10)
    assert fleet.rate == pytest.approx(one.rate, rel=1e-9)
    assert fleet.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-10)
    twice = fleet_trend([0.0, 0.0], [300.0, 300.0], np.concatenate([CROW, CROW]))
    assert twice.shape.value == pytest.approx(one.shape, rel=1e-10)
    assert twice.rate == pytest.approx(one.rate, rel=1e-9)


def test_fleet_with_late_starts_recovers_its_shape():
    """200 hulls with shape 1.6: the 99.9 % limits hold it, for five seeds."""
    for seed in range(5):
        rng = np.random.default_rng(seed)
        start, end = rng.uniform(0, 300, 200), rng.uniform(400, 1000, 200)
        a, b = 4e-5, 1.6
        number = rng.poisson(a * (end**b - start**b))
        low, high = np.repeat(start**b, number), np.repeat(end**b, number)
        ages = (low + rng.random(low.size) * (high - low)) ** (1 / b)
        got = fleet_trend(start, end, ages, confidence=0.999)
        assert got.shape.low < b < got.shape.high


def test_record_ended_by_its_last_failure_by_hand():
    """Crow (1974): n over, and n - 2 over, the sum of log(last / age); 2n - 2 for limits."""
    ages = [10.0, 40.0, 90.0, 100.0]
    total = np.log(10) + np.log(2.5) + np.log(100 / 90)
    got = power_law_trend(ages)
    assert got.shape == pytest.approx(4 / total)
    assert got.unbiased_shape == pytest.approx(2 / total)
    assert got.shape_limits.low == pytest.approx(4 / total * chi2.ppf(0.025, 6) / 8)
    assert got.end == 100


def test_exact_limits_at_the_last_failure_hold_the_truth_as_often_as_they_say():
    """Six failures of shape 0.7, 90 % limits, 200 records (binomial 99.9 % range)."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(200):
        ages = np.cumsum(rng.exponential(size=6)) ** (1 / 0.7)  # rate a = 1
        truth = 1 / (0.7 * ages[-1] ** (0.7 - 1))
        limits = power_law_trend(ages, confidence=0.90).mtbf_limits
        held += limits.low <= truth <= limits.high
    assert 165 <= held <= 193


def test_no_trend_raises_few_alarms():
    """Constant rate: both 5 % tests reject about 5 % of 400 records (99.9 % range)."""
    rng = np.random.default_rng(3)
    counts = np.zeros(2)
    for _ in range(400):
        ages = rng.uniform(0, 100, 15)
        counts += [laplace_test(ages, 100).p_value < 0.05,
                   military_handbook_test(ages, 100).p_value < 0.05]  # fmt: skip
    assert np.all((counts >= 7) & (counts <= 36))


@pytest.mark.parametrize("ages", [[5.0], [], [5.0, 11.0], [0.0, 5.0], [10.0, 10.0]])
def test_record_without_a_trend_is_refused(ages):
    with pytest.raises(LifeDataError):
        power_law_trend(ages, 10.0)
