"""What stands in the tanks against the needs, by hand."""

from typing import Any

import polars as pl
import pytest

from ringland.contracts.fuel_tables import SessionExposure, TanksNow
from ringland.exposure.fuel_at_hand import fuel_at_hand, tanks_now
from ringland.exposure.octane_margin import session_exposure
from ringland.fuel.session_fuel import session_fuel
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


def by_hull(as_of: float, rides: list[dict[str, Any]], **kinds: Any) -> dict[str, dict[str, Any]]:
    kept = records(**kinds)
    sessions = engine_sessions(*rides)
    fuel = session_fuel(kept, sessions, ASSUMPTIONS, day(as_of))
    exposure = session_exposure(fuel.sessions, sessions, ASSUMPTIONS)
    found = fuel_at_hand(tanks_now(fuel, day(as_of)), exposure, kept, day(as_of), ASSUMPTIONS)
    return {row["hull_id"]: row for row in found.iter_rows(named=True)}


def standing(
    need: float | None,
    low: float,
    best: float | None,
    high: float,
    *,
    own_l: float = 0.2,
    age_d: float = 5.0,
) -> dict[str, Any]:
    """H1's standings to a dock's tank of this blend, its own tank emptied or of the same."""
    blend = {"octane_low_aki": low, "octane_aki": best, "octane_high_aki": high}
    return _both(blend | {"fuel_age_d": age_d}, blend | {"fuel_age_d": age_d}, need, own_l)


def _both(
    dock: dict[str, Any], own: dict[str, Any], need: float | None = 91.0, own_l: float = 20.0
) -> dict[str, Any]:
    usual = {"fuel_age_d": 5.0, "unknown_share": 0.0}
    rows = [
        {"tank": "north", "kind": "dock", "level_l": 900.0} | usual | dock,
        {"tank": "H1", "kind": "hull", "level_l": own_l} | usual | own,
    ]
    types = {name: column.dtype for name, column in TanksNow.columns().items()}
    tanks = TanksNow.validate(pl.DataFrame(rows, schema=types))
    rides = pl.DataFrame(
        {"hull_id": ["H1"], "started_at": [day(1)], "octane_need_aki": [need]},
        schema_overrides={"octane_need_aki": pl.Float64},
    )
    exposure = pl.concat(
        [SessionExposure.create_empty(), rides.cast({"started_at": pl.Datetime("us", "UTC")})],
        how="diagonal_relaxed",
    )
    return fuel_at_hand(tanks, exposure, records(), day(9), ASSUMPTIONS).row(0, named=True)


def test_a_delivery_in_ron_and_mon_counts_as_its_pump_number() -> None:
    """A delivery of 94 RON and 84 MON was passed over, and the dock said to hold the 91 before.

    By hand: 1,000 l of 91 and 1,000 l of (94 + 84) / 2 = 89 make 90, below 91, enough for 89.
    """
    found = by_hull(
        3,
        [session(0.5), session(0.5, "H2", octane_need_aki=89.0)],
        deliveries=[
            delivery(1, 1000, octane_aki=91.0),
            delivery(2, 1000, octane_ron=94.0, octane_mon=84.0),
        ],
        hulls=[hull("H1"), hull("H2")],
    )

    assert found["H1"]["dock_octane_aki"] == pytest.approx(90.0)
    assert (found["H1"]["dock_standing"], found["H2"]["dock_standing"]) == ("misses", "meets")
    assert (found["H1"]["is_dock_short"], found["H2"]["is_dock_short"]) == (True, False)


def test_a_hulls_own_tank_is_held_against_its_need_and_has_aged_since_its_last_fill() -> None:
    """By hand: 50 l of 93 from day 1 and 20 l of 87 from day 2, each 7 days old then."""
    found = by_hull(
        32,
        [session(1.5, burned_l=20.0)],
        fills=[outside_fill(1, 70, octane_aki=93.0), outside_fill(2, 20, octane_aki=87.0)],
    )["H1"]

    assert found["own_level_l"] == pytest.approx(70.0)
    assert found["own_octane_aki"] == pytest.approx((50 * 93 + 20 * 87) / 70)
    assert found["own_fuel_age_d"] == pytest.approx(7 + (50 * 31 + 20 * 30) / 70)
    assert (found["own_standing"], found["is_own_old"]) == ("no margin", True)
    assert found["dock_standing"] == "not known"


