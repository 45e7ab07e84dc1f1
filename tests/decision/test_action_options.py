"""What an option costs on a hull, against sums done by hand."""

import math

import numpy as np
import polars as pl
import pytest

from ringland.contracts.plan_tables import WeekOptions
from ringland.decision.action_catalogue import NOTHING, CatalogueError
from ringland.decision.action_options import option_table, spare_day_worth
from ringland.decision.catalogue_file import default_catalogue, read_catalogue
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import (
    PRICES,
    constant_hazard,
    running_hulls,
    weibull_hazard,
)

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)

TWO_ACTIONS = """
[action.renew]
label = "New piston set"
cost_item = "top_end_planned"
days_off_item = "days_lost_planned"
renews_age = true
[action.look]
label = "Look"
cost_item = "check"
[action.look.test]
follow_up = "renew"
sensitivity = { value = 0.8, mark = "A", source = "made up" }
specificity = { value = 0.9, mark = "A", source = "made up" }
reach_d = { value = 30.0, mark = "A", source = "made up" }
"""


def table(running, hazard, catalogue=CATALOGUE, horizon_d=30.0):  # type: ignore[no-untyped-def]
    return option_table(
        running,
        hazard,
        catalogue=catalogue,
        prices=PRICES,
        horizon_d=horizon_d,
        assumptions=SETTINGS,
    )


def one_hull(**columns: object) -> pl.DataFrame:
    hull = running_hulls(1).with_columns(use_h_d=pl.lit(2.0), shortfall_25h_on=pl.lit(0.0))
    return hull.with_columns(**{name: pl.lit(value) for name, value in columns.items()})


def at(options: pl.DataFrame, option: str) -> dict[str, float]:
    return options.filter(pl.col("option") == option).row(0, named=True)


def test_leaving_a_hull_costs_its_chance_times_the_price_of_a_failure() -> None:
    # 60 h at 0.001 an hour: 1 - exp(-0.06); 11,000 a failure.
    nothing = at(table(one_hull(), constant_hazard(0.001)), NOTHING)

    assert nothing["chance"] == pytest.approx(1 - math.exp(-0.06))
    assert nothing["expected_cost"] == pytest.approx((1 - math.exp(-0.06)) * 11_000)


def test_a_test_updates_the_chance_by_its_sensitivity_and_specificity() -> None:
    # p = 0.9 within 60 h.  Bad readings 0.8 x 0.9 + 0.1 x 0.1 = 0.73.  The new set, 3 days
    # less to run: 54 h at the same hazard.  Acting on a bad reading: 0.73 x (4,700 + p2 x
    # 11,000) + 0.2 x 0.9 x 11,000 against 0.9 x 11,000.
    per_h = -math.log(0.1) / 60
    catalogue = read_catalogue(TWO_ACTIONS, "two.toml", SETTINGS)
    # A constant hazard gains nothing from renewal, so a good part of bad readings is left.
    look = at(table(one_hull(), constant_hazard(per_h), catalogue), "look")

    renewed = 4_700 + (1 - math.exp(-per_h * 54)) * 11_000
    acted = 0.73 * renewed + 0.2 * 0.9 * 11_000

    assert look["follow_up_chance"] == pytest.approx(0.73)
    assert acted > 0.9 * 11_000  # so the reading is not acted on
    assert look["expected_cost"] == pytest.approx(180 + 0.9 * 11_000)


