"""How a hull is usually fuelled and ridden, by hand."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from ringland.contracts.fuel_tables import CurrentExposure, SessionExposure
from ringland.exposure.factor_registry import FACTORS, MEANS
from ringland.risk.exposure_ahead import OPEN, USUAL
from ringland.risk.hull_state import running_sets
from ringland.risk.usual_exposure import usual_exposure
from tests.decision.small_fleet import SETTINGS, frame

AS_OF = datetime(2026, 8, 3, tzinfo=UTC)


def ride(
    hull_id: str,
    days: float,
    octane_aki: float | None,
    *,
    need: float | None = 91.0,
    **more: object,
) -> dict[str, object]:
    """A ride of 4 h, a quarter of it at full throttle, on 100 l ten days old."""
    at = AS_OF - timedelta(days=days)
    short = None if octane_aki is None or need is None else max(0.0, need - octane_aki)
    return {
        "hull_id": hull_id,
        "dock_id": "north",
        "engine_id": "E" + hull_id,
        "started_at": at,
        "ended_at": at + timedelta(hours=4),
        "engine_h_start": 10.0,
        "engine_h_stop": 14.0,
        "burn_l": 100.0,
        "octane_aki": octane_aki,
        "octane_need_aki": need,
        "shortfall_on": short,
        "shortfall_low_on": 0.0 if short is None else max(0.0, short - 0.5),
        "shortfall_high_on": 4.0 if short is None else short + 0.5,
        "hard_running_h": 1.0,
        "full_throttle_share": 0.25,
        "fuel_age_d": 10.0,
        "share_over_28d": 0.1,
        "unknown_share": 0.0 if octane_aki is not None else 1.0,
    } | more


def usual(*rides: dict[str, object]) -> dict[str, dict[str, float]]:
    found = usual_exposure(frame(SessionExposure, list(rides)), AS_OF, SETTINGS)
    return {row["hull_id"]: row for row in found.to_dicts()}


def test_one_hull_alone_is_usually_as_it_was_over_the_year() -> None:
    """Hard hours 1 and 3 with shortfalls 4 and 0: 1.  Litres 100 and 300 of 10 and 30 days: 25.

    Hard 4 of 8 hours: 0.5.  The ride of over a year ago says nothing.
    """
    more = {"hard_running_h": 3.0, "burn_l": 300.0, "fuel_age_d": 30.0, "share_over_28d": 0.5}
    found = usual(ride("A", 400, 80), ride("A", 100, 87), ride("A", 5, 91, **more))["A"]

    assert found["usual_shortfall_25h_on"] == pytest.approx(1.0)
    assert found["usual_fuel_age_25h_d"] == pytest.approx(25.0)
    assert found["usual_full_throttle_25h"] == pytest.approx(0.5)
    assert found["usual_share_over_28d_25h"] == pytest.approx(0.4)


def test_usual_shortfall_is_against_what_its_calibration_needs_now() -> None:
    """On 91 it met the need of 91 in spring; raised to 93 since, 91 is 2 short."""
    found = usual(ride("A", 100, 91), ride("A", 5, 93, need=93.0))["A"]

    assert found["usual_shortfall_25h_on"] == pytest.approx(1.0)
    # half a number either way of the label at every ride, but never below none
    assert found["usual_shortfall_25h_low_on"] == pytest.approx(1.0)
    assert found["usual_shortfall_25h_high_on"] == pytest.approx(1.5)


def test_unknown_octane_stays_in_the_middle_of_its_bounds() -> None:
    found = usual(ride("A", 5, None))["A"]

    shortfalls = [found[f"usual_shortfall_25h_{part}on"] for part in ("low_", "", "high_")]
    assert shortfalls == pytest.approx([0, 2, 4])


def test_a_hull_with_little_record_is_drawn_towards_its_dock() -> None:
    steady = [ride(hull, day, octane) for hull, octane in (("A", 87), ("B", 91))
              for day in range(5, 300, 20)]  # fmt: skip
    restless = [ride("C", day, 87 + 4 * (day // 20 % 2)) for day in range(5, 300, 20)]
    found = usual(*steady, *restless, ride("D", 5, 85))

    # D's one ride was 6 short; its dock's hulls are about 2 short, each long on record.
    assert 2.5 < found["D"]["usual_shortfall_25h_on"] < 5.5
    assert found["A"]["usual_shortfall_25h_on"] == pytest.approx(4, abs=0.2)
    assert found["B"]["usual_shortfall_25h_on"] == pytest.approx(0, abs=0.2)
    for row in found.values():
        low, middle, high = (row[f"usual_shortfall_25h_{x}on"] for x in ("low_", "", "high_"))
        assert low <= middle <= high


def test_a_hull_that_moved_is_held_against_its_dock_of_today() -> None:
    south = {"dock_id": "south"}
    rides = [ride("A", 100, 87), ride("A", 5, 87, **south), ride("B", 100, 91, **south)]

    assert set(usual(*rides)) == {"A", "B"}


def test_no_ride_gives_no_row() -> None:
    assert usual_exposure(frame(SessionExposure, []), AS_OF, SETTINGS).columns == [
        "hull_id",
        *(
            column
            for name in MEANS
            for column in (USUAL + name, *([OPEN + name] if name in FACTORS else []))
        ),
    ]


def test_without_a_record_of_the_usual_what_is_now_is_usual() -> None:
    now = frame(CurrentExposure, [{"engine_id": "EA", "piston_set_id": "P", "age_h": 9.0,
                                   "shortfall_25h_on": 3.0, "known_share_25h": 1.0}])  # fmt: skip
    use = pl.DataFrame({"hull_id": ["A"], "dock_id": ["n"], "last_session_at": [AS_OF],
                        "use_h_d": [1.0], "silent_d": [0.0]})  # fmt: skip
    running = running_sets(
        exposure_now=now,
        use=use,
        usual=usual_exposure(frame(SessionExposure, []), AS_OF, SETTINGS),
        installed=pl.DataFrame({"hull_id": ["A"], "engine_id": ["EA"]}),
        failures=pl.DataFrame(
            schema={"engine_id": pl.String, "found_at": pl.Datetime("us", "UTC")}
        ),
        cannot_tell=None,
        as_of=AS_OF,
        assumptions=SETTINGS,
    )

    assert running["usual_shortfall_25h_on"].to_list() == [3.0]
