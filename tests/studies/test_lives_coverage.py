"""How often do the 95 % limits of life estimates hold the truth?

Study of 1,000 simulated fleets at 12, 48 and 400 hulls; takes minutes, so it is marked.

    pytest -m study tests/studies/test_lives_coverage.py        checks the claims
    python tests/studies/test_lives_coverage.py [fleets]        prints the table

Each hull has one piston set.  Ring lands fail by Weibull (shape 1.8, scale 600 h), other
failures compete by Weibull (shape 1.2, scale 1,500 h).  Three sets in ten are first seen
late, at up to 150 h, having survived to then; each is followed for 150 to 700 h.
"""

from __future__ import annotations

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

import numpy as np
import pytest

from ringland.survival.lives.competing_risks import aalen_johansen
from ringland.survival.lives.life_data import LifeDataError, bounded_lives, ended_lives
from ringland.survival.lives.life_limits import (
    B10,
    SCALE,
    SHAPE,
    profile_limits,
    reliability_at,
    wald_limits,
)
from ringland.survival.lives.life_tables import kaplan_meier, nelson_aalen
from ringland.survival.lives.parametric_life import NoFiniteFitError, fit_life

LAND, OTHER = (1.8, 600.0), (1.2, 1500.0)
AGE = 300.0  # hours at which curves are judged
FLEETS = 1000
HULLS = (12, 48, 400)
SEED = 20261125


def hazard(life, age):
    shape, scale = life
    return (age / scale) ** shape


def true_incidence():
    """Chance of a land failure by AGE with the other failures competing, by quadrature."""
    age = np.linspace(0, AGE, 20_001)[1:] - AGE / 40_000
    density = LAND[0] / LAND[1] * (age / LAND[1]) ** (LAND[0] - 1)
    density *= np.exp(-hazard(LAND, age) - hazard(OTHER, age))
    return float(density.sum() * AGE / 20_000)


TRUTH = {
    "survival, all failures": float(np.exp(-hazard(LAND, AGE) - hazard(OTHER, AGE))),
    "cumulative hazard": float(hazard(LAND, AGE) + hazard(OTHER, AGE)),
    "incidence of land failure": true_incidence(),
    "shape": LAND[0],
    "scale": LAND[1],
    "B10": LAND[1] * (-np.log(0.9)) ** (1 / LAND[0]),
    "reliability": float(np.exp(-hazard(LAND, AGE))),
}


def fleet(n_hulls, rng):
    """Entry, exit and cause of one fleet's sets."""
    entry = np.where(rng.random(n_hulls) < 0.3, rng.uniform(0, 150, n_hulls), 0.0)
    start_land, start_other = hazard(LAND, entry), hazard(OTHER, entry)
    land = LAND[1] * (start_land + rng.exponential(size=n_hulls)) ** (1 / LAND[0])
    other = OTHER[1] * (start_other + rng.exponential(size=n_hulls)) ** (1 / OTHER[0])
    leaves = entry + rng.uniform(150, 700, n_hulls)
    exit_ = np.minimum(np.minimum(land, other), leaves)
    cause = np.where(exit_ == leaves, None, np.where(exit_ == land, "land", "other"))
    return entry, exit_, cause.tolist()


def inspected(entry, exit_, cause):
    """The same sets when land failures are found only at checks every 50 hours."""
    is_land = np.array([c == "land" for c in cause])
    checks = np.floor((exit_ - entry) / 50.0)
    lower = np.where(is_land, entry + 50.0 * checks, exit_)
    upper = np.where(is_land, entry + 50.0 * (checks + 1.0), np.inf)
    return bounded_lives(lower, upper, entry=entry)


