from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from ringland.fuel.session_fuel import SessionFuelResult, session_fuel
from ringland.settings.assumptions import load_assumptions
from synthetic_data.fleet_simulator import Fleet, simulate_fleet
from synthetic_data.scenario import Scenario
from tests.fuel.small_records import (
    AS_OF,
    day,
    delivery,
    dip,
    dock_fill,
    engine_sessions,
    hull,
    outside_fill,
    records,
    session,
)

ASSUMPTIONS = load_assumptions()
EXACT = ASSUMPTIONS.changed(octane__label_spread_on=0.0, fuel__outside_age_d=0.0)


def ledger(kinds, rides, assumptions=ASSUMPTIONS) -> SessionFuelResult:  # type: ignore[no-untyped-def]
    return session_fuel(records(**kinds), engine_sessions(*rides), assumptions, AS_OF)


def test_two_fills_and_two_rides_by_hand_from_the_records_up() -> None:
    """Tank of 40 l: 40 l of 87 on day 0, 25 l burned on day 3, 25 l of 93 on day 10, 20 l on 12."""
    fills = [outside_fill(0, 40, octane_aki=87.0), outside_fill(10, 25, octane_aki=93.0)]
    rides = [session(3, burned_l=25.0), session(12, burned_l=20.0)]
    result = ledger({"fills": fills, "hulls": [hull("H1", tank_l=40.0)]}, rides, EXACT)
    burned, account = result.sessions, result.balance.row(0, named=True)

    assert burned.get_column("octane_aki").to_list() == pytest.approx(
        [87.0, (15 * 87 + 25 * 93) / 40]
    )
    assert burned.get_column("fuel_age_d").to_list() == pytest.approx(
        [3.0, (15 * 12 + 25 * 2) / 40]
    )
    assert (account["opening_l"], account["burned_l"], account["left_l"]) == (0.0, 45.0, 20.0)
    assert account["in_recorded_l"] == 65.0


def test_what_the_first_fill_left_room_for_may_have_been_in_the_tank() -> None:
    fills = [outside_fill(0, 40, octane_aki=87.0)]
    hulls = [hull("H1", tank_l=60.0)]
    result = ledger({"fills": fills, "hulls": hulls}, [session(3)], EXACT)

    assert result.balance.row(0, named=True)["opening_l"] == 20.0
    # a third, and a little for what may have come unseen instead of it
    assert result.sessions.row(0, named=True)["unknown_share"] == pytest.approx(1 / 3, abs=0.01)


def test_a_dock_fill_brings_the_docks_blend_and_its_ages() -> None:
    """By hand: 3 000 l of 87, 1 000 l drawn, 2 000 l of 93 a week later: half and half, 90.

    A dip before the second delivery, which fills the tank, closes the litres.
    """
    kinds = {
        "docks": [{"dock_id": "north", "bulk_tank_l": 4000.0, "time_zone": "UTC"}],
        "dips": [dip(-0.5, 0.0, dock="north"), dip(20.9, 2000.0, dock="north")],
        "deliveries": [delivery(0, 3000, octane_aki=87.0), delivery(21, 2000, octane_aki=93.0)],
        "fills": [
            *(dock_fill(1, 70, name=f"X{i}") for i in range(14)), dock_fill(1, 20, name="X14"),
            dock_fill(22, 70),
        ],
        "hulls": [hull("H1"), *(hull(f"X{i}") for i in range(15))],
    }  # fmt: skip
    rides = [session(23, burned_l=10.0)]
    fresh = EXACT.changed(fuel__delivery_age_d=0.0)
    row = ledger(kinds, rides, fresh).sessions.row(0, named=True)

    assert row["octane_aki"] == pytest.approx(90.0)
    assert row["octane_low_aki"] == row["octane_high_aki"] == pytest.approx(90.0)
    assert row["fuel_age_d"] == pytest.approx((23 + 2) / 2)
    assert row["share_over_14d"] == pytest.approx(0.5)
    assert row["share_over_28d"] == 0.0
    assert row["unknown_share"] == 0.0
    assert row["fuel_age_p90_d"] == pytest.approx(23.0, abs=1 / 24)  # found to the hour


def test_a_label_is_bounded_by_its_tolerance() -> None:
    kinds = {"fills": [outside_fill(0, 70, octane_aki=91.0)]}
    row = ledger(kinds, [session(1, burned_l=10.0)]).sessions.row(0, named=True)
    spread = ASSUMPTIONS.number("octane.label_spread_on")

    assert (row["octane_low_aki"], row["octane_high_aki"]) == (91.0 - spread, 91.0 + spread)


