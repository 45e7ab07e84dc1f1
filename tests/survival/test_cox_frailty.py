"""Hulls that differ beyond their factors: gamma frailty against R, and against known truth."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_frailty import fit_gamma_frailty
from ringland.survival.cox.cox_maximum import CoxFitError
from ringland.survival.cox.cox_regression import fit_cox

from .simulated_spells import Simulated, weibull_spells

REFERENCE = Path(__file__).parents[1] / "reference_values" / "cox"


def fitted(spells: Simulated) -> CoxFit:
    return fit_cox(
        spells.start,
        spells.stop,
        spells.event,
        spells.x,
        names=spells.names,
        cluster=spells.hull,
    )


def rats(ties: str) -> CoxFit:
    frame = pl.read_csv(REFERENCE / "rats_litter.csv").filter(pl.col("sex") == "f")
    return fit_cox(
        np.zeros(len(frame)),
        frame["time"],
        frame["status"],
        frame.select("rx").to_numpy(),
        names=["rx"],
        cluster=frame["litter"],
        ties=ties,
    )


def test_d10_litter_frailty() -> None:
    """checks.json D10, frailty tolerance 1e-3."""
    values = json.loads((REFERENCE / "checks.json").read_text(encoding="utf-8"))["D10"]["values"]
    found = fit_gamma_frailty(rats("efron"), confidence=0.95)
    np.testing.assert_allclose(found.coef, values["rats_female.gamma_frailty.coef"], rtol=1e-3)
    np.testing.assert_allclose(found.theta, values["rats_female.gamma_frailty.theta"], rtol=1e-3)


@pytest.mark.parametrize(
    ("ties", "coef", "error", "theta", "loglik"),
    [
        ("efron", 0.914335951118, 0.3230262406, 0.499043755, (-181.6677, -180.8282)),
        ("breslow", 0.905550847432, 0.3225536623, 0.474331261, (-181.8451, -181.0773)),
    ],
)
def test_litter_frailty_equals_r_let_run_to_the_end(
    ties: str, coef: float, error: float, theta: float, loglik: tuple[float, float]
) -> None:
    """R 4.2.2, survival 3.5-3:

    coxph(Surv(time, status) ~ rx + frailty(litter, eps = 1e-9), subset(rats, sex == "f"),
          ties = ties, control = coxph.control(eps = 1e-11, outer.max = 50))
    """
    found = fit_gamma_frailty(rats(ties), confidence=0.95)
    assert found.theta == pytest.approx(theta, rel=1e-5)  # both searches of theta stop near 1e-6
    assert found.coef[0] == pytest.approx(coef, rel=1e-6)
    # R's error is of the penalised likelihood, ours of the marginal one at the same theta
    assert found.standard_errors[0] == pytest.approx(error, rel=1e-4)
    # R prints four places
    gain = 2 * (loglik[1] - loglik[0])
    assert found.likelihood_ratio == pytest.approx(gain, abs=3e-4)
    assert found.theta_low == 0.0 < found.theta < found.theta_high


def test_hulls_that_differ_are_found_to_differ() -> None:
    spells = weibull_spells(
        np.random.default_rng(3), n_hulls=100, effect=[0.6], lives_each=6, frailty=0.8, spell=60
    )
    found = fit_gamma_frailty(fitted(spells), confidence=0.95)
    assert found.theta_low < 0.8 < found.theta_high
    assert found.theta_low > 0
    assert found.p < 1e-4
    # the effect within a hull, which the marginal fit flattens
    assert abs(found.coef[0] - 0.6) < 4 * found.standard_errors[0]
    assert found.coef[0] > fitted(spells).coef[0]
    assert found.factors.mean() == pytest.approx(1.0, abs=0.05)


def test_hulls_that_do_not_differ_are_seldom_found_to() -> None:
    found_to = 0
    for seed in range(20):
        spells = weibull_spells(
            np.random.default_rng(seed), n_hulls=40, effect=[0.5], lives_each=3, spell=80
        )
        found = fit_gamma_frailty(fitted(spells), confidence=0.95)
        found_to += found.p < 0.05
        assert found.theta_low <= found.theta <= found.theta_high
    assert found_to <= 4  # binomial(20, 0.05): more has chance 0.3 %


def test_what_frailty_cannot_use_is_refused() -> None:
    spells = weibull_spells(np.random.default_rng(3), n_hulls=30, effect=[0.5])
    rows = (spells.start, spells.stop, spells.event, spells.x)
    with pytest.raises(CoxFitError, match="fit with cluster="):
        fit_gamma_frailty(fit_cox(*rows, names=["x"]), confidence=0.95)
    weighted = fit_cox(
        *rows, names=["x"], cluster=spells.hull, weights=np.full(len(spells.start), 2.0)
    )
    with pytest.raises(CoxFitError, match="Weighted rows"):
        fit_gamma_frailty(weighted, confidence=0.95)
