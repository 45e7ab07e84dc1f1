"""What nobody wrote down, and what was written down beside loads and fills: by hand."""

from typing import Any

import numpy as np
import polars as pl
import pytest

from ringland.fuel.balance_doubts import label_doubts, unexplained_doubts
from ringland.fuel.dock_grades import sold_at
from ringland.fuel.dock_tanks import dock_tank_table
from ringland.fuel.session_fuel import SessionFuelResult, session_fuel
from ringland.settings.assumptions import load_assumptions
from tests.fuel.small_records import (
    AS_OF,
    day,
    delivery,
    dip,
    dock_fill,
    drain,
    engine_sessions,
    hull,
    outside_fill,
    records,
    session,
)

ASSUMPTIONS = load_assumptions()
EXACT = ASSUMPTIONS.changed(octane__label_spread_on=0.0, fuel__outside_age_d=0.0)
FULL = hull("H1", tank_l=40.0)


def ledger(rides: list[dict[str, Any]], **kinds: list[dict[str, Any]]) -> SessionFuelResult:
    return session_fuel(records(**kinds), engine_sessions(*rides), EXACT, AS_OF)


def ride(result: SessionFuelResult, at: int = -1) -> dict[str, Any]:
    return result.sessions.row(at, named=True)


def test_what_a_docks_first_load_left_room_for_is_not_taken_as_empty() -> None:
    """Found as 93.0 and 0 % unknown on a heel of 3 000 l of 87; truth 89.4."""
    row = ride(
        ledger(
            [session(3, burned_l=10.0)], dips=[], hulls=[FULL], fills=[dock_fill(2, 40)],
            deliveries=[delivery(0, 2000, octane_aki=93.0)],
        )
    )  # fmt: skip

    # 2 000 l into a tank of 5 000: up to 3 000 l of 87 may have been in it
    assert row["octane_low_aki"] <= (3000 * 87 + 2000 * 93) / 5000 + 0.2
    assert row["octane_high_aki"] == pytest.approx(93.0)
    assert row["unknown_share"] > 0.3


def test_later_loads_tell_how_much_can_have_been_in_a_docks_tank() -> None:
    """Another 2 900 l went in untouched: of the 3 000 l that had room no more than 100 can be."""
    row = ride(
        ledger(
            [session(3, burned_l=10.0)], dips=[], hulls=[FULL], fills=[dock_fill(2, 40)],
            deliveries=[delivery(0, 2000, octane_aki=93.0), delivery(1, 2900, octane_aki=93.0)],
        )
    )  # fmt: skip

    assert row["octane_low_aki"] > 92.7
    assert row["unknown_share"] < 0.05


def test_a_fill_draws_on_the_tank_of_its_own_grade() -> None:
    """Found as one mixed tank: a fill labelled 93 became 90.0, its own label ignored."""
    kinds: dict[str, Any] = {
        "deliveries": [delivery(0, 2000, octane_aki=87.0), delivery(0.1, 2000, octane_aki=93.0)],
        "fills": [
            dock_fill(1, 40) | {"octane_aki": 93.0},
            dock_fill(1, 40, name="H2") | {"octane_aki": 87.0},
        ],
        "hulls": [FULL, hull("H2", tank_l=40.0)],
    }
    rides = [session(2, burned_l=5.0), session(2, "H2", burned_l=5.0)]
    result = session_fuel(records(**kinds), engine_sessions(*rides), EXACT, AS_OF)

    assert result.sessions["octane_aki"].to_list() == pytest.approx([93.0, 87.0])
    assert set(result.balance.filter(pl.col("kind") == "dock")["tank"]) == {"north 87", "north 93"}


def test_named_tanks_need_no_labels_and_a_fill_that_names_none_may_be_of_any() -> None:
    named = {
        "deliveries": [
            delivery(0, 2000, octane_aki=87.0, tank_id="low"),
            delivery(0.1, 2000, octane_aki=93.0, tank_id="high"),
        ],
        "hulls": [FULL, hull("H2", tank_l=40.0)],
        "fills": [dock_fill(1, 40) | {"source_tank_id": "high"}, dock_fill(1, 40, name="H2")],
    }
    rides = [session(2, burned_l=5.0), session(2, "H2", burned_l=5.0)]
    table = session_fuel(records(**named), engine_sessions(*rides), EXACT, AS_OF).sessions
    first, second = table.rows(named=True)

    assert first["octane_aki"] == pytest.approx(93.0)
    assert second["octane_aki"] is None
    assert (second["octane_low_aki"], second["octane_high_aki"]) == (87.0, 93.0)