def limits_of_one_fleet(entry, exit_, cause):
    """Every estimate's limits, by (truth, method); None where the record cannot carry it."""
    ended = np.array([c is not None for c in cause])
    found = {}
    for scale in ("plain", "log", "log-log"):
        row = kaplan_meier(exit_, ended, entry=entry, limits=scale).at([AGE])
        found["survival, all failures", f"Kaplan-Meier, {scale}"] = (row.low[0], row.high[0])
    row = nelson_aalen(exit_, ended, entry=entry).at([AGE])
    found["cumulative hazard", "Nelson-Aalen, log"] = (row.low[0], row.high[0])
    for variance in ("infinitesimal jackknife", "Aalen"):
        key = ("incidence of land failure", f"Aalen-Johansen, {variance}, log-log")
        try:
            table = aalen_johansen(exit_, cause, entry=entry, variance=variance)
            found[key] = tuple(table.at("land", [AGE])[0, 2:])
        except (LifeDataError, KeyError):
            found[key] = None
    is_land = np.array([c == "land" for c in cause])
    for label, lives in [
        ("Weibull", ended_lives(exit_, is_land, entry=entry)),
        ("Weibull, checks every 50 h", inspected(entry, exit_, cause)),
    ]:
        try:
            fit = fit_life(lives)
        except NoFiniteFitError:
            fit = None
        for name, quantity in [
            ("shape", SHAPE),
            ("scale", SCALE),
            ("B10", B10),
            ("reliability", reliability_at(AGE)),
        ]:
            for kind, limits in [("profile", profile_limits), ("Wald", wald_limits)]:
                if kind == "Wald" and label != "Weibull":
                    continue
                if fit is None:
                    found[name, f"{label}, {kind}"] = None
                else:
                    got = limits(fit, quantity)
                    found[name, f"{label}, {kind}"] = (got.low, got.high)
    return found


def coverage(n_hulls, n_fleets, seed):
    """Per (truth, method): share of fleets holding it, share missing low, share without."""
    rng = np.random.default_rng([seed, n_hulls])
    holds, above, without = Counter(), Counter(), Counter()
    failures = []
    keys = []
    for _ in range(n_fleets):
        entry, exit_, cause = fleet(n_hulls, rng)
        failures.append(sum(c == "land" for c in cause))
        found = limits_of_one_fleet(entry, exit_, cause)
        keys = list(found)
        for key, limits in found.items():
            if limits is None or np.isnan(limits).any():
                without[key] += 1
                continue
            low, high = limits
            holds[key] += low <= TRUTH[key[0]] <= high
            above[key] += low > TRUTH[key[0]]
    rows = {}
    for key in keys:
        answered = max(n_fleets - without[key], 1)
        rows[key] = (holds[key] / answered, above[key] / answered, without[key] / n_fleets)
    return rows, float(np.mean(failures))


# What the library gives when nobody asks for anything else: what its claim is about.
DEFAULTS = {
    ("survival, all failures", "Kaplan-Meier, log-log"),
    ("cumulative hazard", "Nelson-Aalen, log"),
    ("incidence of land failure", "Aalen-Johansen, infinitesimal jackknife, log-log"),
    *((name, "Weibull, profile") for name in ("shape", "scale", "B10", "reliability")),
    *(
        (name, "Weibull, checks every 50 h, profile")
        for name in ("shape", "scale", "B10", "reliability")
    ),
}


@pytest.mark.study
@pytest.mark.parametrize("n_hulls", [48, 400])
def test_default_limits_hold_the_truth_93_to_97_times_in_100(n_hulls):
    """1,000 fleets: a limit that holds it 95 times in 100 shows 93.6 to 96.4 (2 s.e.)."""
    rows, _ = coverage(n_hulls, FLEETS, SEED)
    outside = {key: rows[key][0] for key in DEFAULTS if not 0.93 <= rows[key][0] <= 0.97}
    assert outside == {}


def table(n_fleets):
    """The results as Markdown, a row per estimate and method."""
    with ProcessPoolExecutor(len(HULLS)) as pool:
        jobs = {hulls: pool.submit(coverage, hulls, n_fleets, SEED) for hulls in HULLS}
        results = {hulls: job.result() for hulls, job in jobs.items()}
    heads = [
        f"{hulls} hulls ({failures:.1f} land failures)" for hulls, (_, failures) in results.items()
    ]
    lines = [f"| estimate | limits | {' | '.join(heads)} |", "|---|---|---|---|---|"]
    for key in results[HULLS[0]][0]:
        cells = []
        for rows, _ in results.values():
            holds, above, without = rows[key]
            cell = (
                f"{100 * holds:.1f} ({100 * above:.1f} / {100 * max(0.0, 1 - holds - above):.1f})"
            )
            cells.append(cell + (f", {100 * without:.1f} without" if without else ""))
        mark = " (default)" if key in DEFAULTS else ""
        lines.append(f"| {key[0]} | {key[1]}{mark} | {' | '.join(cells)} |")
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(table(int(sys.argv[1]) if len(sys.argv) > 1 else FLEETS) + "\n")
