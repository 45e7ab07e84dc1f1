"""240 random counting-process data sets, fitted here and by R's survival package.

Source: R survival 3.5-3 (Debian r-cran-survival), `coxph`, `residuals`, `cox.zph`,
`survfit`, run by `r_differential.R` beside this file in one Rscript call.
"""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_prediction import predict_survival
from ringland.survival.cox.cox_proportionality import proportionality_test
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.cox.cox_residuals import martingale_residuals, score_residuals
from tests.outside_tools import missing

pytestmark = pytest.mark.r_survival

N_CASES = 240
HOW_TO = "Rscript with the survival package is missing: apt-get install r-base-core r-cran-survival"


@dataclass(frozen=True)
class Case:
    """One random data set and how it is to be fitted."""

    number: int
    rows: pl.DataFrame
    p: int
    ties: str
    has_weights: bool
    has_strata: bool
    has_cluster: bool

    def column(self, name: str) -> np.ndarray:
        return self.rows[name].to_numpy()

    @property
    def x(self) -> np.ndarray:
        return self.rows.select(f"x{j + 1}" for j in range(self.p)).to_numpy()

    @property
    def mid(self) -> float:
        return float(np.ceil(self.column("stop").max() / 2))


def random_case(number: int) -> Case:
    """Spells of recurrent lives on a coarse time grid: ties, and starts at event times."""
    rng = np.random.default_rng(20_000 + number)
    p = int(rng.integers(1, 5))
    effect = rng.normal(0, 0.5, p)
    offset, unit = rng.choice([0.0, 5.0, 1000.0], p), rng.choice([1.0, 0.01, 30.0], p)
    is_flag = rng.random(p) < 0.3
    grid = rng.choice([1.0, 0.5, 0.1])
    found: list[list[float]] = []
    for hull in range(int(rng.integers(25, 60))):
        for _life in range(int(rng.integers(1, 3))):
            start = grid * int(rng.integers(0, 8))
            for _spell in range(int(rng.integers(1, 6))):
                z = np.where(is_flag, rng.random(p) < 0.5, rng.normal(size=p))
                stop = start + grid * int(rng.integers(1, 6))
                event = rng.random() < 0.25 * np.exp(z @ effect)
                x = np.where(is_flag, z, offset + unit * z)
                weight = rng.choice([0.5, 1.0, 2.0, 3.7])
                found.append([hull, start, stop, event, weight, rng.integers(0, 3), *x])
                start = stop
                if event and rng.random() < 0.5:
                    break
    names = ["hull", "start", "stop", "event", "weight", "stratum"]
    rows = pl.DataFrame(
        np.array(found, dtype=float), schema=names + [f"x{j + 1}" for j in range(p)]
    ).with_row_index("row")
    return Case(
        number,
        rows.sample(fraction=1, shuffle=True, seed=number),
        p,
        ties=("efron", "breslow")[number % 2],
        has_weights=number % 3 > 0,
        has_strata=number % 5 > 2,
        has_cluster=number % 7 > 1,
    )


def our_fit(case: Case) -> CoxFit:
    return fit_cox(
        case.column("start"),
        case.column("stop"),
        case.column("event"),
        case.x,
        names=[f"x{j + 1}" for j in range(case.p)],
        weights=case.column("weight") if case.has_weights else None,
        strata=case.column("stratum") if case.has_strata else None,
        cluster=case.column("hull") if case.has_cluster else None,
        ties=case.ties,
    )


@dataclass(frozen=True)
class BothAnswers:
    cases: list[Case]
    ours: list[CoxFit]
    r: dict[str, pl.DataFrame]

    def of_r(self, table: str, case: Case) -> pl.DataFrame:
        return self.r[table].filter(pl.col("case") == case.number)


