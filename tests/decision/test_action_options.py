"""What an option costs on a hull, against sums done by hand."""

import math
from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest

from ringland.contracts.plan_tables import WeekOptions
from ringland.decision.actions.action_catalogue import NOTHING, CatalogueError
from ringland.decision.actions.catalogue_file import default_catalogue, read_catalogue
from ringland.decision.value.action_options import option_table, spare_day_worth
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import (
    PRICES,
    constant_hazard,
    running_hulls,
    weibull_hazard,
)

SETTINGS = load_assumptions()
AS_OF = datetime(2026, 6, 1, tzinfo=UTC)
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


def table(  # type: ignore[no-untyped-def]
    running, hazard, catalogue=CATALOGUE, horizon_d=30.0, settings=SETTINGS, **more
):
    return option_table(
        running,
        hazard,
        catalogue=catalogue,
        prices=PRICES,
        horizon_d=horizon_d,
        assumptions=settings,
        **more,
    )


THIS_SEASON = SETTINGS.changed(planning__carry_over_share=0.0)
"""What a set's age is worth after the season left out, so that sums can be done by hand."""


def failure(per_h: float, half_h: float) -> float:
    """Money for a failure whose new set, fitted half way, may fail in its turn."""
    return 11_000 * (1 + 1 - math.exp(-per_h * half_h))


def one_hull(**columns: object) -> pl.DataFrame:
    hull = running_hulls(1).with_columns(use_h_d=pl.lit(2.0), shortfall_25h_on=pl.lit(0.0))
    return hull.with_columns(**{name: pl.lit(value) for name, value in columns.items()})


def at(options: pl.DataFrame, option: str) -> dict[str, float]:
    return options.filter(pl.col("option") == option).row(0, named=True)


def test_leaving_a_hull_costs_its_chance_times_the_price_of_a_failure() -> None:
    # 60 h at 0.001 an hour: 1 - exp(-0.06); 11,000 a failure, and the new set runs on for 30 h.
    nothing = at(table(one_hull(), constant_hazard(0.001)), NOTHING)

    assert nothing["chance"] == pytest.approx(1 - math.exp(-0.06))
    assert nothing["expected_cost"] == pytest.approx((1 - math.exp(-0.06)) * failure(0.001, 30))


def test_a_test_updates_the_chance_by_its_sensitivity_and_specificity() -> None:
    # p = 0.9 within 60 h.  Bad readings 0.8 x 0.9 + 0.1 x 0.1 = 0.73.  The new set, 3 days
    # less to run: 54 h at the same hazard.  Acting on a bad reading: 0.73 x (4,700 + p2 x
    # price) + 0.2 x 0.9 x price against 0.9 x price of a failure.
    per_h = -math.log(0.1) / 60
    catalogue = read_catalogue(TWO_ACTIONS, "two.toml", SETTINGS)
    # A constant hazard gains nothing from renewal, so a good part of bad readings is left.
    look = at(table(one_hull(), constant_hazard(per_h), catalogue), "look")

    price = failure(per_h, 30)
    renewed = 4_700 + (1 - math.exp(-per_h * 54)) * price
    acted = 0.73 * renewed + 0.2 * 0.9 * price

    assert look["follow_up_chance"] == pytest.approx(0.73)
    assert acted > 0.9 * price  # so the reading is not acted on
    assert look["expected_cost"] == pytest.approx(180 + 0.9 * price)


