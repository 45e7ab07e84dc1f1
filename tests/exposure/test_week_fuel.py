from datetime import timedelta

import polars as pl
import pytest

from ringland.exposure.octane_margin import session_exposure
from ringland.exposure.week_fuel import WeekFuel, week_fuel
from ringland.exposure.week_ledger import week_ledger
from ringland.fuel.session_fuel import session_fuel
from ringland.settings.assumptions import load_assumptions
from tests.fuel.small_records import (
    day,
    delivery,
    dock_fill,
    drain,
    engine_sessions,
    hull,
    life,
    lives,
    outside_fill,
    records,
    session,
)

ASSUMPTIONS = load_assumptions()


@pytest.fixture(scope="module")
def fuel() -> WeekFuel:
    """H1 needs 91 and takes 89 from the dock three times a day, then is emptied; H2 is at 93."""
    kinds = records(
        deliveries=[delivery(0, 3000, octane_aki=89.0)],
        fills=[dock_fill(50 + n / 3, 10) for n in range(9)]
        + [outside_fill(50, 70, name="H2", octane_aki=93.0)],
        drains=[drain(55)],
        hulls=[hull("H1"), hull("H2")],
    )
    rides = [
        session(50.1 + n / 3, burned_l=10.0, full_throttle_share=0.1 * (n + 1)) for n in range(9)
    ] + [session(51, "H2", burned_l=20.0)]
    sessions, as_of = engine_sessions(*rides), day(60)
    ledger = session_fuel(kinds, sessions, ASSUMPTIONS, as_of)
    exposure = session_exposure(ledger.sessions, sessions, ASSUMPTIONS)
    sets = lives(life(exit_h=60.0), life("H2", exit_h=60.0), life("H3", state="failed"))
    kept = week_ledger(ledger, as_of, ASSUMPTIONS)
    return week_fuel(kinds, kept, exposure, sets, as_of, ASSUMPTIONS)


def test_a_docks_draws_are_thinned_to_the_last_of_each_day(fuel: WeekFuel) -> None:
    """Nine draws of 10 l at days 50, 50.33, ... 52.67: three days, 30 l between their last."""
    draws = fuel.dock_course.filter(pl.col("event") == "draw")

    assert draws["at"].dt.date().to_list() == [day(n).date() for n in (50, 51, 52)]
    assert draws["after_l"].to_list() == pytest.approx([2970, 2940, 2910])


def test_the_pictures_reach_back_as_far_as_the_setting(fuel: WeekFuel) -> None:
    since = day(60) - timedelta(days=ASSUMPTIONS.number("fuel.picture_d"))

    assert "delivery" not in fuel.dock_course["event"]  # on day 0
    assert fuel.tank_course["at"].min() > since
    assert "drain" in fuel.tank_course["event"]


def test_the_worst_rides_are_listed_worst_first_and_only_those_below_need(fuel: WeekFuel) -> None:
    """Shortfall 2 at shares 0.1 ... 0.9 of an hour: the last five rides, the last first."""
    assert fuel.worst["hull_id"].unique().to_list() == ["H1"]
    assert fuel.worst["shortfall_onh"].to_list() == pytest.approx([1.8, 1.6, 1.4, 1.2, 1.0])


def test_every_running_set_has_its_windows_as_it_stands(fuel: WeekFuel) -> None:
    assert fuel.windows.select("hull_id", "at_h").rows() == [("H1", 60.0), ("H2", 60.0)]
    assert fuel.windows["burned_life_l"].to_list() == pytest.approx([90.0, 20.0])


def test_the_docks_view_says_how_many_engines_alike_may_need_more(fuel: WeekFuel) -> None:
    """89 against 91 at a spread of 1.75: Phi(2 / 1.75) = 0.8735 (normal table)."""
    assert fuel.docks["need_more_share"].to_list() == pytest.approx([0.8735], abs=5e-5)
    assert fuel.docks["below_need"].to_list() == [["H1", "H2"]]


def test_the_account_is_of_hulls_and_counts_what_was_drained(fuel: WeekFuel) -> None:
    account = {row["tank"]: row for row in fuel.balance.to_dicts()}

    assert set(account) == {"H1", "H2"}
    assert account["H1"]["drained_l"] > 0
    assert max(abs(row["off_l"]) for row in account.values()) < 1e-9
