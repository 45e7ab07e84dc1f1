"""What the week's fits take in, leave out, and say about themselves."""

import numpy as np
import polars as pl
import pytest

from ringland.exposure.factor_registry import COVARIATES
from ringland.risk import fleet_hazard
from ringland.risk.fleet_hazard import (
    fit_fleet,
    usable_covariates,
    what_cannot_be_separated,
    with_bound,
)
from ringland.survival.hazard.hazard_mode import NoMaximumError
from tests.decision.small_fleet import SETTINGS, small_fleet
from tests.risk.made_spells import made_spells, weibull_truth


def test_both_modes_and_cox_are_fitted_on_the_fleets_failures() -> None:
    spells = small_fleet().spells
    fits = small_fleet().fits()

    failures = dict(spells.drop_nulls("mode").group_by("mode").len().iter_rows())
    assert {fit.mode: fit.n_failures for fit in fits.modes} == failures
    assert fits.ring_land.covariates == COVARIATES
    assert fits.modes[1].covariates == ()
    assert fits.cox.problem is None
    assert fits.cannot_tell is None


def test_same_seed_gives_the_same_draws() -> None:
    first, second = (small_fleet().fits().ring_land.hazard for _ in range(2))

    assert first is not None
    assert second is not None
    np.testing.assert_array_equal(first.theta, second.theta)


def test_a_column_of_one_value_is_left_out_and_named() -> None:
    spells = small_fleet().spells.with_columns(is_forged=pl.lit(False))
    used, left_out = usable_covariates(spells, COVARIATES)

    assert used == tuple(name for name in COVARIATES if name != "is_forged")
    assert left_out == {"is_forged": "has one value (0) in the whole record"}


def test_a_fleet_on_its_first_sets_leaves_their_number_out_and_says_why() -> None:
    spells = small_fleet().spells.with_columns(build_number=pl.lit(1, dtype=pl.Int64))
    fit = fit_fleet(spells, SETTINGS, np.random.default_rng(1)).ring_land

    assert "build_number" not in fit.covariates
    assert fit.left_out["build_number"] == "has one value (1) in the whole record"


def test_worse_second_sets_are_found_though_their_prior_is_narrow() -> None:
    def second_sets_break_sooner(frame: pl.DataFrame) -> np.ndarray:
        is_second = frame["engine_id"].str.slice(1).cast(pl.Int64) % 2 == 1
        return weibull_truth()(frame) * np.where(is_second, 2.0, 1.0)

    odd = pl.col("engine_id").str.slice(1).cast(pl.Int64) % 2
    spells = made_spells(second_sets_break_sooner).with_columns(build_number=odd + 1)
    fits = fit_fleet(spells, SETTINGS, np.random.default_rng(1))

    found = {effect.name: effect for effect in fits.ring_land.effects(0.95)}["build_number"]
    assert found.step == 1.0
    assert found.low < 2.0 < found.high
    assert found.low > 1.0


def test_a_column_that_copies_another_is_left_out_as_not_separable() -> None:
    spells = small_fleet().spells.with_columns(is_forged=pl.col("is_raised_calibration"))
    used, left_out = usable_covariates(spells, COVARIATES)

    assert "is_forged" not in used
    assert "cannot separate" in left_out["is_forged"]


def test_one_grade_a_dock_is_said_not_to_separate() -> None:
    one_grade = small_fleet().spells.with_columns(
        shortfall_25h_on=pl.when(pl.col("dock_id") == "south").then(3.0).otherwise(0.0)
    )
    mixed = one_grade.with_columns(
        shortfall_25h_on=pl.Series(np.tile([0.0, 3.0], one_grade.height)[: one_grade.height])
    )

    (sentence,) = what_cannot_be_separated(one_grade, SETTINGS)
    assert "cannot be separated" in sentence
    assert what_cannot_be_separated(mixed, SETTINGS) == ()


def test_no_failure_still_answers_from_the_prior_and_cox_says_why_not() -> None:
    spells = small_fleet().spells.with_columns(mode=pl.lit(None, dtype=pl.String))
    fits = fit_fleet(spells, SETTINGS, np.random.default_rng(1))

    assert fits.ring_land.n_failures == 0
    assert fits.ring_land.hazard is not None
    assert fits.ring_land.is_doubtful
    assert fits.cox.fit is None
    assert fits.cox.problem is not None
    assert "event" in fits.cox.problem


def test_no_running_time_is_a_problem_not_a_fit() -> None:
    fits = fit_fleet(small_fleet().spells.clear(), SETTINGS, np.random.default_rng(1))

    assert fits.ring_land.hazard is None
    assert fits.cannot_tell is not None
    assert "no running time on record" in fits.cannot_tell
    with pytest.raises(ValueError, match="no running time on record"):
        fits.ring_land.cumulative_hazard(np.zeros(0), np.ones(0), small_fleet().spells.clear())


def test_a_fit_that_finds_no_top_is_a_problem_not_the_weeks_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One made fleet in seventeen ended its week so (the cause is mended, the way out stays)."""

    def no_top(*_: object, **__: object) -> None:
        raise NoMaximumError(0)

    monkeypatch.setattr(fleet_hazard, "fit_joint_hazard", no_top)
    fits = fit_fleet(small_fleet().spells, SETTINGS, np.random.default_rng(1))

    assert fits.ring_land.hazard is None
    assert fits.cannot_tell == (
        "the fleet's hazard could not be estimated: Parameter 0 has no finite estimate."
    )


def test_bounds_stand_in_for_the_shortfall() -> None:
    spells = small_fleet().spells

    worst = with_bound(spells, "worst_fuel")["shortfall_25h_on"]
    best = with_bound(spells, "best_fuel")["shortfall_25h_on"]
    assert worst.equals(spells["shortfall_25h_high_on"], check_names=False)
    assert best.equals(spells["shortfall_25h_low_on"], check_names=False)
    assert with_bound(spells, "as_recorded").equals(spells)


def test_an_engine_that_broke_oftener_than_like_ones_bears_part_of_it() -> None:
    fits = small_fleet().fits().ring_land
    assert fits.hazard is not None
    one = small_fleet().spells.head(1)
    broken = small_fleet().spells.filter(pl.col("mode") == "ring_land_fracture")["engine_id"]
    whole = set(small_fleet().spells["engine_id"]) - set(broken)

    def hazard(engine_id: str) -> float:
        exposure = one.with_columns(engine_id=pl.lit(engine_id))
        return float(fits.cumulative_hazard(np.zeros(1), np.ones(1), exposure).mean())

    assert min(hazard(engine) for engine in whole) < hazard(broken[0])


def test_an_engine_not_on_record_widens_a_chances_range() -> None:
    fits = small_fleet().fits().ring_land
    one = small_fleet().spells.head(1).with_columns(engine_id=pl.lit("never seen"))
    span = (np.full(1, 100.0), np.full(1, 101.0))

    with_spread = np.log(fits.cumulative_hazard(*span, one))
    without = np.log(fits.cumulative_hazard(*span, one.drop("engine_id")))
    assert with_spread.std() > without.std()


def test_thinned_fits_keep_each_draw_beside_its_own_factors() -> None:
    fits = small_fleet().fits().ring_land
    few = fits.thinned(50)
    assert fits.hazard is not None
    assert few.hazard is not None
    assert few.hazard.n_draws == 50
    every = fits.hazard.n_draws // 50
    np.testing.assert_array_equal(few.hazard.theta[1], fits.hazard.theta[every])
    np.testing.assert_array_equal(few.hazard.own_factor[1], fits.hazard.own_factor[every])