def test_nothing_on_record_is_unknown_octane_within_the_grades_sold() -> None:
    row = ledger({}, [session(1)]).sessions.row(0, named=True)

    assert row["octane_aki"] is None
    assert row["unknown_share"] == 1.0
    spread = ASSUMPTIONS.number("octane.label_spread_on")
    assert row["octane_low_aki"] == ASSUMPTIONS.number("fuel.outside_low_aki") - spread
    assert row["octane_high_aki"] == ASSUMPTIONS.number("fuel.outside_high_aki") + spread


def test_a_missing_fill_may_be_any_grade_within_reach_of_the_dock() -> None:
    """Found in the truth study: bounded by the home dock's tank it missed a fill from outside."""
    kinds = {
        "deliveries": [delivery(0, 3000, octane_aki=89.0)],
        "fills": [dock_fill(1, 70), dock_fill(9, 30)],
    }
    rides = [session(i, burned_l=25.0) for i in range(2, 9)]
    result = ledger(kinds, rides, EXACT)
    last = result.sessions.row(-1, named=True)

    assert result.balance.row(0, named=True)["unrecorded_fills"] >= 2
    assert last["unknown_share"] > 0.5
    assert 87.0 <= last["octane_low_aki"] < 88.0
    assert 91.0 < last["octane_high_aki"] <= 93.0


def test_a_missing_fill_of_a_hull_that_shops_around_spans_its_grades() -> None:
    kinds = {
        "deliveries": [delivery(0, 3000, octane_aki=89.0)],
        "fills": [outside_fill(1, 70, octane_aki=93.0), outside_fill(9, 30, octane_aki=87.0)],
    }
    rides = [session(i, burned_l=25.0) for i in range(2, 9)]
    last = ledger(kinds, rides, EXACT).sessions.row(-1, named=True)

    assert 87.0 <= last["octane_low_aki"] < 88.5
    assert 92.5 < last["octane_high_aki"] <= 93.0


def test_booster_counts_for_its_own_litres_and_may_be_worth_nothing() -> None:
    fill = outside_fill(0, 70, octane_aki=91.0, booster_points=30.0)
    row = ledger({"fills": [fill]}, [session(1)], EXACT).sessions.row(0, named=True)

    assert row["octane_aki"] == pytest.approx(94.0)
    assert (row["octane_low_aki"], row["octane_high_aki"]) == (91.0, 94.0)


def test_a_fill_at_the_moment_a_ride_ends_comes_after_it() -> None:
    fills = [outside_fill(0, 70, octane_aki=87.0), outside_fill(3, 60, octane_aki=93.0)]
    burned = ledger({"fills": fills}, [session(3, burned_l=60.0)], EXACT).sessions

    assert burned.get_column("octane_aki").to_list() == [87.0]


def test_rows_after_the_moment_of_the_ledger_are_refused() -> None:
    fills = [outside_fill(300, 70, octane_aki=87.0)]
    with pytest.raises(ValueError, match="1 fills lie after 2025-11-17"):
        ledger({"fills": fills}, [session(3)])


def test_a_session_of_a_hull_that_is_not_on_record_is_refused() -> None:
    with pytest.raises(ValueError, match="H9"):
        ledger({}, [session(3, "H9")])


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return simulate_fleet(Scenario(hulls=16, seasons=(2025,), with_faults=False), 11)


def sessions_of(fleet: Fleet) -> pl.DataFrame:
    """The fleet's rentals with what its engines' records say, without the hour-meter room."""
    engines = fleet.records["engines"].select("engine_id", "cruise_burn_l_h", "full_burn_l_h")
    home = fleet.records["hulls"].select("hull_id", "dock_id")
    truth = fleet.truth_sessions.select("hull_id", "started_at", "engine_id", "piston_set_id")
    rides = (
        fleet.records["sessions"]
        .join(truth, on=["hull_id", "started_at"])
        .join(engines, on="engine_id")
        .join(home, on="hull_id")
        .sort("hull_id", "started_at")
        .with_columns(engine_h_stop=pl.col("running_h").cum_sum().over("engine_id"))
        .with_columns(engine_h_start=pl.col("engine_h_stop") - pl.col("running_h"))
    )
    return engine_sessions(*rides.select(
        "hull_id", "started_at", "ended_at", "dock_id", "engine_id", "piston_set_id",
        "cruise_burn_l_h", "full_burn_l_h", "full_throttle_share", "burned_l", "running_h",
        "engine_h_start", "engine_h_stop",
    ).to_dicts())  # fmt: skip


