"""How the age of the fuel ahead turns with the season, by hand."""

from datetime import timedelta
from typing import Any

import polars as pl
import pytest

from ringland.contracts.fuel_tables import SessionExposure
from ringland.risk.exposure_turn import with_season
from tests.decision.small_fleet import SETTINGS, frame
from tests.risk.test_usual_exposure import AS_OF, ride

RUNNING = pl.DataFrame(
    {"hull_id": ["A", "B"], "dock_id": ["north", "south"], "use_h_d": [1.5, 1.0]}
)
LEVEL_L = SETTINGS.number("record.season_level_h") * 25.0
"""Litres of the level's hours: a ride burns 100 in 4."""


LONG_AGO = ride("A", 400.0, 91, fuel_age_d=99.0)
"""In none of the windows: it only makes the record older than a year."""


def turned(*rides: dict[str, object], until_d: float = 60.0) -> dict[str, dict[str, Any]]:
    exposure = frame(SessionExposure, list(rides))
    found = with_season(RUNNING, exposure, AS_OF, AS_OF + timedelta(days=until_d), SETTINGS)
    return {row["hull_id"]: row for row in found.to_dicts()}


def test_fuel_that_was_older_in_these_weeks_of_last_year_is_expected_older() -> None:
    """342 to 351 days ago 40 days old, 320 to 323 days ago 16, then 10.

    Of 2,000 l of the year, 1,000 at 40, 400 at 16 and 600 at 10 days: 26.2 on the mean.
    """
    spring = [ride("A", 342.0 + day, 91, fuel_age_d=40.0) for day in range(10)]
    after = [ride("A", 320.0 + day, 91, fuel_age_d=16.0) for day in range(4)]
    late = [ride("A", 100.0 + day, 91) for day in range(6)]
    usual = (40_000 + 6_400 + 6_000) / 2_000
    fleet = (40_000 + LEVEL_L * usual) / (1_000 + LEVEL_L) / usual
    dock = (40_000 + LEVEL_L * fleet * usual) / (1_000 + LEVEL_L) / usual

    found = turned(LONG_AGO, *spring, *after, *late)

    assert found["A"]["turn_fuel_age_25h_d"] == pytest.approx(dock)
    assert found["A"]["near_h"] == pytest.approx(45.0)
    # the days after those burned fuel of less than the year's mean age
    assert found["A"]["later_turn_fuel_age_25h_d"] < 1
    # a dock that was not there then turns as the fleet did
    assert found["B"]["turn_fuel_age_25h_d"] == pytest.approx(fleet)
    assert "turn_shortfall_25h_on" not in found["A"]


def test_a_dock_with_little_running_in_those_weeks_turns_as_the_fleet() -> None:
    """South ran once then, on fuel as young as ever: one ride beside the fleet's for 20 hours."""
    spring = [ride("A", 342.0 + day, 91, fuel_age_d=40.0) for day in range(20)]
    rest = [ride(hull, 100.0 + day, 91, dock_id=dock)
            for hull, dock in (("A", "north"), ("B", "south")) for day in range(20)]  # fmt: skip
    south = ride("B", 345.0, 91, dock_id="south")

    found = turned(LONG_AGO, *spring, *rest, south)

    assert found["B"]["turn_fuel_age_25h_d"] > 1.4


def test_a_first_year_knows_no_turn() -> None:
    assert turned(ride("A", 100.0, 91))["A"] == RUNNING.row(0, named=True)


def test_at_the_seasons_end_what_comes_after_is_as_what_is_near() -> None:
    found = turned(LONG_AGO, ride("A", 345.0, 91), until_d=10.0)["A"]

    assert found["later_turn_fuel_age_25h_d"] == found["turn_fuel_age_25h_d"]
