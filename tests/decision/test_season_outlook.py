"""The rest of the season against what can be worked out without playing it."""

import math

import numpy as np
import polars as pl
import pytest

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.season_outlook import season_outlook
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import (
    PRICES,
    constant_hazard,
    running_hulls,
    weibull_hazard,
)

SETTINGS = load_assumptions().changed(planning__plays=4000)
CATALOGUE = default_catalogue(SETTINGS)
LEVEL_SD = 0.2
"""How far the log of the season's hours may be off."""


def outlook(running, hazard, days_left=70.0, seed=1, **more):  # type: ignore[no-untyped-def]
    return season_outlook(
        running.with_columns(rest_turn_sd_log=pl.lit(LEVEL_SD)),
        hazard,
        days_left=days_left,
        catalogue=CATALOGUE,
        prices=PRICES,
        assumptions=SETTINGS,
        rng=np.random.default_rng(seed),
        **more,
    )


def of(table: pl.DataFrame, quantity: str) -> dict[str, float]:
    return table.filter(pl.col("quantity") == quantity).row(0, named=True)


def renewing(*hulls: str):  # type: ignore[no-untyped-def]
    return dict.fromkeys(hulls, (CATALOGUE.actions["planned_top_end"],))


def test_the_hulls_that_fail_are_as_many_as_the_chance_says() -> None:
    # 20 hulls, 2 h a day for 70 days at 0.002 an hour: 20 (1 - exp(-0.28)).
    running = running_hulls(20).with_columns(use_h_d=pl.lit(2.0))

    table, _ = outlook(running, constant_hazard(0.002))

    p = 1 - math.exp(-0.28)
    error = math.sqrt(20 * p * (1 - p) / 4000)
    assert of(table, "hulls that fail")["mean"] == pytest.approx(20 * p, abs=4 * error)
    # four standard errors of the plays


def test_luck_alone_spreads_failures_as_the_binomial_does() -> None:
    # Exact quantiles of Binomial(20, 1 - exp(-0.28)) from scipy.
    from scipy.stats import binom  # noqa: PLC0415 (used here only)

    running = running_hulls(20).with_columns(use_h_d=pl.lit(2.0))
    table, _ = outlook(running, constant_hazard(0.002))

    exact = binom.ppf([0.05, 0.5, 0.95], 20, 1 - math.exp(-0.28))
    row = of(table, "hulls that fail")
    assert [row["q05"], row["q50"], row["q95"]] == pytest.approx(exact, abs=1)
    # 1: a quantile of whole numbers may fall on either side


def test_kits_hours_and_rental_follow_from_the_failures() -> None:
    table, load = outlook(running_hulls(15), weibull_hazard(scale_h=300.0))
    failures = of(table, "failures")

    assert of(table, "kits: top_end_kit")["q95"] == failures["q95"]
    assert of(table, "mechanic hours")["mean"] == pytest.approx(24 * failures["mean"])
    assert of(table, "rental lost")["mean"] == pytest.approx(
        400 * of(table, "rental days lost")["mean"]
    )
    assert of(table, "rental days lost")["mean"] <= 10 * failures["mean"]
    assert load["failures"].sum() == pytest.approx(failures["mean"])
    assert load.height == 10


def test_a_planned_renewal_takes_its_kit_and_hours_whatever_fails() -> None:
    running = running_hulls(5)
    table, load = outlook(running, constant_hazard(0.0), planned=renewing("H001", "H003"))

    assert of(table, "failures")["q95"] == 0
    assert of(table, "kits: top_end_kit")["q05"] == 2
    assert of(table, "mechanic hours")["q50"] == 24
    assert load["mechanic_h"].to_list()[:2] == [24.0, 0.0]


def test_renewing_worn_sets_lowers_the_failures_to_come() -> None:
    running = running_hulls(20).with_columns(age_h=pl.lit(900.0))
    hazard = weibull_hazard(scale_h=600.0)

    left = of(outlook(running, hazard)[0], "failures")["mean"]
    renewed = outlook(running, hazard, planned=renewing(*running["hull_id"]))[0]

    assert of(renewed, "failures")["mean"] < left


def test_a_renewed_set_runs_on_as_one_set_more_of_its_engine() -> None:
    running = running_hulls(6)

    def second_sets_break(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        second = exposure["build_number"].to_numpy() >= 2
        return ((stop_h - start_h) * np.where(second, 100.0, 0.0))[None, :]

    kept = outlook(running, second_sets_break)[0]
    renewed = outlook(running, second_sets_break, planned=renewing("H001", "H003"))[0]

    assert of(kept, "hulls that fail")["q95"] == 0
    assert of(renewed, "hulls that fail")["q05"] == of(renewed, "hulls that fail")["q95"] == 2


def test_an_unsure_hazard_spreads_the_failures_more_than_luck() -> None:
    running = running_hulls(30).with_columns(use_h_d=pl.lit(2.0))

    def unsure(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return np.array([[0.0004], [0.0036]]) * (stop_h - start_h)

    sure = of(outlook(running, constant_hazard(0.002))[0], "failures")
    spread = of(outlook(running, unsure)[0], "failures")

    assert spread["q95"] - spread["q05"] > sure["q95"] - sure["q05"]


def test_the_same_seed_plays_the_same_season() -> None:
    first, second = (outlook(running_hulls(5), weibull_hazard(), seed=9) for _ in range(2))

    assert first[0].equals(second[0])
    assert first[1].equals(second[1])


def test_a_season_that_is_over_has_no_outlook() -> None:
    with pytest.raises(ValueError, match="no hull has a chance this week, or the season is over"):
        outlook(running_hulls(3), weibull_hazard(), days_left=0.0)


def test_a_rule_the_plan_puts_in_force_lowers_the_failures_to_come() -> None:
    """The season held today's fuel whatever the plan did about it."""
    running = running_hulls(20).with_columns(shortfall_25h_on=pl.lit(4.0))
    rule = (CATALOGUE.actions["fuel_rule"],)

    left = of(outlook(running, weibull_hazard())[0], "failures")["mean"]
    ruled = outlook(running, weibull_hazard(), planned=dict.fromkeys(running["hull_id"], rule))[0]

    assert of(ruled, "failures")["mean"] < left / 2  # e^(-0.45 x 4), less what drifts


def test_hours_that_fall_off_after_a_month_take_failures_with_them() -> None:
    running = running_hulls(20).with_columns(use_h_d=pl.lit(2.0), later_use_h_d=pl.lit(0.0))

    _, load = outlook(running, constant_hazard(0.002), days_left=70.0)

    assert load["failures"][5:].sum() == 0
    assert load["failures"][:4].sum() > 0
