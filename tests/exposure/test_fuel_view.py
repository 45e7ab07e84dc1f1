from datetime import datetime
from typing import Any

import polars as pl
import pytest

from ringland.exposure.fuel_at_hand import fuel_at_hand, tanks_now
from ringland.exposure.fuel_view import dock_fuel_view, tank_course
from ringland.exposure.octane_margin import session_exposure
from ringland.exposure.week_ledger import WeekLedger, week_ledger
from ringland.fuel.session_fuel import SessionFuelResult, session_fuel
from ringland.settings.assumptions import load_assumptions
from tests.fuel.small_records import (
    day,
    delivery,
    dock_fill,
    engine_sessions,
    hull,
    outside_fill,
    records,
    session,
)

ASSUMPTIONS = load_assumptions()
HULLS = records(hulls=[hull("H1"), hull("H2")])["hulls"]


def seen(
    rides: list[dict[str, Any]], as_of: datetime, **kinds: list[dict[str, Any]]
) -> tuple[SessionFuelResult, pl.DataFrame]:
    sessions = engine_sessions(*rides)
    fuel = session_fuel(records(**kinds), sessions, ASSUMPTIONS, as_of)
    return fuel, session_exposure(fuel.sessions, sessions, ASSUMPTIONS)


def kept(fuel: SessionFuelResult, as_of: datetime) -> WeekLedger:
    return week_ledger(fuel, as_of, ASSUMPTIONS)


def needs(
    fuel: SessionFuelResult, exposure: pl.DataFrame, hulls: pl.DataFrame, as_of: datetime
) -> pl.DataFrame:
    tanks = tanks_now(fuel, as_of)
    return fuel_at_hand(tanks, exposure, {"hulls": hulls}, as_of, ASSUMPTIONS)


def test_dock_view_counts_litres_below_the_need_of_the_next_ride() -> None:
    """By hand: H1 (needs 91) takes 40 l and H2 (needs 87) takes 30 l of 89."""
    fuel, exposure = seen(
        [session(6, burned_l=20.0), session(6, "H2", octane_need_aki=87.0, burned_l=20.0)],
        day(10),
        deliveries=[delivery(0, 1000, octane_aki=89.0)],
        fills=[dock_fill(5, 40), dock_fill(5, 30, "H2"), outside_fill(7, 10, octane_aki=93.0)],
        hulls=[hull("H1", tank_l=40.0), hull("H2", tank_l=40.0)],
    )
    row = dock_fuel_view(
        kept(fuel, day(10)), exposure, needs(fuel, exposure, HULLS, day(10)), day(10), ASSUMPTIONS
    ).row(0, named=True)

    assert (row["sold_l"], row["sold_below_need_l"]) == (70.0, 40.0)
    assert row["sold_octane_aki"] == pytest.approx(89.0)
    assert row["level_l"] == 930.0
    assert row["oldest_sold_d"] == pytest.approx(5 + ASSUMPTIONS.number("fuel.delivery_age_d"))
    assert row["fuel_age_d"] == pytest.approx(10 + ASSUMPTIONS.number("fuel.delivery_age_d"))
    assert row["turns_in_d"] == pytest.approx(14 - row["fuel_age_d"])
    assert (row["hulls"], row["below_need_hulls"], row["below_need"]) == (2, 1, ["H1"])
    # mean of the levels 1000, 960, 930 over 28 days at 70 l
    assert row["turnover_d"] == pytest.approx((1000 + 960 + 930) / 3 * 28 / 70, rel=0.02)


def test_the_needs_are_of_hulls_still_in_service() -> None:
    fuel, exposure = seen(
        [session(6), session(6, "H2", octane_need_aki=87.0)], day(10),
        deliveries=[delivery(0, 1000, octane_aki=89.0)],
        fills=[dock_fill(5, 40), dock_fill(5, 30, "H2")], hulls=[hull("H1"), hull("H2")],
    )  # fmt: skip
    left = records(hulls=[hull("H1") | {"out_of_service_at": day(8)}, hull("H2")])["hulls"]
    row = dock_fuel_view(
        kept(fuel, day(10)), exposure, needs(fuel, exposure, left, day(10)), day(10), ASSUMPTIONS
    ).row(0, named=True)

    assert (row["hulls"], row["need_high_aki"], row["below_need"]) == (1, 87.0, [])


