"""A season's logs by hand, from file to doubts: meters, overlaps, batches, a German fuel log."""

from datetime import UTC, datetime

import pytest

from ringland.contracts.record_tables import BenchVerdicts
from ringland.history.hour_line import hour_line
from ringland.history.meter_readings import good_readings
from ringland.history.record_doubts import record_doubts
from ringland.intake.written.raw_text import RecordFileError
from ringland.settings.assumptions import load_assumptions
from tests.history.record_rows import records
from tests.intake.test_awkward_files import as_it_is, said, utc, with_mapping

ASSUMPTIONS = load_assumptions()


def test_a_meter_s_season_is_followed_over_its_end_and_a_new_one() -> None:
    """H01 comes round at 1,000 h and was once written ten times too large; H02 lost two digits'
    order and got a new meter.  By hand: 988.4 to 1027.5 is 39.1 h; 431.2 to 465.8 is 34.6 h,
    and 12.5 h on the new meter."""
    readings = as_it_is("hour_readings season.csv").loaded

    _, flags = good_readings(readings)
    line = hour_line(records() | {"hour_readings": readings})

    assert flags.select("hull_id", "flag").rows() == [
        ("H01", "meter_rolled_over"),
        ("H01", "meter_factor_ten"),
        ("H02", "meter_digits_swapped"),
    ]
    last = line.group_by("hull_id", maintain_order=True).last()
    assert last.select("hull_id", "line_h").rows() == [
        ("H01", pytest.approx(39.1)),
        ("H02", pytest.approx(34.6 + 12.5)),
    ]
    assert line.drop_nulls("repair").select("hull_id", "repair").rows() == [
        ("H01", "rolled over"),
        ("H02", "new meter"),
    ]


def test_a_weekend_with_an_overlap_a_late_batch_and_two_impossible_rentals() -> None:
    intake = as_it_is("sessions weekend.csv")

    assert said(intake) == [
        (
            8,
            "started_at, ended_at, running_h",
            "running_h is longer than the time between started_at and ended_at.",
        ),
        (11, "started_at, ended_at", "ended_at is not after started_at."),
    ]
    doubts = record_doubts(
        records() | {"sessions": intake.loaded}, BenchVerdicts.create_empty(), ASSUMPTIONS
    )
    found = doubts.select("flag", "hull_id", "record_key").rows()
    assert ("sessions_overlap", "H01", "H01; 2025-07-05T19:40:00Z") in found
    assert ("written_in_batches", "H02", None) in found
    # the ride over midnight is one ride
    assert intake.loaded["ended_at"].max() == datetime(2025, 7, 6, 5, 20, tzinfo=UTC)


def test_a_german_fuel_log_with_date_and_time_apart_and_numbers_without_a_scale() -> None:
    fills = with_mapping("tanken.csv")["fills"]

    assert fills.loaded.select("hull_id", "filled_at", "volume_l", "octane_unlabelled").rows() == [
        ("H01", utc("2025-07-01 07:30"), 42.5, 95.0)
    ]
    assert said(fills) == [
        (3, "volume_l", "volume_l is 1,038 but may be at most 400 l."),
        (
            4,
            "filled_at",
            "filled_at is '03.07.2025 25:05', which is not a date written as %d.%m.%Y %H:%M.",
        ),
        (
            5,
            "filled_at",
            "filled_at is '30.03.2025 02:30', which never came in Europe/Berlin: clocks went "
            "forward over it.",
        ),
    ]


def test_a_mark_that_says_utf_8_over_other_bytes_is_refused_with_the_remedy() -> None:
    with pytest.raises(RecordFileError, match=r"fills bom\.csv.* not utf-8 text\. Save the file"):
        as_it_is("fills bom.csv")
