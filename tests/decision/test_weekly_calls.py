"""One call a hull: the plan's action where it may run, a safety rule's where it may not."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import polars as pl
import pytest

from ringland.contracts.decision_tables import HullJobs
from ringland.decision.actions.safety_rules import safety_rules
from ringland.decision.jobs.hull_state import Week
from ringland.decision.jobs.new_jobs import Asker
from ringland.decision.weekly_calls import hull_calls
from tests.decision.small_fleet import AS_OF, CATALOGUE, SETTINGS, frame, small_fleet

FLEET = small_fleet()
FITS = FLEET.fits()
TABLES = FLEET.tables(FITS)
MADE = FLEET.decisions(FITS)
ASHORE = "take_out_of_use"
ASKER = Asker(Week(AS_OF, CATALOGUE), 5.0, TABLES.prices, ASHORE, 30.0)
NO_JOBS = HullJobs.create_empty()


def call_of(
    option: str,
    chance_7d: float = 0.01,
    short_of: tuple[str, ...] = (),
    earlier: pl.DataFrame = NO_JOBS,
) -> dict[str, Any]:
    """The call on H03 where the plan gives it the option."""
    is_h03 = pl.col("hull_id") == "H03"
    chances = TABLES.chances.with_columns(
        chance_7d=pl.when(is_h03).then(chance_7d).otherwise("chance_7d"),
        chance_30d=pl.when(is_h03).then(0.05).otherwise("chance_30d"),  # below the rule's limit
    )
    wrong = [name for name in TABLES.at_hand.columns if name.startswith("is_")]
    fine = TABLES.at_hand.with_columns(pl.lit(value=False).alias(name) for name in wrong)
    tables = replace(TABLES, chances=chances, at_hand=fine)  # its fuel would hold it back besides
    rules = safety_rules(tables.running, chances, tables.bench_warnings, SETTINGS)
    assert MADE.plan is not None
    way = MADE.options.filter(hull_id="H03", option=option)["fuel_way"][0]
    planned = MADE.plan.rows.with_columns(
        option=pl.when(pl.col("hull_id") == "H03").then(pl.lit(option)).otherwise("option"),
        fuel_way=pl.when(pl.col("hull_id") == "H03").then(pl.lit(way)).otherwise("fuel_way"),
        saving=pl.when(is_h03 & (pl.lit(option) == "nothing")).then(0.0).otherwise("saving"),
        wanted=pl.lit("planned_top_end"),
        short_of=pl.when(pl.col("hull_id") == "H03")
        .then(pl.lit(list(short_of), dtype=pl.List(pl.String)))
        .otherwise("short_of"),
        is_bound=pl.col("hull_id").is_in(rules["hull_id"].implode()),
    )
    calls, _ = hull_calls(
        tables,
        drivers=tables.drivers.clear(),
        rules=rules,
        options=MADE.options,
        planned=planned,
        asker=ASKER,
        earlier=earlier,
        horizon_d=30.0,
        assumptions=SETTINGS,
    )
    return calls.filter(hull_id="H03").row(0, named=True)


@pytest.mark.parametrize(
    ("option", "call"),
    [
        ("nothing", "No open job known"),
        ("drain_refill", "Rent only with this done by Sat 8 Aug: drain and refill"),
        (
            "fuel_and_throttle",
            "Rent only with 91 AKI or better; no more than three-quarter throttle",
        ),
        ("leak_down_check", "Rent only with this done by Sat 8 Aug: leak-down check"),
        (
            "fuel_and_check",
            "Rent only with 91 AKI or better; this done by Sat 8 Aug: leak-down check",
        ),
        ("planned_top_end", "Rent only with this done by Sat 8 Aug: planned top end"),
        (ASHORE, "Do not rent until Mon 10 Aug, when it is decided again"),
    ],
)
def test_the_state_follows_from_the_plans_action(option: str, call: str) -> None:
    """'Book a check by Saturday' left open whether the hull may be rented today."""
    made = call_of(option)
    priced = MADE.options.filter(hull_id="H03", option=option).row(0, named=True)

    assert (made["says"], made["action"]) == (call, option)
    assert made["action_cost"] == priced["sure_cost"]
    assert made["decided_by"] == "cost"


def test_a_chance_at_the_limit_keeps_a_hull_off_whatever_its_action() -> None:
    limit = SETTINGS.number("call.keep_off_chance_7d")
    made = call_of("leak_down_check", chance_7d=limit)

    assert (made["call"], made["decided_by"]) == ("do_not_rent", "safety")
    assert made["says"] == "Do not rent until its leak-down check is passed"
    assert "at or over the 20 % from which a hull is kept off the water" in made["reason"]
    assert call_of("leak_down_check", chance_7d=limit - 0.001)["call"] == "rent_only"


def test_a_hull_that_waits_for_room_says_for_what() -> None:
    made = call_of("nothing", short_of=("lift slots",))

    assert (made["waits_for"], made["no_room_in"]) == ("planned_top_end", "lift slots")
    assert call_of("nothing")["waits_for"] is None


def test_a_job_of_an_earlier_list_costs_what_it_says_whatever_the_plan_gives() -> None:
    """'Read out the calibration', 40 on its job, stood beside a cost of doing of nothing."""
    asked_at = AS_OF - timedelta(days=7)
    job = dict.fromkeys(HullJobs.column_names()) | {
        "job_id": "H03/read_calibration/2026-07-27", "hull_id": "H03", "what": "read_calibration",
        "because": "cost", "why": "It pays.", "is_must": False, "state": "open",
        "asked_at": asked_at, "due_at": asked_at + timedelta(days=5), "price": 35.0,
    }  # fmt: skip
    earlier = frame(HullJobs, [job])
    alone, beside = call_of("nothing", earlier=earlier), call_of("drain_refill", earlier=earlier)
    plain, planned = call_of("drain_refill"), call_of("read_calibration", earlier=earlier)

    assert (alone["do"], alone["action_cost"]) == (["read_calibration"], 40.0)  # this week's price
    assert (alone["saving"], alone["decided_by"]) == (-40.0, "earlier")
    assert beside["action_cost"] == plain["action_cost"] + 40.0
    assert beside["saving"] == pytest.approx(plain["saving"] - 40.0)
    assert planned["action_cost"] == 40.0  # counted once


def test_a_broken_hull_stays_off_the_water_where_nothing_could_be_planned() -> None:
    """In a fleet without any option an open failure read 'Not enough record to say'."""
    assert MADE.plan is not None
    stopped = pl.col("hull_id").is_in(["H00", "H04"])
    calls, _ = hull_calls(
        TABLES,
        drivers=TABLES.drivers.clear(),
        rules=safety_rules(TABLES.running, TABLES.chances, TABLES.bench_warnings, SETTINGS),
        options=MADE.options.filter(~stopped),
        planned=MADE.plan.rows.filter(~stopped),
        asker=ASKER,
        earlier=NO_JOBS,
        horizon_d=30.0,
        assumptions=SETTINGS,
    )
    by_hull = dict(calls.select("hull_id", "call").rows())

    assert by_hull["H00"] == "do_not_rent"  # an open failure
    assert by_hull["H04"] == "do_not_rent"  # a failed test
    assert by_hull["H02"] == "not_enough_record"


def test_fleet_gets_one_call_each_ranked_by_cost_of_waiting() -> None:
    calls = MADE.calls

    assert sorted(calls["hull_id"]) == [f"H{number:02d}" for number in range(12)]
    ranked = calls.drop_nulls("rank")
    assert ranked["rank"].to_list() == list(range(1, 11))
    assert ranked["cost_of_waiting"].is_sorted(descending=True)
    assert calls["hull_id"].tail(2).to_list() == ["H01", "H02"]  # nothing to rank by: by name
    by_hull = {row["hull_id"]: row for row in calls.to_dicts()}
    assert (by_hull["H00"]["call"], by_hull["H00"]["action"]) == ("do_not_rent", "repair")
    assert by_hull["H02"]["call"] == "not_enough_record"
    assert by_hull["H01"]["do"] == ["drain_refill"]  # no engine, but the fuel in it is known
    assert (by_hull["H04"]["call"], by_hull["H04"]["action"]) == ("do_not_rent", "find_the_leak")
