"""The hull's hours along its meters, across rollover, reset and replacement."""

from datetime import timedelta

import pytest

from ringland.history.hour_line import hour_line, key_on_flags
from ringland.settings.assumptions import load_assumptions
from tests.history.record_rows import at, records

ASSUMPTIONS = load_assumptions()


def reading(week: int, shown: float, meter: str = "M1") -> dict[str, object]:
    return {
        "hull_id": "H01",
        "meter_id": meter,
        "meter_h": shown,
        "read_at": at("05-01 20:00") + timedelta(weeks=week),
    }


def ride(week: int, hours: float) -> dict[str, object]:
    """One ride in the days before the reading of that week."""
    start = at("05-01 08:00") + timedelta(weeks=week)
    return {
        "hull_id": "H01",
        "started_at": start,
        "ended_at": start + timedelta(hours=10),
        "running_h": hours,
    }


def test_the_line_is_followed_over_a_rollover_a_new_meter_and_a_reset_by_hand() -> None:
    line = hour_line(
        records(
            hour_readings=[
                reading(0, 970), reading(1, 990), reading(2, 8), reading(3, 30),
                reading(4, 5, "M2"), reading(5, 11, "M2"), reading(6, 20, "M2"),
                reading(7, 2, "M2"), reading(8, 9, "M2"), reading(9, 15, "M2"),
            ],
            sessions=[ride(week, 6) for week in range(1, 10)],
        )
    )  # fmt: skip

    # 20 to the rollover, 18 over it (1,008), 22; then 6 by the rentals; 6 and 9; 6 by the
    # rentals over the reset; 7 and 6
    assert line["line_h"].to_list() == pytest.approx([0, 20, 38, 60, 66, 72, 81, 87, 94, 100])
    assert line["rentals_h"].to_list() == pytest.approx([6 * week for week in range(10)])
    assert line["residual_h"].to_list()[-1] == pytest.approx(100 - 54)
    assert line["repair"].to_list() == [
        None, None, "rolled over", None, "new meter", None, None, "reset", None, None,
    ]  # fmt: skip


def test_a_hull_without_rentals_or_readings_is_no_fault() -> None:
    assert hour_line(records()).is_empty()
    assert hour_line(records(hour_readings=[reading(0, 5)]))["residual_h"].to_list() == [0]


@pytest.mark.parametrize(
    ("gains", "flags"),
    [
        ([1.25, 1.2, 1.3, 1.25], ["meter_counts_key_on"]),
        ([1.25, 1.2, 1.3], []),  # too few to say
        ([1.25, 1.2, 3.0, 1.25], []),  # one lump: a ride was not written down
        ([1.0, 1.02, 0.98, 1.0], []),
    ],
)
def test_a_meter_that_runs_ahead_steadily_probably_counts_with_the_key_on(
    gains: list[float], flags: list[str]
) -> None:
    shown = [100.0]
    for gain in gains:
        shown.append(shown[-1] + 10 * gain)
    line = hour_line(
        records(
            hour_readings=[reading(week, figure) for week, figure in enumerate(shown)],
            sessions=[ride(week, 10) for week in range(1, len(shown))],
        )
    )

    assert key_on_flags(line, ASSUMPTIONS)["flag"].to_list() == flags


def test_a_ride_that_begins_as_the_meter_is_read_counts_for_that_reading() -> None:
    start = at("05-08 20:00")
    late = {"hull_id": "H01", "started_at": start, "running_h": 3.0,
            "ended_at": start + timedelta(hours=4)}  # fmt: skip
    line = hour_line(records(hour_readings=[reading(0, 10), reading(1, 20)], sessions=[late]))

    assert line["rentals_h"].to_list() == [0.0, 3.0]


@pytest.mark.parametrize(
    ("settings", "is_flagged"),
    [
        ({"meter__key_on_pace": 1.25, "meter__key_on_spread": 0.25}, True),  # just as far as both
        ({"meter__key_on_pace": 1.2501, "meter__key_on_spread": 0.25}, False),
        ({"meter__key_on_pace": 1.25, "meter__key_on_spread": 0.2499}, False),
        ({"meter__key_on_spread": 0.25, "meter__key_on_spans": 5}, False),
    ],
)  # fmt: skip
def test_paces_and_spans_that_just_reach_their_limits_count(
    settings: dict[str, float], is_flagged: bool
) -> None:
    """Paces 1.5, 1.75, 1.25 and 1.5: middle 1.5, a quarter either way, all exact in binary."""
    shown = [100.0, 112.0, 126.0, 136.0, 148.0]
    line = hour_line(
        records(
            hour_readings=[reading(week, figure) for week, figure in enumerate(shown)],
            sessions=[ride(week, 8) for week in range(1, len(shown))],
        )
    )

    assert (key_on_flags(line, ASSUMPTIONS.changed(**settings)).height == 1) is is_flagged
