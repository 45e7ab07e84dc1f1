"""What a home borrows of other operators' effects: read with care, and a prior like any other."""

import json
import math
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from ringland.exposure.factor_registry import COVARIATES, FACTORS
from ringland.network.pooled_effects import effects_without, pooled_effects, sums_of
from ringland.risk.exposure_error import exposure_error
from ringland.risk.fleet_hazard import fit_fleet
from ringland.risk.hazard_inputs import covariate_matrix
from ringland.risk.shared_effects import (
    SharedEffect,
    SharedEffects,
    SharedEffectsError,
    read_shared_effects,
    shared_effects_text,
)
from ringland.settings.assumptions import load_assumptions
from ringland.survival.cox.risk_sets import RiskSets, build_risk_sets
from ringland.survival.hazard.hazard_bucket import Derivatives
from tests.risk.made_spells import made_spells, weibull_truth

SETTINGS = load_assumptions().changed(survival__draws=200)
FUEL = "shortfall_25h_on"
SHARED = SharedEffects(
    "alder", "2026-08-17", 12, 310, 1200,
    (SharedEffect(FUEL, 1.0, 0.5, 0.06, 0.2), SharedEffect("is_forged", 1.0, -0.2, 0.1, 0.15)),
)  # fmt: skip


def fuel_effect(spells: pl.DataFrame, shared: SharedEffects | None) -> tuple[float, float]:
    """Middle and deviation of the log hazard ratio of an octane number, as the week fits it."""
    fit = fit_fleet(spells, SETTINGS, np.random.default_rng(1), shared).ring_land
    effect = {one.name: one for one in fit.effects(0.95)}[FUEL]
    return math.log(effect.hazard_ratio), math.log(effect.high / effect.low) / 3.92


def test_a_file_of_shared_effects_is_read_as_it_was_written() -> None:
    assert read_shared_effects("file", shared_effects_text(SHARED)) == SHARED


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"form": "another"}, "does not begin with form"),
        ({"monday": "2026-08-18"}, "no Monday"),
        ({"monday": None}, "monday is None"),
        ({"operators": 0}, "operators is 0 and no count"),
        ({"failures": 3.5}, "failures is 3.5"),
        ({"piston_sets": True}, "piston_sets is True"),
        ({"effects": []}, "no list of effects"),
        ({"effects": [{"factor": "colour"}]}, "effect 1: factor is 'colour'"),
        ({"effects": [7]}, "effect 1: factor is 7"),
        ({"sd": 0.0}, f"effect 1, {FUEL}: sd is not above 0"),
        ({"apart": -0.1}, f"effect 1, {FUEL}: apart is below 0"),
        ({"log_ratio": "much"}, f"effect 1, {FUEL}: log_ratio is 'much'"),
        ({"log_ratio": math.inf}, f"effect 1, {FUEL}: log_ratio is inf"),
        ({"factor": "is_forged"}, "is_forged stands in it twice"),
    ],
)
def test_a_file_that_cannot_be_is_refused_with_its_entry_and_what_to_do(
    change: dict[str, object], words: str
) -> None:
    told = json.loads(shared_effects_text(SHARED))
    (told if next(iter(change)) in told else told["effects"][0]).update(change)

    with pytest.raises(SharedEffectsError, match=rf"^shared\.json: .*{words}.*network borrow"):
        read_shared_effects("shared.json", json.dumps(told))


def test_what_is_no_json_is_refused() -> None:
    with pytest.raises(SharedEffectsError, match="no JSON"):
        read_shared_effects("shared.json", "{")


def test_a_prior_weighs_the_others_and_the_weak_one_by_their_precision() -> None:
    """Two normal statements of one mean: precisions add (common statistics)."""
    spread = 0.06**2 + 0.2**2
    mean, sd = SHARED.prior(FUEL, 1.0, 0.7)

    assert sd**-2 == pytest.approx(0.7**-2 + 1 / spread)
    assert mean == pytest.approx(0.5 * (1 / spread) / (0.7**-2 + 1 / spread))
    # half a step has half the effect
    assert SHARED.prior(FUEL, 0.5, 1e9) == pytest.approx((0.25, math.sqrt(spread) / 2))
    assert SHARED.prior("build_number", 1.0, 0.35) == (0.0, 0.35)


