"""60 random fleets, estimated here and by R's survival package.

Source: R survival 3.5-3 (Debian r-cran-survival), `survfit` and `survreg`, run by
`r_lives.R` beside this file in one Rscript call.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ringland.survival.lives.competing_risks import aalen_johansen
from ringland.survival.lives.life_data import bounded_lives, ended_lives
from ringland.survival.lives.life_distributions import LOGNORMAL, WEIBULL
from ringland.survival.lives.life_tables import kaplan_meier, nelson_aalen
from ringland.survival.lives.parametric_life import fit_life
from ringland.survival.repairs.recurrent_repairs import mean_cumulative_function
from tests.outside_tools import missing

pytestmark = pytest.mark.r_survival

N_CASES = 60
HOW_TO = "Rscript with the survival package is missing: apt-get install r-base-core r-cran-survival"
CLOSED_FORM = {"rtol": 1e-8, "atol": 1e-10}


def random_lives(case: int) -> pl.DataFrame:
    """Ties, entries at failure ages, two causes, hulls of several lives, checks every 20 h."""
    rng = np.random.default_rng(31_000 + case)
    n = int(rng.integers(15, 60))
    entry = np.where(rng.random(n) < 0.5, rng.integers(0, 40, n), 0).astype(float)
    entry[: n // 3] = 0.0  # somebody is at risk from the start
    life = np.ceil(entry + 80 * rng.weibull(1.5, n))
    life = np.where(life > entry, life, entry + 1)
    cause = rng.choice(["running", "land", "other"], n, p=[0.35, 0.4, 0.25])
    ended = cause != "running"
    last_good = np.floor((life - 1) / 20) * 20
    return pl.DataFrame(
        {
            "case": np.full(n, case),
            "hull": rng.integers(0, max(3, n // 3), n),
            "entry": entry,
            "exit": life,
            "cause": cause,
            "ended": ended.astype(int),
            # R writes an open end as missing
            "lower": [
                x if not e else (g or None) for x, e, g in zip(life, ended, last_good, strict=True)
            ],
            "upper": [g + 20 if e else None for e, g in zip(ended, last_good, strict=True)],
        }
    )


def random_windows(case: int) -> pl.DataFrame:
    """Hulls watched in one or two windows, with repairs that end rows, some at one age."""
    rng = np.random.default_rng(47_000 + case)
    rows = []
    for hull in range(int(rng.integers(4, 15))):
        start = float(rng.integers(0, 10)) if hull > 2 else 0.0
        for _ in range(int(rng.integers(1, 3))):
            stops = np.unique(start + rng.integers(1, 40, int(rng.integers(1, 5))))
            for k, stop in enumerate(stops):
                is_repair = k < len(stops) - 1 or rng.random() < 0.3
                rows.append((case, hull, start, float(stop), int(is_repair)))
                start = float(stop)
            start += float(rng.integers(1, 6))
    schema = ["case", "hull", "start", "stop", "event"]
    return pl.DataFrame(rows, schema=schema, orient="row")


@pytest.fixture(scope="module")
def answers(tmp_path_factory):
    rscript = shutil.which("Rscript")
    if rscript is None:
        missing(HOW_TO)
    folder = tmp_path_factory.mktemp("r_lives")
    pl.concat([random_lives(k) for k in range(N_CASES)]).write_csv(
        folder / "lives.csv", null_value="NA"
    )
    pl.concat([random_windows(k) for k in range(N_CASES)]).write_csv(folder / "windows.csv")
    done = subprocess.run(
        [rscript, str(Path(__file__).with_name("r_lives.R")), "lives.csv", "windows.csv", "."],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode == 3:
        missing(HOW_TO)
    assert done.returncode == 0, done.stderr
    return {
        name: pl.read_csv(folder / f"{name}.csv", null_values="NA", infer_schema_length=None)
        for name in ("curves", "incidence", "fits", "means")
    }


def compare(ours, theirs, what):
    """Equal wherever R gives a number."""
    expected = theirs.cast(pl.Float64).to_numpy()
    known = ~np.isnan(expected)
    assert known.any(), what
    np.testing.assert_allclose(
        np.asarray(ours)[known], expected[known], err_msg=str(what), **CLOSED_FORM
    )


@pytest.mark.parametrize("scale", ["plain", "log", "log-log"])
def test_curves_and_limits_agree_with_r(answers, scale):
    compared = 0
    for case in range(N_CASES):
        rows = random_lives(case)
        ours = kaplan_meier(rows["exit"], rows["ended"], entry=rows["entry"], limits=scale)
        theirs = answers["curves"].filter(case=case, scale=scale)
        assert ours.time.tolist() == theirs["time"].cast(pl.Float64).to_list()
        compare(ours.at_risk, theirs["at_risk"], (case, "at risk"))
        compare(ours.estimate, theirs["survival"], (case, "survival"))
        if ours.warnings:  # R carries limits over an emptied risk set; we say they are not known
            continue
        is_open = ours.estimate > 0
        for name, column in {
            "error": ours.standard_error,
            "low": ours.low,
            "high": ours.high,
        }.items():
            compare(column[is_open], theirs.filter(pl.Series(is_open))[name], (case, name))
        hazard = nelson_aalen(rows["exit"], rows["ended"], entry=rows["entry"])
        compare(hazard.estimate, theirs["hazard"], (case, "hazard"))
        compare(hazard.standard_error, theirs["hazard_error"], (case, "hazard error"))
        compared += 1
    assert compared > N_CASES // 2


@pytest.mark.parametrize("clustered", [False, True])
def test_incidence_and_its_errors_agree_with_r(answers, clustered):
    for case in range(N_CASES):
        rows = random_lives(case)
        ours = aalen_johansen(
            rows["exit"],
            [None if c == "running" else c for c in rows["cause"]],
            entry=rows["entry"],
            cluster=rows["hull"].cast(pl.String).to_list() if clustered else None,
        )
        theirs = answers["incidence"].filter(case=case, clustered=int(clustered))
        for cause in ("land", "other"):
            row = ours.of(cause)
            compare(ours.incidence[row], theirs[cause], (case, cause))
            compare(ours.standard_error[row], theirs[f"{cause}_error"], (case, cause, "error"))


@pytest.mark.parametrize("distribution", [WEIBULL, LOGNORMAL], ids=["weibull", "lognormal"])
def test_life_fits_agree_with_r(answers, distribution):
    """survreg stops at a relative change of 1e-13 in likelihood: parameters to about 1e-6."""
    for case in range(N_CASES):
        rows = random_lives(case)
        lower = rows["lower"].fill_null(0.0)
        upper = rows["upper"].fill_null(np.inf)
        for data, lives in [
            ("right", ended_lives(rows["exit"], rows["ended"])),
            ("between", bounded_lives(lower, upper)),
        ]:
            fit = fit_life(lives, distribution)
            theirs = (
                answers["fits"]
                .filter(case=case, dist=distribution.name.lower(), data=data)
                .row(0, named=True)
            )
            errors = np.sqrt(np.diag(fit.covariance))
            ours = [fit.location, np.exp(fit.log_scale), *errors, fit.log_likelihood]
            keys = ["location", "scale", "location_error", "scale_error", "loglik"]
            expected = [float(theirs[key]) for key in keys]
            assert ours == pytest.approx(expected, rel=2e-6), (case, data)


def test_mean_cumulative_repairs_agree_with_r(answers):
    for case in range(N_CASES):
        rows = random_windows(case)
        repairs = rows.filter(pl.col("event") == 1)
        ours = mean_cumulative_function(
            rows["hull"].to_list(), rows["start"], rows["stop"],
            repairs["hull"].to_list(), repairs["stop"],
        )  # fmt: skip
        theirs = answers["means"].filter(case=case)
        compare(ours.mean, theirs["mean"], (case, "mean"))
        compare(ours.robust_error, theirs["error"], (case, "error"))
