"""One call a hull: by cost where it may run, by safety where it may not."""

from typing import Any

import polars as pl
import pytest

from ringland.service_week.action_effects import action_costs
from ringland.service_week.action_prices import Prices
from ringland.service_week.week_tables import WeekTables
from ringland.service_week.weekly_calls import hull_calls
from tests.service_week.small_fleet import SETTINGS, small_fleet

PRICES = Prices(180, 170, 3500, 7000, 400, 10, 3, "USD", ())


def tables() -> WeekTables:
    fleet = small_fleet()
    return fleet.tables(fleet.fits())


def call_of(chance_7d: float = 0.01, warning: str | None = None, **costs: float) -> dict[str, Any]:
    """The call on one hull whose actions have the given expected costs."""
    made = tables()
    running = made.running.filter(pl.col("hull_id") == "H03")
    chances = made.chances.filter(pl.col("hull_id") == "H03").with_columns(
        chance_7d=pl.lit(chance_7d)
    )
    expected = {"nothing": 1000.0, "drain_refill": 1100.0, "check": 1200.0, "planned_top_end": 5e3}
    table = pl.DataFrame(
        {
            "hull_id": "H03",
            "action": action,
            "action_cost": 100.0,
            "chance_30d": 0.05,
            "expected_cost": cost,
        }
        for action, cost in (expected | costs).items()
    )
    warnings = pl.DataFrame(
        {"engine_id": ["E3"] if warning else [], "warning": [warning] if warning else []},
        schema={"engine_id": pl.String, "warning": pl.String},
    )
    calls = hull_calls(
        running=running,
        chances=chances,
        drivers=made.drivers.clear(),
        costs=table,
        bench_warnings=warnings,
        prices=PRICES,
        assumptions=SETTINGS,
    )
    return calls.row(0, named=True)


@pytest.mark.parametrize(
    ("costs", "call", "action"),
    [
        ({}, "rent_as_normal", "nothing"),
        ({"drain_refill": 900.0}, "rent_as_normal", "drain_refill"),
        ({"check": 900.0}, "book_check", "check"),
        ({"drain_and_check": 900.0}, "book_check", "drain_and_check"),
        ({"planned_top_end": 900.0}, "book_check", "planned_top_end"),
    ],
)
def test_the_action_of_least_expected_cost_is_called(
    costs: dict[str, float], call: str, action: str
) -> None:
    made = call_of(**costs)

    assert (made["call"], made["action"]) == (call, action)
    assert made["cost_of_waiting"] == 1000.0
    assert made["saving"] == (100.0 if costs else 0.0)


def test_a_chance_at_the_limit_keeps_a_hull_off_whatever_it_costs() -> None:
    made = call_of(chance_7d=SETTINGS.number("call.keep_off_chance_7d"))

    assert (made["call"], made["action"]) == ("keep_off", "check")
    assert made["saving"] == -200.0
    assert "limit of 20 %" in made["reason"]


def test_a_failed_bench_test_books_a_check_and_is_the_reason() -> None:
    made = call_of(warning="Compression, cylinder 3: low")

    assert (made["call"], made["action"]) == ("book_check", "check")
    assert made["reason"] == "Compression, cylinder 3: low."


def test_fleet_gets_one_call_each_ranked_by_cost_of_waiting() -> None:
    calls = tables().calls

    assert sorted(calls["hull_id"]) == [f"H{number:02d}" for number in range(12)]
    ranked = calls.drop_nulls("rank")
    assert ranked["rank"].to_list() == list(range(1, 11))
    assert ranked["cost_of_waiting"].is_sorted(descending=True)
    by_hull = {row["hull_id"]: row for row in calls.to_dicts()}
    assert (by_hull["H00"]["call"], by_hull["H00"]["action"]) == ("keep_off", "repair")
    assert by_hull["H01"]["call"] == by_hull["H02"]["call"] == "not_enough_record"
    assert by_hull["H04"]["call"] == "book_check"


def test_waiting_costs_the_chance_times_an_unplanned_failure() -> None:
    made = tables()
    both = made.calls.join(made.chances, on="hull_id").drop_nulls("chance_30d")

    by_hand = both["chance_30d"] * made.prices.unplanned
    assert both["cost_of_waiting"].to_list() == pytest.approx(by_hand.to_list())


def test_a_check_that_finds_everything_costs_its_price_and_planned_work() -> None:
    """With sensitivity 1 no unplanned failure is left: cost = 180 + 200 + chance x 4,700."""
    fleet = small_fleet()
    fits = fleet.fits()
    running = fleet.tables(fits).running
    costs = action_costs(fits, running, PRICES, SETTINGS.changed(action__check_sensitivity=1.0))
    waiting = costs.filter(pl.col("action") == "nothing").sort("hull_id")
    check = costs.filter(pl.col("action") == "check").sort("hull_id")

    by_hand = 380 + waiting["chance_30d"] * 4700
    assert check["expected_cost"].to_list() == pytest.approx(by_hand.to_list())
    assert (check["chance_30d"] == 0).all()


def test_draining_helps_where_fuel_fell_short_and_renewal_starts_at_age_zero() -> None:
    fleet = small_fleet()
    fits = fleet.fits()
    costs = action_costs(fits, fleet.tables(fits).running, PRICES, SETTINGS)
    chance = costs.pivot("action", index="hull_id", values="chance_30d").join(
        fleet.exposure_now.select("hull_id", "dock_id"), on="hull_id"
    )

    south = chance.filter(pl.col("dock_id") == "south")
    assert (south["drain_refill"] < south["nothing"]).all()
    assert (chance["planned_top_end"] < chance["nothing"]).all()
