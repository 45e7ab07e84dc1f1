"""Better fuel at what was paid for it: outside, and ordered by a dock."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import polars as pl
import pytest

from ringland.contracts.records import Deliveries, Fills
from ringland.decision.actions.action_terms import outside_per_l
from ringland.decision.actions.catalogue_file import own_catalogue
from ringland.decision.actions.fuel_offers import fuel_offers, outside_steps
from ringland.pages.week.report_words import outside_line
from tests.decision.plan_cases import PRICES
from tests.decision.small_fleet import AS_OF, CATALOGUE, SETTINGS, frame

RULE = CATALOGUE.actions["fuel_rule"]
BOUGHT = [
    ("north", 87.0, 0.90, 3_000.0),
    ("north", 91.0, 1.00, 1_000.0),
    ("south", 87.0, 0.70, 1.0),
]


def fills(n: int = 5, **facts: Any) -> pl.DataFrame:
    one = {
        "hull_id": "H1", "filled_at": AS_OF - timedelta(days=9), "volume_l": 30.0,
        "source": "outside", "octane_aki": 91.0, "price_per_l": 1.25,
    }  # fmt: skip
    return frame(Fills, [one | facts for _ in range(n)])


def deliveries() -> pl.DataFrame:
    rows = [
        {"dock_id": dock, "delivered_at": AS_OF - timedelta(days=20), "octane_aki": aki,
         "price_per_l": price, "volume_l": litres}
        for dock, aki, price, litres in BOUGHT
    ]  # fmt: skip
    return frame(Deliveries, rows)


def steps(record: pl.DataFrame) -> dict[str, float]:
    return outside_steps(record, deliveries(), AS_OF, SETTINGS)


def test_fuel_filled_outside_costs_what_was_paid_beyond_the_docks_own() -> None:
    """It stood at 0.15 a litre beside a record that said 0.38.

    North pays (3,000 at 0.90 + 1,000 at 1.00) / 4,000 = 0.925 a litre, south 0.70.
    """
    assert steps(fills()) == pytest.approx({"north": 0.325, "south": 0.55})


@pytest.mark.parametrize(
    "record",
    [
        fills(4),
        fills(octane_aki=87.0),
        fills(price_per_l=None),
        fills(source="dock", source_dock_id="north"),
        fills(filled_at=AS_OF - timedelta(days=400)),
        fills(filled_at=AS_OF + timedelta(days=1)),
    ],
    ids=["too few", "below the need", "no price", "at a dock", "long ago", "not yet known"],
)
def test_a_record_that_does_not_tell_the_price_outside_leaves_the_catalogues(
    record: pl.DataFrame,
) -> None:
    assert steps(record) == {}
    docks = pl.Series(["north", "south"])
    assert outside_per_l(RULE, docks, PRICES).tolist() == [0.15, 0.15]
    assert "a set price: too few such fills" in outside_line(RULE, PRICES, ["north"])


def test_a_dock_without_a_price_keeps_the_catalogues_and_the_shops_own_file_holds() -> None:
    paid = replace(PRICES, outside_per_l=steps(fills()))
    docks = ["east", "north"]
    own = own_catalogue("[action.fuel_rule]\ncost_per_l = 0.09", "actions.toml", SETTINGS)

    assert outside_per_l(RULE, pl.Series(docks), paid) == pytest.approx([0.15, 0.325])
    assert (outside_per_l(own.actions["fuel_rule"], pl.Series(docks), paid) == 0.09).all()
    assert outside_line(RULE, paid, docks).endswith(
        "east money 0.15 a litre, north money 0.32 a litre."
    )


def test_a_dock_is_offered_a_grade_at_what_its_poorer_litres_would_cost_more() -> None:
    """North: three of four thousand litres are 87 AKI, 0.10 a litre cheaper than its own 91; its
    own fuel is (3,000 x 87 + 1,000 x 91) / 4,000 = 88 AKI.  South has no hull, no hull is raised.
    """
    running = pl.DataFrame({"dock_id": ["north"], "is_raised_calibration": [False]})

    offers = fuel_offers(deliveries(), running, AS_OF, SETTINGS)

    told = offers.select("dock_id", "grade_aki", "own_aki", "per_l").rows()
    assert told == [("north", 91.0, pytest.approx(88.0), pytest.approx(0.10 * 0.75))]