def test_a_fill_inside_a_ride_cuts_its_burn_in_two() -> None:
    """Found as 50 l of 93 vanished: it was poured before the burn of the ride it came in.

    40 l of 87; a ride of an hour burns 20 l; half-way through it takes on 25 l of 93.  Burned:
    10 l of 87 and 10 l of (30 x 87 + 10 x 93) / 40 = 88.5 with 10 l of room; so 25 l leave a
    blend of (25 x 93 + 15 x 87) / 40 after 25 l were burned.
    """
    half = day(3) - (day(3) - day(3 - 1 / 24)) / 2
    fills = [outside_fill(0, 40, octane_aki=87.0), outside_fill(0, 10, octane_aki=93.0)]
    fills[1]["filled_at"] = half
    result = ledger([session(3, burned_l=20.0)], hulls=[FULL], fills=fills)
    row, account = ride(result), result.balance.row(0, named=True)

    assert row["burn_l"] == pytest.approx(20.0)
    assert row["octane_aki"] == pytest.approx((87.0 + (30 * 87 + 10 * 93) / 40) / 2)
    assert account["unexplained_out_l"] == 0.0
    assert row["octane_low_aki"] <= row["octane_aki"] <= row["octane_high_aki"]
    assert row["tank_after_l"] == pytest.approx(30.0)


def test_wrong_fuel_pumped_out_in_its_own_minute_does_not_stay() -> None:
    """Found: the outflow came first, the wrong fuel stayed and a fill was invented."""
    result = ledger(
        [session(3, burned_l=15.0), session(5, burned_l=15.0)],
        hulls=[FULL],
        fills=[
            outside_fill(0, 40, octane_aki=93.0), outside_fill(4, 14, octane_aki=87.0),
            outside_fill(4.01, 40, octane_aki=93.0),
        ],
        drains=[drain(4)],
    )  # fmt: skip
    row, account = ride(result), result.balance.row(0, named=True)

    assert row["octane_aki"] == pytest.approx(93.0)
    assert account["unrecorded_fills"] == 0
    assert account["drained_l"] == pytest.approx(39.0)
    assert account["unexplained_out_l"] == 0.0


def test_an_old_tank_drained_and_filled_anew_in_one_minute_keeps_the_new_fuel() -> None:
    result = ledger(
        [session(3, burned_l=15.0), session(5, burned_l=15.0)], hulls=[FULL],
        fills=[outside_fill(0, 40, octane_aki=87.0), outside_fill(4, 38, octane_aki=93.0)],
        drains=[drain(4)],
    )  # fmt: skip

    assert ride(result)["octane_aki"] == pytest.approx(93.0)
    assert result.balance.row(0, named=True)["drained_l"] == pytest.approx(25.0)


def test_a_ride_that_ends_as_its_craft_is_filled_may_have_burned_either() -> None:
    row = ride(
        ledger(
            [session(3, burned_l=10.0)], hulls=[FULL],
            fills=[outside_fill(0, 40, octane_aki=87.0), outside_fill(3, 10, octane_aki=93.0)],
        )
    )  # fmt: skip

    assert row["octane_aki"] == 87.0  # the value takes the burn first
    assert row["octane_low_aki"] == 87.0
    assert row["octane_high_aki"] >= (30 * 87 + 10 * 93) / 40 - 1e-9


def test_a_fill_whose_time_is_rough_may_have_come_on_either_side_of_a_ride() -> None:
    """Filled "about noon, give or take an hour"; the ride ended half an hour before."""
    late = outside_fill(3 + 0.5 / 24, 10, octane_aki=93.0)
    first = outside_fill(0, 40, octane_aki=87.0)
    sharp, rough = (
        ride(ledger([session(3, burned_l=10.0)], hulls=[FULL], fills=[first, late | extra]))
        for extra in ({}, {"time_off_min": 60.0})
    )

    assert sharp["octane_high_aki"] == 87.0
    assert rough["octane_high_aki"] >= 88.5 - 1e-9
    assert rough["octane_aki"] == sharp["octane_aki"] == 87.0


