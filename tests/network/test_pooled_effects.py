import subprocess
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from ringland.network.pooled_effects import (
    Effects,
    NoEffectsError,
    Pooled,
    effects_without,
    heard,
    own_effects,
    pooled_effects,
    sums_of,
    told,
)
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.cox.risk_sets import RiskSets, build_risk_sets
from ringland.survival.hazard.hazard_bucket import Derivatives
from tests.outside_tools import program

FACTORS = ("shortfall", "age", "is_forged")
EFFECT = np.array([0.5, 0.2, -0.3])


def spells_of(number: int, n: int = 120, effect: np.ndarray = EFFECT) -> pl.DataFrame:
    """One operator's rows: late entries, a course of age of its own, ties on a grid of an hour."""
    rng = np.random.default_rng(700 + number)
    x = np.column_stack([rng.gamma(1.0, 1.0, n), rng.normal(0, 1, n), rng.random(n) < 0.4])
    shape = 0.8 + 0.4 * (number % 5)
    entry = np.floor(rng.uniform(0, 60, n))
    life = (entry / 100) ** shape + rng.exponential(size=n) * np.exp(-x @ effect)
    stop = np.ceil(100 * life ** (1 / shape)).clip(entry + 1)
    seen = np.minimum(stop, entry + 120)
    frame = pl.DataFrame(x, schema=list(FACTORS), orient="row")
    return frame.with_columns(
        start=pl.Series(entry), stop=pl.Series(seen), failed=pl.Series(stop <= seen),
        operator=pl.lit(f"operator {number}"),
    )  # fmt: skip


def rows_of(spells: pl.DataFrame) -> RiskSets:
    x = spells.select(FACTORS).to_numpy()
    return build_risk_sets(spells["start"], spells["stop"], spells["failed"], x, names=FACTORS)


def by_sums(operators: dict[str, pl.DataFrame]) -> Pooled:
    """As a network does it: what is added up is what was told, name by name."""
    rows = {one: rows_of(spells) for one, spells in operators.items()}

    def ask(coef: np.ndarray) -> dict[str, Derivatives]:
        return {one: heard(told(sums_of(of, coef), FACTORS), FACTORS) for one, of in rows.items()}

    return pooled_effects(ask, FACTORS)


FIVE = {f"operator {number}": spells_of(number) for number in range(5)}


def test_effects_from_sums_are_those_of_all_records_in_one_place() -> None:
    spells = pl.concat(FIVE.values())

    apart = by_sums(FIVE).common
    together = fit_cox(
        spells["start"], spells["stop"], spells["failed"], spells.select(FACTORS).to_numpy(),
        names=FACTORS, strata=spells["operator"],
    )  # fmt: skip

    np.testing.assert_allclose(apart.coef, together.coef, rtol=0, atol=1e-10)
    np.testing.assert_allclose(apart.covariance, together.covariance, rtol=1e-8)
    assert 3 <= apart.rounds <= 12