@pytest.mark.parametrize(
    ("need", "low", "best", "high", "expected"),
    [
        (91.0, 92.5, 93.0, 93.5, "meets"),
        (93.0, 92.5, 93.0, 93.5, "no margin"),  # as labelled: only the label's own half number
        (93.0, 92.48, 92.96, 93.5, "no margin"),  # prints as 93.0
        (91.0, 90.0, 91.6, 93.0, "may miss"),
        (91.0, 88.8, 89.4, 90.0, "misses"),
        (91.0, 87.0, None, 93.0, "may miss"),  # none of it on record
        (91.0, 87.0, None, 90.0, "misses"),
        (None, 88.8, 89.4, 90.0, "not known"),
    ],
)
def test_a_tank_stands_to_a_need_by_its_estimate_and_its_bounds(
    need: float | None, low: float, best: float | None, high: float, expected: str
) -> None:
    row = standing(need, low, best, high)

    assert row["dock_standing"] == expected
    assert row["own_standing"] == "empty"


@pytest.mark.parametrize(
    ("need", "low", "best", "way"),
    [
        (91.0, 89.5, 90.0, "throttle"),  # labelled 90
        (91.0, 88.8, 89.4, None),
        (93.0, 90.5, 91.0, "stock"),
        (93.0, 89.5, 90.0, None),  # no throttle limit for a raised calibration
        (91.0, 92.5, 93.0, None),  # nothing needed
    ],
)
def test_three_quarter_throttle_does_for_90_and_the_stock_calibration_for_91(
    need: float, low: float, best: float, way: str | None
) -> None:
    assert standing(need, low, best, best + 0.5)["dock_way"] == way


@pytest.mark.parametrize(
    ("need", "low", "own_l", "age_d", "fill"),
    [
        # by hand, tank of 70 l, a tenth in reserve: (91 x 70 - 89.6 x 27) / 43 = 91.88
        (91.0, 89.1, 20.0, 5.0, 92.0),
        # (91 x 70 - 89.6 x 47) / 23 = 93.86: no pump sells it
        (91.0, 89.1, 40.0, 5.0, None),
        (91.0, 89.1, 20.0, 30.0, None),  # too old: drained
        (93.0, 92.0, 20.0, 5.0, None),  # raised: 93 and nothing blended up to it
        (91.0, 92.5, 20.0, 5.0, None),  # nothing needed
    ],
)
def test_a_tank_a_little_below_the_need_is_filled_up_with_a_grade_that_makes_it_do(
    need: float, low: float, own_l: float, age_d: float, fill: float | None
) -> None:
    """A third of a tank of 89.8 was to be drained where 92 on top of it meets the need."""
    found = standing(need, low, low + 0.5, low + 1.0, own_l=own_l, age_d=age_d)

    assert found["own_fill_aki"] == fill
    assert not found["can_fill_at_dock"]


def test_a_dock_that_holds_the_grade_is_where_the_tank_is_filled_up() -> None:
    low = {"octane_low_aki": 89.1, "octane_aki": 89.6, "octane_high_aki": 90.1}
    held = {"octane_low_aki": 92.5, "octane_aki": 93.0, "octane_high_aki": 93.5}

    assert _both(held | {"fuel_age_d": 5.0}, low)["can_fill_at_dock"]
    assert not _both(held | {"fuel_age_d": 40.0}, low)["can_fill_at_dock"]


def test_the_need_is_of_the_calibration_in_force_not_of_the_last_ride() -> None:
    found = by_hull(
        9,
        [session(5)],
        deliveries=[delivery(1, 1000, octane_aki=92.0)],
        fills=[dock_fill(4, 30)],
        installations=[{"engine_id": "E-H1", "hull_id": "H1", "installed_at": day(0)}],
        calibrations=[
            {"engine_id": "E-H1", "in_force_at": day(0), "calibration": "stock"},
            {"engine_id": "E-H1", "in_force_at": day(8), "calibration": "raised"},
        ],
    )["H1"]

    assert (found["calibration"], found["need_aki"]) == ("raised", 93.0)
    assert found["dock_standing"] == "misses"