def test_without_a_failure_of_its_own_a_home_answers_with_what_others_found() -> None:
    spells = made_spells(weibull_truth(), n_sets=12).with_columns(mode=pl.lit(None, pl.String))
    mean, sd = SHARED.prior(FUEL, 1.0, SETTINGS.number("prior.effect_sd"))

    middle, deviation = fuel_effect(spells, SHARED)

    # hours without a failure say a little against harm
    assert mean - 0.15 < middle < mean + 0.05
    assert sd < deviation < 1.6 * sd  # its course may bend too


def test_what_no_set_of_a_home_varies_is_borrowed_and_cox_beside_leaves_it_out() -> None:
    spells = made_spells(weibull_truth(), n_sets=40).with_columns(is_forged=pl.lit(False))
    alone, both = (
        fit_fleet(spells, SETTINGS, np.random.default_rng(1), shared) for shared in (None, SHARED)
    )

    assert "is_forged" not in alone.ring_land.covariates
    assert both.ring_land.borrowed == ("is_forged",)
    assert tuple(both.ring_land.left_out) == ("build_number",)
    forged = {one.name: one for one in both.ring_land.effects(0.95)}["is_forged"]
    mean, _ = SHARED.prior("is_forged", 1.0, SETTINGS.number("prior.other_effect_sd"))
    assert math.log(forged.hazard_ratio) == pytest.approx(mean, abs=0.06)
    assert both.cox.fit is not None
    assert alone.cox.fit is not None
    assert both.cox.fit.names == alone.cox.fit.names


def test_many_failures_of_its_own_outweigh_what_others_say() -> None:
    spells = made_spells(weibull_truth(), n_sets=400, seed=3)
    wrong = replace(SHARED, effects=(SharedEffect(FUEL, 1.0, -0.6, 0.06, 0.3),))

    middle, _ = fuel_effect(spells, wrong)

    assert middle > 0.25  # the truth is 0.45


def rows_of(spells: pl.DataFrame) -> RiskSets:
    believed = exposure_error(spells, SETTINGS).believed(spells)
    steps = np.array([FACTORS[name].step(SETTINGS) for name in COVARIATES])
    return build_risk_sets(
        believed["start_h"], believed["stop_h"], believed["mode"].is_not_null(),
        covariate_matrix(believed, COVARIATES) / steps, names=COVARIATES,
    )  # fmt: skip


def test_a_new_operator_with_few_failures_comes_nearer_to_its_truth_by_the_others() -> None:
    """Made worlds: each operator's effect of octane lies about 0.6 per number by 0.15."""
    rng = np.random.default_rng(4)
    truths = 0.6 + 0.15 * rng.standard_normal(12)
    others = [
        rows_of(made_spells(weibull_truth(truth), n_sets=60, seed=40 + at))
        for at, truth in enumerate(truths[:8])
    ]
    pooled = pooled_effects(
        lambda coef: {f"operator {at}": sums_of(rows, coef) for at, rows in enumerate(others)},
        COVARIATES,
    )
    p = len(COVARIATES)
    nothing = Derivatives(0.0, np.zeros(p), np.zeros((p, p)))
    found = effects_without(pooled, nothing, COVARIATES, SETTINGS.number("network.least_apart"))
    assert found is not None
    sure = np.sqrt(np.diag(found.common.covariance))
    effects = tuple(
        SharedEffect(name, FACTORS[name].step(SETTINGS), *map(float, figures))
        for name, *figures in zip(
            found.common.factors, found.common.coef, sure, found.apart, strict=True
        )
    )
    shared = SharedEffects("new", "2026-08-17", 8, 300, 480, effects)

    off: dict[bool, list[float]] = {False: [], True: []}
    within = 0
    for at, truth in enumerate(truths[8:]):
        few = made_spells(weibull_truth(truth), n_sets=8, spells_a_set=50, seed=90 + at)
        assert 0 <= few["mode"].is_not_null().sum() <= 8
        for with_others, distances in off.items():
            middle, deviation = fuel_effect(few, shared if with_others else None)
            distances.append(abs(middle - truth))
        within += abs(middle - truth) < 1.96 * deviation
    assert np.mean(off[True]) < 0.6 * np.mean(off[False])
    assert sum(a < b for a, b in zip(off[True], off[False], strict=True)) >= 3
    assert within >= 3