@pytest.mark.r_survival
def test_effects_from_sums_are_those_r_gives_to_strata(tmp_path: Path) -> None:
    """R survival: coxph(Surv(start, stop, failed) ~ ... + strata(operator)), ties as Efron's."""
    pl.concat(FIVE.values()).write_csv(tmp_path / "spells.csv")
    script = """
        library(survival)
        d <- read.csv(commandArgs(TRUE)[1])
        d$failed <- d$failed == "true"
        d$is_forged <- as.numeric(d$is_forged)
        fit <- coxph(Surv(start, stop, failed) ~ shortfall + age + is_forged + strata(operator),
                     d, control = coxph.control(eps = 1e-13, iter.max = 60))
        cat(sprintf("%.17g", c(coef(fit), vcov(fit))))
    """
    told_by_r = subprocess.run(
        [program("Rscript", "r-base-core r-cran-survival"), "-e", script, tmp_path / "spells.csv"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    wanted = np.array(told_by_r.stdout.split(), dtype=float)

    found = by_sums(FIVE).common

    np.testing.assert_allclose(found.coef, wanted[:3], rtol=0, atol=1e-8)
    np.testing.assert_allclose(found.covariance, wanted[3:].reshape(3, 3), rtol=1e-6)


def test_a_factor_that_one_operator_never_varies_is_learned_from_the_others() -> None:
    without = spells_of(1).with_columns(is_forged=pl.lit(0.0))
    others = {"b": spells_of(2), "c": spells_of(3)}

    three = by_sums({"a": without, **others}).common
    alone = own_effects(rows_of(without), FACTORS)

    assert three.factors == FACTORS
    assert alone.factors == ("shortfall", "age")


def test_what_no_operator_varies_is_left_out_and_nothing_at_all_is_refused() -> None:
    flat = {
        name: spells.with_columns(is_forged=pl.lit(1.0)) for name, spells in list(FIVE.items())[:2]
    }
    assert by_sums(flat).common.factors == ("shortfall", "age")
    with pytest.raises(NoEffectsError, match="No factor varies"):
        by_sums({"a": spells_of(1).with_columns(pl.lit(0.0).alias(name) for name in FACTORS)})


def test_a_factor_that_alone_tells_who_failed_is_named() -> None:
    told_apart = spells_of(1).with_columns(is_forged=pl.col("failed").cast(pl.Float64))
    with pytest.raises(NoEffectsError, match="is_forged has no finite estimate"):
        by_sums({"a": told_apart})


def test_one_factor_of_equal_weights_lies_apart_as_der_simonian_and_laird_have_it() -> None:
    """statsmodels 0.15, combine_effects(method_re="chi2"), on effects of the same weight."""
    effect, variance = np.array([0.9, 0.1, 0.7, -0.2, 0.45, 0.3]), 0.04
    weight = np.array([[1 / variance]])

    def ask(coef: np.ndarray) -> dict[str, Derivatives]:
        return {
            f"{number}": Derivatives(
                float(-0.5 * (coef[0] - own) ** 2 / variance), (own - coef) / variance, -weight
            )
            for number, own in enumerate(effect)
        }

    found = pooled_effects(ask, ("fuel",))
    wanted = combine_effects(effect, np.full(6, variance), method_re="chi2")

    assert found.apart[0] ** 2 == pytest.approx(wanted.tau2, rel=1e-9)
    assert found.common.coef[0] == pytest.approx(wanted.mean_effect_fe, rel=1e-9)


def test_operators_whose_effects_differ_are_found_to_differ_and_like_ones_not() -> None:
    rng = np.random.default_rng(5)
    departures = rng.normal(0, 0.25, 60)
    differ = {
        f"{n:02d}": spells_of(n, effect=EFFECT + np.array([0, by, 0]))
        for n, by in enumerate(departures)
    }
    alike = {f"{n:02d}": spells_of(n) for n in range(60)}

    assert by_sums(differ).apart[1] == pytest.approx(departures.std(), abs=0.07)
    assert by_sums(alike).apart[1] < 0.07


def test_a_new_operator_without_failures_borrows_all_and_one_with_some_leans_on_them_less() -> None:
    pool = by_sums(FIVE)
    borrowed = pool.common.as_of_another(np.array([0.3, 0.1, 0.1]))
    new = rows_of(spells_of(9).with_columns(failed=pl.lit(False)))
    young = rows_of(spells_of(9, n=40))

    of_new = own_effects(new, FACTORS, borrowed)
    of_young = own_effects(young, FACTORS, borrowed)

    np.testing.assert_allclose(of_new.coef, pool.common.coef, atol=1e-9)
    np.testing.assert_allclose(of_new.covariance, borrowed.covariance, rtol=1e-9)
    assert (np.diag(of_young.covariance) < np.diag(borrowed.covariance)).all()
    alone = own_effects(young, FACTORS)
    assert (np.diag(of_young.covariance) < np.diag(alone.covariance)).all()


def test_limits_are_those_of_the_normal_law() -> None:
    one = Effects(("fuel",), np.array([0.5]), np.array([[0.04]]), 1)
    assert one.limits(0.95)[0] == pytest.approx([0.5 - 1.959964 * 0.2, 0.5 + 1.959964 * 0.2])


def test_taking_one_operators_sums_off_leaves_what_the_others_say_by_themselves() -> None:
    """One Newton step from the common effects lands well within the others' own uncertainty."""
    pooled = by_sums(FIVE)
    for one, spells in FIVE.items():
        others = by_sums({name: of for name, of in FIVE.items() if name != one}).common
        own = sums_of(rows_of(spells), pooled.common.coef)

        found = effects_without(pooled, own, FACTORS, 0.15)

        assert found is not None
        sure = np.sqrt(np.diag(others.covariance))
        assert np.abs((found.common.coef - others.coef) / sure).max() < 0.1
        moved = np.abs((pooled.common.coef - others.coef) / sure).max()
        assert np.abs((found.common.coef - others.coef) / sure).max() < 0.5 * moved
        np.testing.assert_allclose(found.common.covariance, others.covariance, rtol=0.15, atol=1e-4)
        assert found.apart.min() >= 0.15


def test_of_a_pool_of_one_nothing_is_left() -> None:
    alone = by_sums({"a": spells_of(1)})
    own = sums_of(rows_of(spells_of(1)), alone.common.coef)

    assert effects_without(alone, own, FACTORS, 0.15) is None
