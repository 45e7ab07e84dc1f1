"""What a week is: Monday 00:00 on the shop's own clock, wherever the shop lies."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import dagster as dg
import polars as pl
import pytest
from click.testing import CliRunner

from pipelines import command_line
from pipelines.definitions import monday_schedule
from pipelines.home import Home
from pipelines.home_file import HomeFileError, read_home_file
from pipelines.partitions import WEEKS
from pipelines.weeks import as_of_week, current_week
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.history.known_then import known_by

CLOCKS = [
    "Pacific/Auckland",
    "Asia/Tokyo",
    "Australia/Sydney",
    "Europe/Berlin",
    "America/Chicago",
    "America/Los_Angeles",
    "Pacific/Honolulu",
]
SUNDAYS = [
    date(2026, 8, 16),
    date(2026, 3, 8),  # clocks go forward in the United States
    date(2026, 3, 29),  # and in Europe
    date(2026, 4, 5),  # and back in New Zealand and Australia
    date(2026, 9, 27),  # and forward there
    date(2026, 10, 25),  # and back in Europe
    date(2026, 11, 1),  # and in the United States
]


def at(day: date, clock: str, zone: str) -> datetime:
    return datetime.fromisoformat(f"{day}T{clock}").replace(tzinfo=ZoneInfo(zone))


def fills(*filled_at: datetime) -> dict[str, pl.DataFrame]:
    instants = pl.Series([one.astimezone(UTC) for one in filled_at], dtype=pl.Datetime("us", "UTC"))
    frame = RECORD_KINDS["fills"].schema.create_empty()
    return {"fills": pl.concat([frame, pl.DataFrame({"filled_at": instants})], how="diagonal")}


@pytest.mark.parametrize("zone", CLOCKS)
@pytest.mark.parametrize("sunday", SUNDAYS)
def test_mondays_list_holds_sundays_records(zone: str, sunday: date) -> None:
    """A list asked for on Monday morning held, in Auckland, last week's records to the Sunday a
    week before, and in Honolulu this Sunday's to 14:00."""
    monday = sunday + timedelta(days=1)
    sunday_night, monday_early = at(sunday, "23:59", zone), at(monday, "00:01", zone)

    key = current_week(at(monday, "07:30", zone).astimezone(UTC), ZoneInfo(zone))
    known = known_by(fills(sunday_night, monday_early), as_of_week(key, ZoneInfo(zone)))

    assert key == monday.isoformat()
    assert known["fills"]["filled_at"].to_list() == [sunday_night]


@pytest.mark.parametrize("zone", CLOCKS)
def test_sunday_night_still_lies_in_the_old_week(zone: str) -> None:
    now = at(date(2026, 8, 16), "23:59", zone).astimezone(UTC)

    assert current_week(now, ZoneInfo(zone)) == "2026-08-10"


@pytest.mark.parametrize("zone", CLOCKS)
def test_the_schedule_asks_on_its_own_monday_for_the_week_that_begins(zone: str) -> None:
    schedule = monday_schedule(ZoneInfo(zone))
    morning = at(date(2026, 8, 17), "05:00", zone)

    request = schedule(dg.build_schedule_context(scheduled_execution_time=morning))

    assert schedule.execution_timezone == zone
    assert request.partition_key == "2026-08-17"


@pytest.mark.parametrize("zone", CLOCKS)
def test_the_partition_of_a_monday_is_there_when_that_monday_begins(zone: str) -> None:
    midnight = at(date(2026, 8, 17), "00:00", zone)

    assert "2026-08-17" in WEEKS.get_partition_keys(current_time=midnight)


@pytest.mark.parametrize(
    ("zone", "week"), [("Pacific/Auckland", "2026-08-17"), ("Pacific/Honolulu", "2026-08-10")]
)
def test_the_command_takes_the_week_from_the_homes_clock(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, zone: str, week: str
) -> None:
    home = Home(tmp_path).prepare()
    home.own_file.write_text(f'time_zone = "{zone}"\n')
    monkeypatch.setattr(command_line, "_now", lambda: datetime(2026, 8, 16, 20, tzinfo=UTC))

    run = CliRunner().invoke(command_line.main, ["--home", str(tmp_path), "changes"])

    assert run.exit_code == 0, run.output
    assert f"the week of {week}" in run.output


def test_pages_show_the_homes_clock_unless_they_name_their_own(tmp_path: Path) -> None:
    home = Home(tmp_path).prepare()
    home.own_file.write_text('time_zone = "Pacific/Auckland"\n')
    assert home.manner().time_zone == "Pacific/Auckland"

    home.page_settings.write_text('time_zone = "Asia/Tokyo"\n')
    assert home.manner().time_zone == "Asia/Tokyo"


def test_a_home_older_than_its_file_keeps_the_clock_of_its_pages(tmp_path: Path) -> None:
    (tmp_path / "pages.toml").write_text('time_zone = "Asia/Tokyo"\n')

    assert Home(tmp_path).prepare().facts().time_zone == "Asia/Tokyo"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('zone = "UTC"', "there is no entry 'zone'. Known are: operator, time_zone, open_weeks,"),
        ('backup_folder = "stick"', "write a whole path between single quotes"),
        ('time_zone = "Auckland"', 'time_zone "Auckland" is not in the time-zone database'),
        ('operator = ""', "operator is ''; write 1 to 60 letters"),
        ("operator = us", "not valid TOML"),
    ],
)
def test_a_wrong_entry_is_told_with_file_and_remedy(text: str, said: str) -> None:
    with pytest.raises(HomeFileError) as refused:
        read_home_file("home.toml", text)

    assert "home.toml" in str(refused.value)
    assert said in str(refused.value)
