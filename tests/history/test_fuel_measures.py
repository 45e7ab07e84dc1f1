"""Litres that cannot be, by hand: what is doubted, and what the ledger then goes by."""

import polars as pl
import pytest

from ringland.fuel.session_fuel import session_fuel
from ringland.history.fuel_measures import counters_that_fell, judged_totals, rides_on_no_fuel
from ringland.settings.assumptions import load_assumptions
from tests.fuel.small_records import AS_OF, day, delivery, engine_sessions, hull, session
from tests.fuel.small_records import records as ledger_records
from tests.history.record_rows import at, records

SETTINGS = load_assumptions()


def ride(burned_l: float | None, hours: float = 1.0) -> dict[str, object]:
    return {
        "hull_id": "H01", "started_at": at("06-01 09:00"), "ended_at": at("06-01 11:00"),
        "running_h": hours, "burned_l": burned_l,
    }  # fmt: skip


def totals(*read: float) -> list[dict[str, object]]:
    return [
        {"dock_id": "north", "read_at": day(number + 1), "total_l": total}
        for number, total in enumerate(read)
    ]


@pytest.mark.parametrize(
    ("burned_l", "hours", "is_doubted"),
    [(0.0, 1.0, True), (0.5, 1.0, True), (12.0, 1.0, False), (None, 1.0, False), (0.0, 0.0, False)],
)
def test_a_ride_on_no_fuel_is_a_doubt(
    burned_l: float | None, hours: float, is_doubted: bool
) -> None:
    """An hour on 0 l was believed as measured."""
    found = rides_on_no_fuel(records(sessions=[ride(burned_l, hours)]), SETTINGS)

    assert found["flag"].to_list() == ["ran_on_no_fuel"] * is_doubted
    if is_doubted:
        assert found["record_kind"].to_list() == ["sessions"]
        assert "reckons what it burned from its hours" in found["sentence"][0]


def test_the_ledger_reckons_a_ride_on_no_fuel_from_its_hours() -> None:
    kinds = ledger_records(hulls=[hull("H1")])
    burns = [
        session_fuel(kinds, engine_sessions(session(3, burned_l=litres)), SETTINGS, AS_OF)
        .sessions["burn_l"]
        .item()
        for litres in (None, 0.0, 12.0)
    ]
    assert burns[0] == burns[1] > 12.0 == burns[2]


@pytest.mark.parametrize(
    ("read", "misread", "fallen"),
    [
        ((500.0, 600.0, 700.0), [], []),
        ((500.0, 500.0, 700.0), [], []),
        ((500.0, 0.0, 700.0), [0.0], []),
        ((500.0, 5000.0, 700.0), [5000.0], []),
        ((500.0, 20.0, 90.0), [], [20.0]),
        ((500.0, 0.0), [], [0.0]),
    ],
)
def test_a_counter_that_fell_is_a_doubt(
    read: tuple[float, ...], misread: list[float], fallen: list[float]
) -> None:
    """It was left out of the account, and nobody was told."""
    rows = records()["pump_totals"].clear()
    rows = pl.concat([rows, pl.DataFrame(totals(*read))], how="diagonal_relaxed")
    judged = judged_totals(rows)
    found = counters_that_fell({"pump_totals": rows})

    assert judged.filter("is_misread")["total_l"].to_list() == misread
    assert judged.filter("has_fallen")["total_l"].to_list() == fallen
    assert found["flag"].to_list() == ["pump_counts_back"] * len(misread + fallen)
    assert found["record_key"].null_count() == 0


def test_a_misread_counter_takes_nothing_out_of_the_tank() -> None:
    """500, 0, 600: a 0 between the two made 600 l go out instead of 100."""
    left = []
    for read in ((500.0, 600.0, 600.0), (500.0, 0.0, 600.0)):
        kinds = ledger_records(
            hulls=[hull("H1")], pump_totals=totals(*read),
            deliveries=[delivery(0, 2000, octane_aki=91.0)],
        )  # fmt: skip
        result = session_fuel(kinds, engine_sessions(session(5, burned_l=5.0)), SETTINGS, AS_OF)
        left.append(result.balance.filter(tank="north")["left_l"].item())
    assert left[0] == left[1]