def test_a_dip_closes_the_litres_and_what_it_cannot_explain_is_in_the_account() -> None:
    """30 l must be in the tank; the dip finds 18: 12 l left without a note."""
    result = ledger(
        [session(3, burned_l=10.0), session(5, burned_l=5.0)], hulls=[FULL],
        fills=[outside_fill(0, 40, octane_aki=87.0)],
        dips=[dip(4, 18.0, name="H1"), dip(-0.5, 0.0, dock="north")],
    )  # fmt: skip
    row, account = ride(result), result.balance.row(0, named=True)

    assert row["tank_before_l"] == pytest.approx(18.0)
    assert account["unexplained_out_l"] == pytest.approx(12.0)
    assert account["off_l"] == pytest.approx(0.0, abs=1e-9)


def test_a_dip_above_the_level_shows_a_fill_that_nobody_wrote_down() -> None:
    result = ledger(
        [session(3, burned_l=20.0), session(5, burned_l=5.0)], hulls=[FULL],
        fills=[outside_fill(0, 40, octane_aki=93.0)],
        dips=[dip(4, 32.0, name="H1"), dip(-0.5, 0.0, dock="north")],
    )  # fmt: skip
    row = ride(result)

    assert result.balance.row(0, named=True)["in_unrecorded_l"] == pytest.approx(12.0)
    assert row["unknown_share"] >= 12 / 32 - 1e-9
    assert row["octane_low_aki"] <= (20 * 93 + 12 * 87) / 32 + 1e-9


def test_full_to_full_fills_close_estimated_burns() -> None:
    """Two rides of about 30 l each; a fill to the brim of 24 l says that 24 l were burned."""
    fills = [outside_fill(0, 40, octane_aki=87.0) | {"is_full": True},
             outside_fill(4, 26, octane_aki=87.0) | {"is_full": True}]  # fmt: skip
    row = ride(ledger([session(3)], hulls=[FULL], fills=fills), 0)

    assert row["burn_l"] == pytest.approx(26.0)  # 30 l by the rated figures, stretched by 13 %
    assert row["unknown_share"] == 0.0
    assert row["octane_low_aki"] == row["octane_high_aki"] == 87.0


def test_a_fuel_test_narrows_the_bounds_to_what_it_found() -> None:
    """Half 87, half unknown; the tester says 89 give or take one."""
    result = ledger(
        [session(1, burned_l=1.0), session(5, burned_l=5.0)], hulls=[FULL],
        fills=[outside_fill(0, 20, octane_aki=87.0)],
        fuel_tests=[{"hull_id": "H1", "tested_at": day(4), "octane_aki": 89.0}],
    )  # fmt: skip
    before, row = ride(result, 0), ride(result)
    spread = ASSUMPTIONS.number("fuel.test_spread_on")

    assert before["octane_high_aki"] > 89.9
    assert row["octane_low_aki"] >= 89.0 - spread - 1e-9
    assert row["octane_high_aki"] <= 89.0 + spread + 1e-9
    assert row["unknown_share"] < 0.05


def test_water_in_the_fuel_lowers_what_it_may_be() -> None:
    dry, wet = (
        ride(
            ledger(
                [session(5, burned_l=5.0)], hulls=[FULL],
                fills=[outside_fill(0, 40, octane_aki=91.0)],
                fuel_tests=[{"hull_id": "H1", "tested_at": day(4), "has_water": found}],
            )
        )
        for found in (False, True)
    )  # fmt: skip

    loss = ASSUMPTIONS.number("fuel.water_loss_on")
    assert wet["octane_low_aki"] == pytest.approx(dry["octane_low_aki"] - loss)
    assert wet["octane_aki"] == dry["octane_aki"] == 91.0


def test_fuel_moved_from_craft_to_craft_brings_the_givers_blend() -> None:
    """H1 holds 93, H2 20 l of 87; 10 l go over: (20 x 87 + 10 x 93) / 30 = 89, and on to H3."""
    kinds: dict[str, Any] = {
        "hulls": [hull(name, tank_l=40.0) for name in ("H1", "H2", "H3")],
        "fills": [
            outside_fill(0, 40, octane_aki=93.0), outside_fill(0, 40, "H2", octane_aki=87.0),
            outside_fill(0, 40, "H3", octane_aki=87.0),
        ],
        "transfers": [
            {"from_hull_id": "H1", "to_hull_id": "H2", "moved_at": day(3), "volume_l": 10.0},
            {"from_hull_id": "H2", "to_hull_id": "H3", "moved_at": day(4), "volume_l": 10.0},
        ],
    }  # fmt: skip
    rides = [session(2, name, burned_l=20.0) for name in ("H2", "H3")]
    rides += [session(5, name, burned_l=5.0) for name in ("H1", "H2", "H3")]
    result = session_fuel(records(**kinds), engine_sessions(*rides), EXACT, AS_OF)
    last = result.sessions.filter(pl.col("started_at") > day(4)).sort("hull_id")

    assert last["octane_aki"].to_list() == pytest.approx([93.0, 89.0, (20 * 87 + 10 * 89) / 30])
    assert result.balance["off_l"].abs().max() < 1e-9
    assert last["tank_before_l"].to_list() == [30.0, 20.0, 30.0]


