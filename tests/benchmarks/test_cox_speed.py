"""Cox fits timed against R's survival package and lifelines, in one run on one machine.

    OMP_NUM_THREADS=1 pytest -m benchmark tests/benchmarks/test_cox_speed.py -s

Needs Rscript with the survival package (Debian r-base-core, r-cran-survival) and an idle
machine.  Takes some four minutes, most of it lifelines.  Ratios are of seconds on the clock
to the named program in the same run: the best of twenty for ours (a tenth of a second each),
of three for R, once for lifelines.  Ours sums a million rows on two threads; R and lifelines
use one.  Failures stand at engine hours read to 0.01 h, so that few are tied: lifelines'
time grows with the number of distinct times, R's and ours hardly.
"""

from __future__ import annotations

import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from lifelines import CoxTimeVaryingFitter

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.cox.hull_bootstrap import bootstrap_hulls

pytestmark = pytest.mark.benchmark

EFFECT = np.array([0.5, -0.3, 0.2, 0.0, 0.4, -0.2])
NAMES = [f"x{j + 1}" for j in range(6)]
LIFE_SPELLS, SPELL_H = 50, 5.0

Rows = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]


def spells(n_rows: int, seed: int, hazard: float = 0.0006) -> Rows:
    """Lives of up to 50 five-hour spells, failing at readings of 0.01 h; life of each."""
    rng = np.random.default_rng(seed)
    n_lives = int(1.1 * n_rows / LIFE_SPELLS * (1 + 30 * hazard * SPELL_H))
    start = np.tile(np.arange(LIFE_SPELLS) * SPELL_H, n_lives)
    x = rng.normal(size=(len(start), 6))
    fails_at = np.round(start + rng.exponential(np.exp(-x @ EFFECT) / hazard), 2)
    event = (fails_at > start) & (fails_at <= start + SPELL_H)
    stop = np.where(event, fails_at, start + SPELL_H)
    ends_in = np.where(event, np.arange(len(start)) % LIFE_SPELLS, LIFE_SPELLS)
    last = np.repeat(ends_in.reshape(n_lives, LIFE_SPELLS).min(axis=1), LIFE_SPELLS)
    lived = np.flatnonzero(np.arange(len(start)) % LIFE_SPELLS <= last)[:n_rows]
    assert len(lived) == n_rows
    life = np.repeat(np.arange(n_lives), LIFE_SPELLS)
    return start[lived], stop[lived], event[lived], x[lived], life[lived]


def fit(rows: Rows, **more: object) -> CoxFit:
    start, stop, event, x, _ = rows
    return fit_cox(start, stop, event, x, names=NAMES, **more)


def best_of(n: int, call: Callable[[], object]) -> float:
    took = []
    for _ in range(n):
        begun = time.perf_counter()
        call()
        took.append(time.perf_counter() - begun)
    return min(took)


def in_r(folder: Path, mode: str, rows: Rows, *more: str) -> tuple[float, np.ndarray]:
    """Seconds R took, and the numbers it printed."""
    start, stop, event, x, _ = rows
    np.concatenate([start, stop, event, x.T.ravel()]).astype(float).tofile(folder / "rows.bin")
    script = Path(__file__).with_name("cox_speed.R")
    done = subprocess.run(
        ["Rscript", str(script), mode, "rows.bin", str(len(start)), "6", *more],
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    )
    numbers = np.array(done.stdout.split(), dtype=float)
    return float(numbers[0]), numbers[1:]


def test_a_million_spells_against_r(tmp_path: Path) -> None:
    rows = spells(1_000_000, seed=1)
    ours = fit(rows)  # compiles
    r_took, r_coef = in_r(tmp_path, "fit", rows)
    took = best_of(20, lambda: fit(rows))
    clustered = best_of(20, lambda: fit(rows, cluster=rows[4]))
    print(
        f"\n1M spells x 6, {ours.n_events} events: ours {took:.3f} s, R coxph {r_took:.2f} s: "
        f"{r_took / took:.0f}x; clustered errors included: {clustered / took:.2f}x ours"
    )
    np.testing.assert_allclose(ours.coef, r_coef, atol=1e-9, rtol=0)
    assert r_took / took >= 40


def test_a_million_spells_against_lifelines() -> None:
    """All million rows: lifelines grows faster than the rows, so nothing is carried over."""
    start, stop, event, x, life = spells(1_000_000, seed=1)
    frame = pd.DataFrame(x, columns=NAMES).assign(id=life, start=start, stop=stop, event=event)
    columns = {"id_col": "id", "start_col": "start", "stop_col": "stop", "event_col": "event"}
    fitter = CoxTimeVaryingFitter()
    theirs = best_of(1, lambda: fitter.fit(frame, **columns))
    ours = fit((start, stop, event, x, life))
    took = best_of(20, lambda: fit((start, stop, event, x, life)))
    print(
        f"\n1M spells x 6: lifelines CoxTimeVaryingFitter {theirs:.0f} s, ours {took:.3f} s: "
        f"{theirs / took:.0f}x"
    )
    # lifelines' default stopping rule leaves up to 5e-5
    np.testing.assert_allclose(fitter.params_, ours.coef, atol=5e-5)
    assert theirs / took >= 500


def test_200_refits_of_400_hulls_against_r(tmp_path: Path) -> None:
    n_hulls, n_refits = 400, 200
    rows = spells(n_hulls * LIFE_SPELLS, seed=3, hazard=0.002)
    hull = np.unique(rows[4], return_inverse=True)[1] % n_hulls
    whole = fit(rows, cluster=hull)
    ours = bootstrap_hulls(whole, n_refits, np.random.default_rng(5))
    took = best_of(3, lambda: bootstrap_hulls(whole, n_refits, np.random.default_rng(5)))
    rng = np.random.default_rng(5)
    times = np.array([rng.multinomial(n_hulls, np.full(n_hulls, 1 / n_hulls)) for _ in range(200)])
    hull.astype(float).tofile(tmp_path / "hull.bin")
    times.astype(float).tofile(tmp_path / "times.bin")
    r_took, r_draws = in_r(
        tmp_path, "refits", rows, "hull.bin", "times.bin", str(n_hulls), str(n_refits)
    )
    print(
        f"\n{n_refits} warm refits, {n_hulls} hulls, {len(rows[0])} spells, {whole.n_events} "
        f"events: ours {took:.2f} s, R coxph with init {r_took:.1f} s: {r_took / took:.0f}x"
    )
    # R stops at a relative change of 1e-9 in likelihood
    np.testing.assert_allclose(ours.draws, r_draws.reshape(n_refits, 6), atol=1e-7)
    assert r_took / took >= 20


def test_time_is_linear_in_spells_to_five_million() -> None:
    took = {}
    for millions in (1, 2.5, 5):
        rows = spells(int(millions * 1e6), seed=1)
        fit(rows)
        took[millions] = best_of(3, lambda r=rows: fit(r))
    print("\n" + ", ".join(f"{m}M: {t:.3f} s" for m, t in took.items()))
    # within 1.5 of proportional: caches hold less of the larger sets
    assert took[5] / took[1] < 5 * 1.5