def test_a_bad_reading_is_acted_on_where_that_pays() -> None:
    # An old set (hazard rising steeply with age) and a new one that cannot fail.
    catalogue = read_catalogue(TWO_ACTIONS, "two.toml", SETTINGS)

    def only_old_sets_fail(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return (0.05 * (stop_h - start_h) * (start_h >= 100))[None, :]

    options = table(one_hull(age_h=300.0), only_old_sets_fail, catalogue, settings=THIS_SEASON)
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

    look = at(
        table(one_hull(age_h=300.0), only_old_sets_fail, catalogue, 90.0, THIS_SEASON), "look"
    )
    p = 1 - math.exp(-0.6)
    reads_badly = 0.8 * p + 0.1 * (1 - p)
    missed = 0.2 * p + 0.9 * (1 - p) * (1 - math.exp(-1.2))

    assert look["expected_cost"] == pytest.approx(180 + reads_badly * 4_700 + missed * 11_000)
    assert look["follow_up_chance"] == pytest.approx(reads_badly)


def test_a_set_sure_to_fail_within_the_reach_is_priced_without_a_fault() -> None:
    # A chance of exactly one: warnings are errors here, and nothing may divide by zero.
    catalogue = read_catalogue(TWO_ACTIONS, "two.toml", SETTINGS)

    look = at(table(one_hull(), constant_hazard(1e6), catalogue, 90.0), "look")

    assert look["expected_cost"] == pytest.approx(180 + 2 * 11_000)  # the new set too


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


def test_putting_a_renewal_off_is_priced_apart_from_doing_without() -> None:
    running, hazard = running_hulls(30), weibull_hazard(scale_h=150.0)

    options = table(running, hazard, horizon_d=120.0, n_failures=200)
    left = options.filter(pl.col("option") == NOTHING)

    # Without a new set all along costs more than one fitted next week, on some of these.
    assert (left["planned_cost"] <= left["expected_cost"]).all()
    assert (left["planned_cost"] < left["expected_cost"] - 100).any()
    rule = options.filter(pl.col("option") == "fuel_rule").sort("hull_id")
    nothing = left.sort("hull_id")
    # A rule begun a week later does a week's part of nothing.
    a_week = nothing["planned_cost"] * 7 / 120 + rule["planned_cost"] * 113 / 120
    assert rule["week_later"].to_numpy() == pytest.approx(a_week.to_numpy())


def test_a_rule_is_valued_over_the_season_and_not_by_a_week_of_it() -> None:
    """A rule was held against waiting a week and then doing it all the same: it never paid."""
    hull = one_hull(shortfall_25h_on=4.0, use_h_d=1.0)
    harms = weibull_hazard(n_draws=1, effects=(0.45, 0.0, 0.0, 0.0, 0.0))

    long, short = (at(table(hull, harms, horizon_d=days), "fuel_rule") for days in (120.0, 30.0))

    # The window takes 25 h to fill with the better fuel: a month shows half the season's rate.
    assert long["saving"] > 4 * 2 * short["saving"] / 2
    assert long["saving"] == pytest.approx(
        at(table(hull, harms, horizon_d=120.0), NOTHING)["expected_cost"] - long["expected_cost"]
    )


def test_hours_left_in_a_new_set_count_for_its_renewal() -> None:
    hull, worn = one_hull(age_h=600.0), weibull_hazard(scale_h=2500.0)

    with_end, without = (
        at(table(hull, worn, horizon_d=30.0, settings=settings), "planned_top_end")["saving"]
        for settings in (SETTINGS, THIS_SEASON)
    )

    assert without < with_end < without + 2 * PRICES.top_end_planned


def test_a_calibration_put_back_counts_beyond_the_season_and_a_rule_does_not() -> None:
    hull = one_hull(is_raised_calibration=True, shortfall_25h_on=2.0)

    with_end, without = (
        table(hull, weibull_hazard(), horizon_d=30.0, settings=settings)
        for settings in (SETTINGS, THIS_SEASON)
    )

    gained = {
        option: at(with_end, option)["saving"] - at(without, option)["saving"]
        for option in ("mild_calibration", "fuel_rule")
    }
    assert gained["mild_calibration"] > 100
    assert abs(gained["fuel_rule"]) < gained["mild_calibration"] / 4


STANDS = pl.DataFrame(
    {
        "hull_id": ["H000"], "action": ["fuel_rule"], "begun_at": [AS_OF], "last_at": [AS_OF],
        "is_rule": [True],
    }
)  # fmt: skip


def test_a_rule_is_not_put_off_for_more_than_its_price_and_not_ended_lightly() -> None:
    """A fault found in use: a share asked beyond the price to begin left docks without better
    fuel that was worth it."""
    hull = one_hull(shortfall_25h_on=4.0)

    new, standing = (
        table(hull, weibull_hazard(), horizon_d=90.0, standing=held) for held in (None, STANDS)
    )

    begun, ended = at(new, "fuel_rule"), at(standing, NOTHING)
    assert begun["change_cost"] == pytest.approx(20.0)
    assert ended["change_cost"] == pytest.approx(20.0 + 0.6 * begun["sure_cost"])
    assert (begun["begins"], ended["ends"]) == (["fuel_rule"], ["fuel_rule"])
    assert at(standing, "fuel_rule")["change_cost"] == at(new, NOTHING)["change_cost"] == 0


def test_what_a_dock_can_order_is_priced_for_all_its_hulls_and_begins_with_the_delivery() -> None:
    running = running_hulls(6)
    offers = pl.DataFrame(
        {
            "dock_id": ["north"], "grade_aki": [93.0], "own_aki": [87.0], "per_l": [0.05],
            "next_delivery_d": [30.0],
        }
    )  # fmt: skip

    options = table(running, weibull_hazard(), horizon_d=90.0, offers=offers)

    north = running.filter(pl.col("dock_id") == "north")["hull_id"].to_list()
    ordered = options.filter(pl.col("fuel_way") == "dock@93")
    assert sorted(ordered["hull_id"].unique().to_list()) == sorted(north) != []
    of_dock = ordered.filter(pl.col("own_option") == NOTHING).sort("hull_id")
    outside = options.filter(
        (pl.col("option") == "fuel_rule") & (pl.col("fuel_way") == "outside")
        & pl.col("hull_id").is_in(north)
    ).sort("hull_id")  # fmt: skip
    # Two thirds of the season at a third of the price.
    assert of_dock["sure_cost"].to_numpy() == pytest.approx(outside["sure_cost"].to_numpy() * 2 / 9)
    assert (of_dock["chance"] >= outside["chance"]).all()
    assert set(of_dock["option"]) == {"fuel_rule"}


def test_a_grade_that_a_raised_calibration_outruns_leaves_it_short_and_the_mild_one_not() -> None:
    hull = one_hull(shortfall_25h_on=6.0, is_raised_calibration=True, dock_id="north")
    offer = {"dock_id": ["north"], "own_aki": [87.0], "per_l": [0.05], "next_delivery_d": [0.0]}

    stock, raised = (
        table(
            hull, weibull_hazard(), horizon_d=90.0,
            offers=pl.DataFrame(offer | {"grade_aki": [grade]}),
        ).filter(pl.col("fuel_way").str.starts_with("dock"))
        for grade in (91.0, 93.0)
    )  # fmt: skip

    assert at(stock, "fuel_rule")["chance"] > at(raised, "fuel_rule")["chance"]
    mild = "fuel_and_calibration"
    assert at(stock, mild)["chance"] == pytest.approx(at(raised, mild)["chance"])


LOOK = """
[action.read]
label = "Read"
cost = { value = 40.0, mark = "A", source = "made up" }
[action.read.finding]
chance = { value = 0.1, mark = "A", source = "made up" }
stands_d = { value = 100.0, mark = "A", source = "made up" }
answer = "mild"
effect = [{ covariate = "is_raised_calibration", how = "set", by = { value = 1.0, mark = "A", source = "made up" } }]
[action.mild]
label = "Mild"
cost = { value = 150.0, mark = "A", source = "made up" }
only_where = { is_raised_calibration = 1 }
[[action.mild.effect]]
covariate = "is_raised_calibration"
how = "set"
by = { value = 0.0, mark = "A", source = "made up" }
"""  # noqa: E501


def raised_breaks(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
    raised = exposure["is_raised_calibration"].cast(pl.Float64).to_numpy()
    return ((stop_h - start_h) * np.where(raised > 0, 0.01, 0.0))[None, :]


def test_a_look_at_the_record_is_worth_what_it_would_put_right() -> None:
    # Raised without a word: 60 h at 0.01 an hour.  One in ten is, and going mild costs 150.
    hull = one_hull(is_raised_calibration=False)
    read = at(
        table(
            hull, raised_breaks, read_catalogue(LOOK, "look.toml", SETTINGS), settings=THIS_SEASON
        ),
        "read",
    )

    worth = 0.1 * ((1 - math.exp(-0.6)) * failure(0.01, 30) - 150)
    assert read["saving"] == pytest.approx(worth - 40)


def test_a_look_that_still_stands_is_not_asked_for_again() -> None:
    hull = one_hull(is_raised_calibration=False)
    looked = STANDS.with_columns(action=pl.lit("read"), is_rule=pl.lit(False))

    options = table(hull, raised_breaks, read_catalogue(LOOK, "l", SETTINGS), standing=looked)

    assert "read" not in options["option"].to_list()


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


def test_a_new_set_must_gain_more_than_its_price_unless_a_failed_test_asks_for_it() -> None:
    """A fault found in use: of sets said to gain 900 by a top end, most lost 600 in truth."""
    hulls = one_hull(age_h=500.0)
    failed = hulls.with_columns(
        failed_measures=pl.Series([["leak_down"]]),
        looked_further=pl.Series([[]], dtype=pl.List(pl.String)),
    )

    calm, asked = (at(table(each, weibull_hazard()), "planned_top_end") for each in (hulls, failed))

    assert calm["change_cost"] == pytest.approx(0.3 * PRICES.planned_renewal)
    assert asked["change_cost"] == 0


def test_the_more_failures_a_hazard_rests_on_the_less_a_new_set_is_doubted() -> None:
    """A fault found in use: with twenty failures on record old sets were left that were known
    to be worn out, for the doubt was that of a fleet with four."""
    hulls = one_hull(age_h=500.0)

    doubts = [
        at(table(hulls, weibull_hazard(), n_failures=n), "planned_top_end")["change_cost"]
        for n in (0, 5, 10, 20)
    ]

    whole = 0.3 * PRICES.planned_renewal
    assert doubts == pytest.approx([whole, whole, whole / 2, whole / 4])


def worn_past_400_h(start_h: np.ndarray, stop_h: np.ndarray, _exposure: pl.DataFrame) -> np.ndarray:
    return ((stop_h / 400) ** 3 - (start_h / 400) ** 3)[None, :]


def test_what_a_new_set_must_gain_does_not_put_it_off_week_after_week() -> None:
    """A fault found in use: the doubt stood against a set renewed now and not against one renewed
    next week, so a worn set that would hardly see the season's end was put off for ever."""
    options = table(one_hull(age_h=400.0), worn_past_400_h, horizon_d=120.0)
    left, now = at(options, NOTHING), at(options, "planned_top_end")

    assert left["chance"] > 0.9
    assert now["saving"] > now["change_cost"] > 1_000  # far more than it is doubted
    assert now["planned_cost"] + now["change_cost"] < left["planned_cost"] + left["change_cost"]


def test_a_renewal_that_gains_less_than_it_is_doubted_is_not_held_to_come_next_week() -> None:
    options = table(one_hull(age_h=190.0), worn_past_400_h, horizon_d=120.0)
    left, now = at(options, NOTHING), at(options, "planned_top_end")

    assert 0 < now["saving"] < now["change_cost"]
    assert left["change_cost"] == 0
    assert left["planned_cost"] == left["expected_cost"]