def test_a_bad_reading_is_acted_on_where_that_pays() -> None:
    # An old set (hazard rising steeply with age) and a new one that cannot fail.
    catalogue = read_catalogue(TWO_ACTIONS, "two.toml", SETTINGS)

    def only_old_sets_fail(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return (0.05 * (stop_h - start_h) * (start_h >= 100))[None, :]

    options = table(one_hull(age_h=300.0), only_old_sets_fail, catalogue)
    p = 1 - math.exp(-0.05 * 60)
    reads_badly = 0.8 * p + 0.1 * (1 - p)

    assert at(options, "look")["expected_cost"] == pytest.approx(
        180 + reads_badly * 4_700 + 0.2 * p * 11_000
    )
    assert at(options, "look")["chance"] == pytest.approx(0.2 * p)
    assert at(options, "renew")["expected_cost"] == pytest.approx(4_700)


def test_a_reading_speaks_of_its_reach_only() -> None:
    # 90 days ahead, reach 30: p = 1 - exp(-3) within it; the same again twice afterwards.
    catalogue = read_catalogue(TWO_ACTIONS, "two.toml", SETTINGS)

    def only_old_sets_fail(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return (0.01 * (stop_h - start_h) * (start_h >= 100))[None, :]

    look = at(table(one_hull(age_h=300.0), only_old_sets_fail, catalogue, 90.0), "look")
    p = 1 - math.exp(-0.6)
    reads_badly = 0.8 * p + 0.1 * (1 - p)
    missed = 0.2 * p + 0.9 * (1 - p) * (1 - math.exp(-1.2))

    assert look["expected_cost"] == pytest.approx(180 + reads_badly * 4_700 + missed * 11_000)
    assert look["follow_up_chance"] == pytest.approx(reads_badly)


def test_a_set_sure_to_fail_within_the_reach_is_priced_without_a_fault() -> None:
    # A chance of exactly one: warnings are errors here, and nothing may divide by zero.
    catalogue = read_catalogue(TWO_ACTIONS, "two.toml", SETTINGS)

    look = at(table(one_hull(), constant_hazard(1e6), catalogue, 90.0), "look")

    assert look["expected_cost"] == pytest.approx(180 + 11_000)


def test_a_test_whose_reading_still_stands_is_not_offered_again() -> None:
    running = running_hulls(3).with_columns(
        tested_d_ago=pl.Series([10.0, 30.0, None], dtype=pl.Float64)
    )

    offered = table(running, weibull_hazard()).filter(pl.col("option") == "leak_down_check")

    assert sorted(offered["hull_id"].to_list()) == ["H001", "H002"]


def test_a_useless_test_never_pays() -> None:
    # se + sp = 1: the reading says nothing.
    useless = TWO_ACTIONS.replace("value = 0.8", "value = 0.1")
    catalogue = read_catalogue(useless, "two.toml", SETTINGS)

    look = table(running_hulls(30), weibull_hazard(), catalogue).filter(pl.col("option") == "look")

    assert look["saving"].max() <= 0  # type: ignore[operator]


def test_a_steady_hazard_never_calls_for_a_new_piston_set() -> None:
    options = table(running_hulls(20), constant_hazard(0.004), horizon_d=120.0)

    renewals = options.filter(pl.col("option").is_in(["planned_top_end", "full_rebuild"]))

    assert renewals["saving"].max() < 0  # type: ignore[operator]


def test_without_an_effect_of_fuel_no_fuel_action_saves() -> None:
    no_effect = weibull_hazard(effects=(0.0, 0.0, 0.0, 0.0, 0.0))

    options = table(running_hulls(40), no_effect, horizon_d=120.0)
    fuel = options.filter(
        pl.col("option").is_in(["fuel_rule", "drain_refill", "fuel_and_throttle"])
    )

    assert fuel["saving"].max() <= 0  # type: ignore[operator]
    assert fuel["chance_it_saves"].max() == 0


def test_leaving_a_hull_for_a_week_is_never_dearer_than_leaving_it_for_good() -> None:
    running, hazard = running_hulls(30), weibull_hazard(scale_h=500.0)
    nothing_to_do = read_catalogue(
        '[action.wait]\nlabel = "Wait"\ncost = { value = 9e6, mark = "A", source = "dear" }',
        "wait.toml",
        SETTINGS,
    )

    left = table(running, hazard, horizon_d=120.0).filter(pl.col("option") == NOTHING)
    never = table(running, hazard, nothing_to_do, 120.0).filter(pl.col("option") == NOTHING)

    saved = (left.sort("hull_id")["expected_cost"] - never.sort("hull_id")["expected_cost"]).max()
    assert saved <= 0  # type: ignore[operator]
    assert (left["expected_cost"].sum()) < never["expected_cost"].sum()


def test_the_range_of_a_saving_is_taken_draw_by_draw() -> None:
    # An action that changes nothing and costs 150 saves -150 for certain, however unsure
    # the chance is.
    idle = read_catalogue(
        '[action.idle]\nlabel = "Idle"\ncost = { value = 150, mark = "A", source = "made up" }',
        "idle.toml",
        SETTINGS,
    )

    row = at(table(running_hulls(1), weibull_hazard(), idle), "idle")

    assert (row["saving_low"], row["saving"], row["saving_high"]) == pytest.approx([-150] * 3)
    assert row["cost_high"] > row["cost_low"] + 10


def test_fuel_that_is_not_on_record_widens_the_range_and_not_the_middle() -> None:
    hull = one_hull(shortfall_25h_on=2.0)
    known = hull.with_columns(
        shortfall_25h_low_on=2.0 * pl.lit(1.0), shortfall_25h_high_on=pl.lit(2.0)
    )
    unknown = hull.with_columns(shortfall_25h_low_on=pl.lit(0.0), shortfall_25h_high_on=pl.lit(6.0))

    sure, open_ = (at(table(each, weibull_hazard()), "drain_refill") for each in (known, unknown))

    assert open_["expected_cost"] == sure["expected_cost"]
    assert open_["chance_high"] > sure["chance_high"]
    assert open_["chance_low"] < sure["chance_low"]


def test_ranges_hold_their_middles_and_every_hull_can_be_left() -> None:
    running = running_hulls(25)
    options = table(running, weibull_hazard())

    for name in ("saving", "chance"):
        assert (options[f"{name}_low"] <= options[name]).all()
        assert (options[name] <= options[f"{name}_high"]).all()
    assert options.filter(pl.col("option") == NOTHING).height == running.height


def test_the_calibration_is_offered_only_where_it_is_raised() -> None:
    running = running_hulls(25)
    options = table(running, weibull_hazard())

    offered = options.filter(pl.col("option") == "mild_calibration")["hull_id"].to_list()

    raised = running.filter("is_raised_calibration")["hull_id"].to_list()
    assert sorted(offered) == sorted(raised) != []


def test_a_hull_without_a_chance_has_no_options() -> None:
    running = running_hulls(3).with_columns(
        why_not=pl.when(pl.col("hull_id") == "H001").then(pl.lit("no rental on record"))
    )

    assert table(running, weibull_hazard())["hull_id"].unique().sort().to_list() == ["H000", "H002"]


def test_no_hull_with_a_chance_gives_an_empty_table() -> None:
    running = running_hulls(3).with_columns(why_not=pl.lit("no rental on record"))

    assert table(running, weibull_hazard()).equals(WeekOptions.create_empty())


def test_order_of_hulls_does_not_matter() -> None:
    running = running_hulls(12)

    assert table(running, weibull_hazard()).equals(
        table(running.sample(fraction=1, shuffle=True, seed=5), weibull_hazard())
    )


def test_an_item_that_is_not_on_the_price_list_is_refused_by_name() -> None:
    gold = read_catalogue('[action.gild]\nlabel = "Gild"\ncost_item = "gold"', "g.toml", SETTINGS)

    with pytest.raises(CatalogueError, match=r"action\.gild is priced by 'gold'.*use one of check"):
        table(running_hulls(1), weibull_hazard(), gold)


def test_a_spare_earns_the_lost_rental_less_its_own_risk() -> None:
    # 1 - exp(-0.06) of 11,000 over 30 days is 21.35 a day.
    options = table(one_hull(), constant_hazard(0.001))

    assert spare_day_worth(options, PRICES, 30.0) == pytest.approx(
        400 - (1 - math.exp(-0.06)) * 11_000 / 30
    )


def two_minded_hazard(share_that_harms: float, n_draws: int = 100):  # type: ignore[no-untyped-def]
    """Draws in which a shortfall raises the hazard, and draws in which it lowers it as much."""
    beta = np.where(np.arange(n_draws) < share_that_harms * n_draws, 0.3, -0.3)[:, None]

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        short = exposure["shortfall_25h_on"].cast(pl.Float64).to_numpy()
        return 0.001 * (stop_h - start_h) * np.exp(beta * short)

    return hazard


@pytest.mark.parametrize(("share", "paid_for"), [(0.98, False), (0.99, True)])
def test_fuel_is_paid_for_only_where_the_record_shows_that_it_helps(
    share: float, paid_for: bool
) -> None:
    options = table(one_hull(shortfall_25h_on=4.0), two_minded_hazard(share))
    rule, top_end = at(options, "fuel_rule"), at(options, "planned_top_end")

    assert rule["shown_chance"] == pytest.approx(share)
    assert rule["is_paid_for"] is paid_for
    assert at(options, "fuel_and_top_end")["is_paid_for"] is paid_for
    assert (top_end["is_paid_for"], top_end["shown_chance"]) == (True, None)


def test_where_nothing_is_known_to_matter_no_change_of_fuel_is_paid_for() -> None:
    options = table(running_hulls(5), constant_hazard(0.001))
    fuel = options.filter(pl.col("shown_chance").is_not_null())

    assert set(fuel["option"]) >= {"drain_refill", "fuel_rule", "restrict_throttle"}
    assert not fuel["is_paid_for"].any()


def test_leaving_a_hull_counts_on_nothing_next_week_that_the_record_does_not_show() -> None:
    hull = one_hull(shortfall_25h_on=4.0)
    shown, unshown = (table(hull, two_minded_hazard(share)) for share in (0.99, 0.98))

    assert at(shown, NOTHING)["expected_cost"] < at(shown, NOTHING)["chance"] * 11_000 + 1_000
    # Never acting: 60 h at 0.001 e^(+-1.2) an hour, 98 draws of 100 with the plus.
    never = sum(
        share * (1 - math.exp(-0.06 * math.exp(sign * 1.2)))
        for share, sign in ((0.98, 1), (0.02, -1))
    )
    assert at(unshown, NOTHING)["expected_cost"] == pytest.approx(never * 11_000)
    assert at(shown, NOTHING)["chance"] < never
