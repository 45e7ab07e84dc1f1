"""Fuel taken out of a craft's tank and not burned: litres known, or the tank emptied."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.fuel.burn_estimate import burn_factors, rated_litres
from ringland.fuel.craft_record import craft_record
from ringland.fuel.session_fuel import SessionFuelResult, session_fuel
from ringland.settings.assumptions import load_assumptions
from tests.fuel.parcels import ParcelTank
from tests.fuel.small_records import (
    AS_OF,
    drain,
    engine_sessions,
    hull,
    outside_fill,
    records,
    session,
)

ASSUMPTIONS = load_assumptions()
EXACT = ASSUMPTIONS.changed(octane__label_spread_on=0.0, fuel__outside_age_d=0.0)


def ledger(fills, drains, rides, tank_l=40.0) -> SessionFuelResult:  # type: ignore[no-untyped-def]
    kinds = records(fills=fills, drains=drains, hulls=[hull("H1", tank_l=tank_l)])
    return session_fuel(kinds, engine_sessions(*rides), EXACT, AS_OF)


def test_a_measured_drain_takes_the_tanks_blend_by_hand() -> None:
    """40 l of 87, 20 l burned, 10 l drained, 30 l of 93: the tank holds 10 l of 87 in 40."""
    result = ledger(
        [outside_fill(0, 40, octane_aki=87.0), outside_fill(5, 30, octane_aki=93.0)],
        [drain(4, 10.0)],
        [session(3, burned_l=20.0), session(6, burned_l=8.0)],
    )
    account = result.balance.row(0, named=True)

    assert result.sessions.get_column("octane_aki").to_list() == pytest.approx(
        [87.0, (10 * 87 + 30 * 93) / 40]
    )
    assert result.sessions.get_column("fuel_age_d").to_list() == pytest.approx(
        [3.0, (10 * 6 + 30 * 1) / 40]
    )
    assert (account["burned_l"], account["drained_l"], account["left_l"]) == (28.0, 10.0, 32.0)
    assert account["off_l"] == 0.0
    assert result.tank_events.get_column("event").to_list() == [
        "fill", "session", "drain", "fill", "session",
    ]  # fmt: skip


def test_an_emptied_tank_burns_only_what_was_put_in_afterwards() -> None:
    result = ledger(
        [outside_fill(0, 40, octane_aki=87.0), outside_fill(50, 40, octane_aki=93.0)],
        [drain(49)],
        [session(3, burned_l=20.0), session(51, burned_l=8.0)],
    )
    last, account = result.sessions.row(-1, named=True), result.balance.row(0, named=True)

    assert last["octane_aki"] == last["octane_low_aki"] == last["octane_high_aki"] == 93.0
    assert last["fuel_age_d"] == pytest.approx(1.0)
    assert last["share_over_28d"] == 0.0
    assert (account["drained_l"], account["off_l"]) == (20.0, 0.0)


def test_without_its_drain_on_record_the_old_fuel_is_taken_to_be_still_there() -> None:
    fills = [outside_fill(0, 40, octane_aki=87.0), outside_fill(50, 20, octane_aki=93.0)]
    rides = [session(3, burned_l=20.0), session(51, burned_l=8.0)]
    kept, drained = (
        ledger(fills, drains, rides).sessions.row(-1, named=True) for drains in ([], [drain(49)])
    )

    assert (kept["octane_aki"], drained["octane_aki"]) == (90.0, 93.0)
    assert kept["share_over_28d"] == pytest.approx(0.5)


def test_a_ride_that_ends_as_the_tank_is_emptied_burns_first() -> None:
    result = ledger([outside_fill(0, 40, octane_aki=87.0)], [drain(3)], [session(3, burned_l=15.0)])
    account = result.balance.row(0, named=True)

    assert (account["burned_l"], account["drained_l"]) == (15.0, 25.0)


def test_emptying_a_tank_before_any_record_makes_no_litres_up() -> None:
    result = ledger([outside_fill(1, 40, octane_aki=91.0)], [drain(0)], [session(3, burned_l=15.0)])
    account = result.balance.row(0, named=True)

    assert (account["opening_l"], account["drained_l"]) == (0.0, 0.0)
    assert result.sessions.row(0, named=True)["unknown_share"] == 0.0


def test_a_drain_of_more_than_the_tank_held_shows_an_unrecorded_fill() -> None:
    result = ledger(
        [outside_fill(0, 40, octane_aki=87.0)],
        [drain(4, 30.0)],
        [session(3, burned_l=20.0)],
    )
    account = result.balance.row(0, named=True)

    assert (account["drained_l"], account["unrecorded_fills"]) == (30.0, 1)
    assert account["in_unrecorded_l"] >= 10.0
    assert account["off_l"] == 0.0


def test_drained_litres_are_not_read_as_consumption() -> None:
    """Rides burn the rated 30 l; before each fill of 42 l, 12 l were drained or all there was."""
    rides = [session(number) for number in range(40)]
    fills = [outside_fill(number + 0.5, 42.0) for number in range(40)]
    drains = [drain(number + 0.2, 12.0 if number % 4 else None) for number in range(40)]
    rated = rated_litres(engine_sessions(*rides), ASSUMPTIONS)

    told, untold = (
        burn_factors(
            craft_record(rated, records(fills=fills, drains=some), ["H1"], ASSUMPTIONS),
            ["H1"],
            ASSUMPTIONS,
        )
        for some in (drains, [])
    )

    row = told.row(0, named=True)
    assert (row["cruise_factor"], row["full_factor"]) == pytest.approx((1.0, 1.0))
    assert row["windows"] == 30  # 39 after the first window, of which nine were emptied
    assert untold.row(0, named=True)["cruise_factor"] > 1.2


def test_drains_after_the_moment_of_the_ledger_are_refused() -> None:
    with pytest.raises(ValueError, match="1 drains lie after 2025-11-17"):
        ledger([], [drain(300)], [session(3)])


steps = st.lists(
    st.tuples(
        st.sampled_from(["fill", "ride", "drain", "emptied"]),
        st.floats(0.05, 1.0),
        st.sampled_from([87.0, 89.0, 91.0, 93.0]),
    ),
    min_size=2,
    max_size=40,
)


@settings(derandomize=True, deadline=None, max_examples=60)
@given(steps=steps)
def test_any_order_of_fills_rides_and_drains_matches_the_parcels(
    steps: list[tuple[str, float, float]],
) -> None:
    """Second route: every litre followed as a parcel, see `parcels`."""
    tank = ParcelTank(40.0)
    fills, drains, rides = [outside_fill(0, 40, octane_aki=87.0)], [], []
    tank.pour(40.0, [(Decimal(1), Decimal(87), 0)])
    expected, burned, drained = [], 0.0, 0.0
    for number, (step, share, octane) in enumerate(steps, start=1):
        level = float(tank.litres)
        if step == "fill" and 40.0 - level > 1:
            litres = share * (40.0 - level)
            fills.append(outside_fill(number, litres, octane_aki=octane))
            tank.pour(litres, [(Decimal(1), Decimal(octane), number)])
        elif step == "ride" and level > 1:
            litres = share * 0.9 * level
            expected.append(tank.octane())
            rides.append(session(number, burned_l=litres, running_h=litres / 30.0))
            tank.draw(litres)
            burned += litres
        elif step in {"drain", "emptied"} and level > 1:
            litres = 0.9 * share * level if step == "drain" else level
            drains.append(drain(number, litres if step == "drain" else None))
            tank.draw(litres if step == "drain" else 100.0)
            drained += litres
    if not rides:
        return
    result = ledger(fills, drains, rides)
    account = result.balance.row(0, named=True)

    # 1e-9: the issue's limit; volumes here are doubles, the parcels' 60 digits.
    assert result.sessions.get_column("octane_aki").to_list() == pytest.approx(expected, abs=1e-9)
    assert account["burned_l"] == pytest.approx(burned, abs=1e-9)
    assert account["drained_l"] == pytest.approx(drained, abs=1e-9)
    assert abs(account["off_l"]) < 1e-9
    assert account["unrecorded_fills"] == 0