def test_the_pumps_counter_tells_what_the_fills_do_not() -> None:
    """100 l passed the pump, fills on record are 40 l: 60 l more left the tank."""
    result = ledger(
        [session(3, burned_l=5.0)], hulls=[FULL], fills=[dock_fill(2, 40)],
        deliveries=[delivery(0, 2000, octane_aki=91.0)],
        pump_totals=[
            {"dock_id": "north", "read_at": day(at), "total_l": total}
            for at, total in ((1, 500.0), (4, 600.0))
        ],
    )  # fmt: skip
    account = {row["tank"]: row for row in result.balance.to_dicts()}["north"]

    assert account["left_l"] == pytest.approx(1900.0)
    assert account["off_l"] == pytest.approx(0.0, abs=1e-9)


def test_an_emptied_dock_sells_only_what_came_after() -> None:
    result = ledger(
        [session(5, burned_l=5.0)], hulls=[FULL], fills=[dock_fill(4, 40)],
        deliveries=[delivery(0, 2000, octane_aki=87.0), delivery(3, 5000, octane_aki=93.0)],
        pump_outs=[{"dock_id": "north", "pumped_at": day(2)}],
    )  # fmt: skip
    account = {row["tank"]: row for row in result.balance.to_dicts()}["north"]

    assert ride(result)["octane_aki"] == pytest.approx(93.0)
    assert account["drained_l"] == pytest.approx(2000.0)


def test_a_label_its_tank_cannot_have_held_is_a_doubt_and_in_the_bounds() -> None:
    result = ledger(
        [session(3, burned_l=5.0)], hulls=[FULL],
        fills=[dock_fill(2, 40) | {"octane_aki": 93.0}],
        docks=[{"dock_id": "north", "bulk_tank_l": 2000.0, "time_zone": "UTC"}],
        deliveries=[delivery(0, 2000, octane_aki=87.0)],
    )  # fmt: skip
    row = ride(result)
    (doubt,) = label_doubts(result.off_labels).to_dicts()

    assert (row["octane_low_aki"], row["octane_high_aki"]) == pytest.approx((87.0, 93.0), abs=0.3)
    assert doubt["flag"] == "label_off_blend"
    assert doubt["record_kind"] == "fills"
    assert doubt["sentence"].startswith("A fill of 40.0 l at north is labelled 93.0 AKI")


def test_litres_that_nobody_wrote_down_of_late_are_a_doubt() -> None:
    rides = [session(i, burned_l=30.0) for i in (2, 4)]
    result = ledger(rides, hulls=[FULL], fills=[outside_fill(0, 40, octane_aki=87.0)])
    late, never = (unexplained_doubts(result.tank_events, day(at), ASSUMPTIONS) for at in (10, 90))

    assert late["flag"].to_list() == ["fuel_unexplained"]
    assert "must have taken about" in late["sentence"][0]
    assert never.is_empty()


def test_a_load_nobody_wrote_down_may_be_any_grade_sold_in_its_country_that_season() -> None:
    """Race fuel sold once, years ago, kept the bounds of every later season wide."""
    rows = records(
        deliveries=[delivery(0, 2000, octane_aki=101.0), delivery(500, 2000, octane_aki=93.0)]
    )
    tanks = dock_tank_table(rows, EXACT)
    at_us = np.array([int(day(n).timestamp() * 1e6) for n in (300, 501)])

    then, now = sold_at(rows, tanks, np.zeros(2, np.int64), at_us, EXACT)

    assert then.tolist() == [87.0, 101.0]
    assert now.tolist() == [87.0, EXACT.number("fuel.outside_high_aki")]