@pytest.fixture(scope="module")
def both(tmp_path_factory: pytest.TempPathFactory) -> BothAnswers:
    rscript = shutil.which("Rscript")
    if rscript is None:
        missing(HOW_TO)
    folder = tmp_path_factory.mktemp("r")
    cases = [random_case(number) for number in range(N_CASES)]
    pl.concat(
        [case.rows.with_columns(case=pl.lit(case.number)) for case in cases], how="diagonal"
    ).write_csv(folder / "rows.csv", float_precision=17)
    pl.DataFrame(
        [
            {
                "case": case.number,
                "p": case.p,
                "ties": case.ties,
                "weights": int(case.has_weights),
                "strata": int(case.has_strata),
                "cluster": int(case.has_cluster),
                "mid": case.mid,
            }
            for case in cases
        ]
    ).write_csv(folder / "cases.csv")
    script = Path(__file__).with_name("r_differential.R")
    done = subprocess.run(
        [rscript, str(script), "rows.csv", "cases.csv", "."],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode == 3:
        missing(HOW_TO)
    assert done.returncode == 0, done.stderr
    tables = {
        name: pl.read_csv(folder / f"{name}.csv", null_values="NA", infer_schema_length=None)
        for name in ("fits", "residuals", "curves", "tests")
    }
    return BothAnswers(cases, [our_fit(case) for case in cases], tables)


# The tolerance.  R is told to stop at a relative change of 1e-13 in likelihood.
AGREE = {"rtol": 1e-8, "atol": 1e-8}


def test_cases_hold_what_makes_them_hard(both: BothAnswers) -> None:
    tied = starts_at_event = late_entry = 0
    for case in both.cases:
        event_times = case.rows.filter(pl.col("event") == 1)["stop"]
        tied += event_times.is_duplicated().any()
        starts_at_event += case.rows["start"].is_in(event_times.implode()).any()
        late_entry += (case.rows["start"] > 0).any()
    assert len(both.cases) >= 200
    assert min(tied, starts_at_event, late_entry) > 0.9 * len(both.cases)
    combinations = {(c.ties, c.has_weights, c.has_strata, c.has_cluster) for c in both.cases}
    assert len(combinations) == 16


def test_coefficients_and_errors_equal_r(both: BothAnswers) -> None:
    for case, fit in zip(both.cases, both.ours, strict=True):
        r = both.of_r("fits", case).sort("j")
        # one unit of x may be tiny: compare on the scale of the covariate's own spread
        spread = fit.data.spread
        np.testing.assert_allclose(fit.coef * spread, r["coef"].to_numpy() * spread, **AGREE)
        np.testing.assert_allclose(fit.standard_errors, r["se"], rtol=1e-8)
        if case.has_cluster:
            np.testing.assert_allclose(fit.robust_errors, r["robust"], rtol=1e-8)
        else:
            assert fit.robust_errors is None


def test_likelihoods_and_score_test_equal_r(both: BothAnswers) -> None:
    for case, fit in zip(both.cases, both.ours, strict=True):
        r = both.of_r("fits", case).row(0, named=True)
        np.testing.assert_allclose(fit.loglik_null, r["null"], rtol=1e-10)
        np.testing.assert_allclose(fit.loglik, r["loglik"], rtol=1e-10)
        np.testing.assert_allclose(fit.score_test.chi2, r["score"], rtol=1e-8)


def test_martingale_and_score_residuals_equal_r(both: BothAnswers) -> None:
    for case, fit in zip(both.cases, both.ours, strict=True):
        r = both.of_r("residuals", case)
        assert r["row"].to_list() == case.rows["row"].to_list()
        np.testing.assert_allclose(martingale_residuals(fit), r["martingale"], **AGREE)
        scores = score_residuals(fit) / fit.data.spread
        for ours, theirs in ((0, "score_first"), (-1, "score_last")):
            expected = r[theirs].to_numpy() / fit.data.spread[ours]
            np.testing.assert_allclose(scores[:, ours], expected, **AGREE)


def test_proportionality_tests_equal_r(both: BothAnswers) -> None:
    for case, fit in zip(both.cases, both.ours, strict=True):
        for transform in ("km", "identity"):
            r = both.of_r("tests", case).filter(pl.col("transform") == transform).sort("j")
            ours = proportionality_test(fit, transform=transform)
            np.testing.assert_allclose([*ours.chi2, ours.global_chi2], r["chi2"], **AGREE)


def test_survival_of_a_path_equals_r(both: BothAnswers) -> None:
    n_compared = 0
    for case, fit in zip(both.cases, both.ours, strict=True):
        if case.has_strata:
            continue
        r = both.of_r("curves", case).row(0, named=True)
        end = float(case.column("stop").max())
        held = predict_survival(fit, [0.0], [end], case.x[1:2], confidence=0.95)
        np.testing.assert_allclose(held.cumulative_hazard[-1], r["cumhaz"], rtol=1e-8)
        np.testing.assert_allclose(held.standard_error[-1], r["std"], rtol=1e-8)
        np.testing.assert_allclose(held.low[-1], r["low"], rtol=1e-8)
        np.testing.assert_allclose(held.high[-1], r["high"], rtol=1e-8)
        changing = predict_survival(
            fit, [0.0, case.mid], [case.mid, end], case.x[1:3], confidence=0.95
        )
        np.testing.assert_allclose(changing.cumulative_hazard[-1], r["path_cumhaz"], rtol=1e-8)
        n_compared += 1
    assert n_compared > 100