def burned_against_truth(fleet: Fleet, keep: float) -> tuple[pl.DataFrame, SessionFuelResult]:
    rides = sessions_of(fleet)
    kept = np.random.default_rng(5).random(fleet.records["fills"].height) < keep
    known = fleet.records | {"fills": fleet.records["fills"].filter(pl.Series(kept))}
    as_of = rides.get_column("ended_at").max() + timedelta(days=30)
    result = session_fuel(known, rides, ASSUMPTIONS, as_of)
    truth = fleet.truth_sessions.select(
        "hull_id", "started_at", true_aki="octane_aki", true_age_d="fuel_age_d",
        true_burn_l="burn_l",
    )  # fmt: skip
    return result.sessions.join(truth, on=["hull_id", "started_at"]), result


def test_with_every_fill_on_record_the_ledger_finds_what_was_burned(fleet: Fleet) -> None:
    """Burns are estimates and labels are off by 0.2, so a few tenths of a number is what is due."""
    table, result = burned_against_truth(fleet, keep=1.0)
    error = table.get_column("octane_aki") - table.get_column("true_aki")

    assert table.height == fleet.truth_sessions.height
    assert abs(error.mean()) < 0.15
    assert error.std() < 0.5
    assert table.get_column("burn_l").sum() == pytest.approx(
        table.get_column("true_burn_l").sum(), rel=0.03
    )
    assert (table.get_column("unknown_share") < 0.5).mean() > 0.9
    assert result.balance.get_column("off_l").abs().max() < 1e-9


def test_with_a_fifth_of_the_fills_lost_the_truth_lies_within_narrow_bounds(fleet: Fleet) -> None:
    table, result = burned_against_truth(fleet, keep=0.8)
    low, high = table.get_column("octane_low_aki"), table.get_column("octane_high_aki")
    truth = table.get_column("true_aki")
    inside = (truth >= low) & (truth <= high)
    error = np.sort((truth - table.get_column("octane_aki")).fill_null(truth - 90.0).to_numpy())
    most = int(np.ceil(0.95 * len(error)))
    narrowest = (error[most - 1 :] - error[: len(error) - most + 1]).min()

    assert inside.mean() >= 0.95
    assert (high - low).mean() <= 2 * narrowest  # no wider than twice what would have held 95 %
    assert result.balance.get_column("unrecorded_fills").sum() > 0.1 * fleet.records["fills"].height
    assert result.balance.get_column("off_l").abs().max() < 1e-9


def test_row_order_and_hull_names_do_not_matter(fleet: Fleet) -> None:
    rides = sessions_of(fleet)
    known = fleet.records
    as_of = rides.get_column("ended_at").max() + timedelta(days=30)
    plain = session_fuel(known, rides, ASSUMPTIONS, as_of).sessions
    renamed = {
        kind: (
            frame.with_columns(
                ("~" + pl.col(name).str.reverse()).alias(name)
                for name in ("hull_id", "from_hull_id", "to_hull_id")
                if name in frame.columns
            )
        ).sample(fraction=1.0, shuffle=True, seed=3)
        for kind, frame in known.items()
    }
    other_rides = rides.with_columns(hull_id="~" + pl.col("hull_id").str.reverse()).sample(
        fraction=1.0, shuffle=True, seed=4
    )
    other = session_fuel(renamed, other_rides, ASSUMPTIONS, as_of).sessions
    both = plain.with_columns(hull_id="~" + pl.col("hull_id").str.reverse()).join(
        other, on=["hull_id", "started_at"], suffix="_other"
    )

    assert both.height == plain.height
    for column in ("burn_l", "octane_aki", "octane_low_aki", "fuel_age_d", "share_over_28d"):
        gap = (both.get_column(column) - both.get_column(f"{column}_other")).abs().max()
        assert gap is not None
        assert gap < 1e-9  # sums run in another order


def test_records_of_later_days_do_not_change_the_fuel_of_earlier_ones() -> None:
    """With every burn measured and every level possible, the past does not depend on the future."""
    fills = [outside_fill(0, 70, octane_aki=91.0), outside_fill(5, 40, octane_aki=87.0)]
    rides = [session(i, burned_l=10.0) for i in (1, 2, 3, 4, 6)]
    later_fills = [*fills, outside_fill(8, 20, octane_aki=93.0)]
    later_rides = [*rides, session(7, burned_l=20.0), session(9, burned_l=20.0)]
    now = ledger({"fills": fills}, rides).sessions
    later = ledger({"fills": later_fills}, later_rides).sessions

    assert later.filter(pl.col("started_at") < day(6.5)).equals(now)


def test_a_fleet_that_neither_rode_nor_filled_yet_has_empty_tanks_on_record() -> None:
    """The ledger of a shop's first day ended in an IndexError: no tank had an event."""
    found = ledger({"hulls": [hull("H1", tank_l=40.0)]}, [])

    assert found.sessions.is_empty()
    assert found.balance.select("tank", "left_l").rows()[0] == ("H1", 0.0)
