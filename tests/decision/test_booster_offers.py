"""Booster until the next delivery, priced as the plan prices better fuel."""

import polars as pl
import pytest

from ringland.contracts.plan_tables import OUTSIDE
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.action_options import option_table
from ringland.decision.value.booster_offers import BoosterOffer, booster_offers
from ringland.decision.value.priced_world import World
from ringland.settings.assumptions import Assumptions, load_assumptions
from tests.decision.plan_cases import PRICES, running_hulls, weibull_hazard

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)
HAZARD = weibull_hazard(effects=(0.45, 0.0, 0.0, 0.0, 0.0))
HORIZON_D = 100.0
HULLS = running_hulls(4).with_columns(
    dock_id=pl.Series(["north", "north", "south", "north"]),
    shortfall_25h_on=pl.Series([2.0, 2.0, 2.0, 0.0]),
    is_raised_calibration=pl.lit(value=False),
)


def offered(delivery_d: float, settings: Assumptions = SETTINGS) -> tuple[BoosterOffer, ...]:
    offers = pl.DataFrame({"dock_id": ["north"], "next_delivery_d": [delivery_d]})
    world = World.of(HAZARD, CATALOGUE, PRICES, settings)
    return booster_offers(world, HULLS, offers, horizon_d=HORIZON_D, assumptions=settings)


def test_a_booster_that_holds_its_label_to_the_end_saves_what_fuel_of_the_need_saves() -> None:
    """Both take two numbers of shortfall away: they differ by their price alone."""
    table = option_table(
        HULLS, HAZARD, catalogue=CATALOGUE, prices=PRICES, horizon_d=HORIZON_D,
        assumptions=SETTINGS,
    )  # fmt: skip
    ruled = table.filter((pl.col("option") == "fuel_rule") & (pl.col("fuel_way") == OUTSIDE))
    ruled = ruled.filter(pl.col("hull_id").is_in(["H000", "H001"]))

    [offer] = offered(HORIZON_D)

    assert offer.hulls == ("H000", "H001")
    spared = ruled["saving"].sum() + ruled["sure_cost"].sum()
    assert offer.saving + offer.cost == pytest.approx(spared, rel=1e-9)
    price = SETTINGS.number("fuel.booster_per_l") / ruled["fuel_per_l"][0]
    assert offer.cost == pytest.approx(ruled["sure_cost"].sum() * price)


def test_half_the_days_cost_and_save_half_and_a_bottle_of_nothing_saves_nothing() -> None:
    [whole], [half] = offered(HORIZON_D), offered(HORIZON_D / 2)
    [water] = offered(HORIZON_D, SETTINGS.changed(octane__booster_benefit=0.0))

    assert (half.cost, half.saving) == pytest.approx((whole.cost / 2, whole.saving / 2))
    assert water.saving == pytest.approx(-water.cost)
    assert whole.saving_low <= -whole.cost < whole.saving <= whole.saving_high
    assert water.saving_high == pytest.approx(whole.saving_high)


def test_a_dock_whose_delivery_is_due_or_whose_hulls_are_not_short_needs_no_booster() -> None:
    assert offered(0.0) == ()