def test_fuel_labelled_as_the_need_meets_it() -> None:
    fuel, exposure = seen(
        [session(6)], day(10), deliveries=[delivery(0, 1000, octane_aki=91.0)],
        fills=[dock_fill(5, 40)],
    )  # fmt: skip
    row = dock_fuel_view(
        kept(fuel, day(10)), exposure, needs(fuel, exposure, HULLS, day(10)), day(10), ASSUMPTIONS
    ).row(0, named=True)

    assert row["below_need"] == []
    assert row["sold_below_need_l"] == 0.0


def test_a_dock_that_sold_nothing_of_late_has_no_turnover() -> None:
    fuel, exposure = seen(
        [session(6)], day(100), deliveries=[delivery(0, 1000, octane_aki=91.0)],
        fills=[dock_fill(5, 40)],
    )  # fmt: skip
    row = dock_fuel_view(
        kept(fuel, day(100)),
        exposure,
        needs(fuel, exposure, HULLS, day(100)),
        day(100),
        ASSUMPTIONS,
    ).row(0, named=True)

    assert row["sold_l"] == 0.0
    assert row["turnover_d"] is None
    assert row["old_in_d"] < 0


def test_tank_course_carries_the_margin_and_marks_the_worst_rides() -> None:
    """Shortfall hours by hand: 4 on rides of 0.25 h hard running, then one of 0.5 h."""
    fuel, exposure = seen(
        [
            session(2, burned_l=10.0), session(3, burned_l=10.0),
            session(4, burned_l=10.0, full_throttle_share=0.5),
        ],
        day(10),
        fills=[outside_fill(1, 70, octane_aki=87.0)],
    )  # fmt: skip
    course = tank_course(fuel.tank_events, exposure, ASSUMPTIONS)
    rides = course.filter(pl.col("event") == "session")

    assert course.height == 4
    assert rides.get_column("octane_margin_on").to_list() == [-4.0, -4.0, -4.0]
    assert rides.get_column("shortfall_onh").to_list() == pytest.approx([1.0, 1.0, 2.0])
    assert rides.get_column("is_worst_hour").to_list() == [False, False, True]
    assert rides.get_column("after_l").to_list() == [60.0, 50.0, 40.0]


def test_a_recent_month_of_fills_far_from_burns_is_flagged() -> None:
    rides = [session(i, burned_l=20.0) for i in range(2, 12)]
    enough = [outside_fill(i + 0.5, 20, octane_aki=91.0) for i in range(1, 12)]
    good, _ = seen(rides, day(20), fills=enough)
    poor, _ = seen(rides, day(20), fills=enough[::3])
    idle, _ = seen(rides, day(90), fills=enough)

    assert good.balance.get_column("is_balance_off").to_list() == [False]
    assert poor.balance.get_column("is_balance_off").to_list() == [True]
    assert idle.balance.get_column("is_balance_off").to_list() == [None]


def test_a_rental_without_an_engine_on_record_still_burns_fuel() -> None:
    kinds = records(fills=[outside_fill(1, 70, octane_aki=91.0)])
    ride = session(3, burned_l=30.0)
    lone = {
        name: ride[name] for name in ("hull_id", "started_at", "ended_at", "running_h", "burned_l")
    }
    with_records = kinds | records(sessions=[lone])
    with_records["fills"] = kinds["fills"]
    fuel = session_fuel(
        with_records, engine_sessions(session(5, burned_l=10.0)), ASSUMPTIONS, day(9)
    )

    assert fuel.sessions.get_column("burn_l").to_list() == [30.0, 10.0]
    assert fuel.sessions.get_column("tank_after_l").to_list() == [40.0, 30.0]
