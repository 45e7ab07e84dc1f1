"""What the joint hazard costs beside the plain fit it stands on, in one run on one machine.

    OMP_NUM_THREADS=1 pytest -m benchmark tests/benchmarks/test_fit_cost.py -s

The plain fit is the same code with nothing but a Weibull line and straight factors: no engines,
docks, bends or open exposure, what a single-stage parametric fit of the same record is.  Both
draw as many parameter sets.  Seconds of the processor, the best of three.  The owner's budget (at
most three times the fit of before the joint one, at 48 and 500 hulls) was held against that code:
2.6 times both, `tests/studies/chances_of_worlds.md`.
"""

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.exposure_error import exposure_error
from ringland.risk.hazard_inputs import fitted_factors, hazard_prior, spell_rows
from ringland.settings.assumptions import load_assumptions
from ringland.survival.hazard.hazard_design import Factor, SpellRows
from ringland.survival.hazard.joint_hazard import fit_joint_hazard
from tests.risk.made_spells import made_spells, weibull_truth

pytestmark = pytest.mark.benchmark

SETTINGS = load_assumptions()
NAMES = [name for name in COVARIATES if name != "build_number"]
"""Every set of the made spells is its engine's first."""
MOST = 15.0
"""Times the plain fit: twice what was measured (7.2 at 48 hulls)."""


@pytest.mark.parametrize(("hulls", "sets"), [(48, 110), (500, 1100)])
def test_the_joint_fit_costs_a_bounded_multiple_of_the_plain_one(hulls: int, sets: int) -> None:
    spells = made_spells(weibull_truth(), n_sets=sets)
    event = spells["mode"].is_not_null().to_numpy()
    rows = spell_rows(spells, event, NAMES, exposure_error(spells, SETTINGS))
    factors = fitted_factors(NAMES, SETTINGS)
    bare = replace(rows, own=None, place=None, blur=None)
    lines = [replace(one, knots=(), differs_by_place=False) for one in factors]

    joint, plain = best_of(3, lambda: fit(rows, factors)), best_of(3, lambda: fit(bare, lines))

    print(
        f"\n{hulls} hulls, {spells.height} spells, {event.sum()} failures: joint {joint:.2f} s, "
        f"plain {plain:.2f} s of the processor, ratio {joint / plain:.1f}"
    )
    assert joint < MOST * plain


def fit(rows: SpellRows, factors: list[Factor]) -> object:
    return fit_joint_hazard(
        [rows], factors, prior=hazard_prior(SETTINGS),
        n_draws=int(SETTINGS.number("survival.draws")), rng=np.random.default_rng(1),
    )  # fmt: skip


def best_of(times: int, call: Callable[[], object]) -> float:
    call()
    found = []
    for _ in range(times):
        begin = time.process_time()
        call()
        found.append(time.process_time() - begin)
    return min(found)
