"""A file in the place of one loaded before: seen, adding up, the same when rebuilt."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines.duckdb_warehouse import DuckDBWarehouse, warehouse_at
from pipelines.home import Home
from pipelines.rebuilding import rebuild
from pipelines.record_loading import load_kind
from pipelines.record_writing import FileCount
from pipelines.replacing import replace_file
from pipelines.row_accounting import rows_unaccounted, set_aside_rows
from pipelines.warehouse_care import check_warehouse
from ringland.history.known_then import known_by
from ringland.intake.written.raw_file import RecordFileError

DOCKS = "dock_id,time_zone\nnorth,America/Chicago\n"
HULLS = "hull_id,dock_id,tank_l,in_service_at\nA1,north,70,2025-05-01T00:00:00Z\n"
HEAD = "hull_id,filled_at,volume_l,source,octane_aki\n"
FILLS = (
    f"{HEAD}A1,2025-06-01T10:00:00Z,30.123456789,outside,91\n"
    "A1,2025-06-02T10:00:00Z,31,outside,\n"
    "A1,2025-06-03T10:00:00Z,32,outside,87\n"
)
MENDED = (
    f"{HEAD}A1,2025-06-01T10:00:00Z,30.123456789,outside,91\n"
    "A1,2025-06-03T10:00:00Z,33.987654321,outside,\n"
    "A1,2025-06-04T10:00:00Z,34,outside,91\n"
)
LATER = datetime(2025, 7, 1, 12, tzinfo=UTC)
Take = Callable[[str, str], list[FileCount]]


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(tmp_path / "home").prepare()


@pytest.fixture
def take(home: Home, tmp_path: Path) -> Take:
    """Load one file, as the command does."""

    def load(name: str, content: str) -> list[FileCount]:
        folder = tmp_path / "records" / name
        folder.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(content)
        warehouse = warehouse_at(home.database)
        return load_kind(
            warehouse, home.raw, name.split(maxsplit=1)[0].removesuffix(".csv"), folder
        )

    load("docks.csv", DOCKS)
    load("hulls.csv", HULLS)
    load("fills june.csv", FILLS)
    return load


def known(home: Home, at: datetime) -> list[tuple]:
    records = known_by(warehouse_at(home.database).read_records(), at)
    return records["fills"].select("filled_at", "volume_l", "octane_aki").sort("filled_at").rows()


def replaced(home: Home, tmp_path: Path, take: Take, name: str, content: str) -> list[FileCount]:
    path = tmp_path / name
    path.write_text(content)
    replace_file(home, "fills june.csv", path, LATER)
    return take(name, content)


@pytest.mark.parametrize("name", ["fills june mended.csv", "fills june.csv"])
def test_what_the_new_file_does_not_hold_is_withdrawn_and_what_it_holds_otherwise_put_right(
    home: Home, tmp_path: Path, take: Take, name: str
) -> None:
    (count,) = replaced(home, tmp_path, take, name, MENDED)

    day = datetime(2025, 6, 1, 10, tzinfo=UTC)
    assert (count.rows_in, count.rows_new, count.rows_already_there) == (3, 1, 2)
    assert known(home, datetime(2025, 8, 1, tzinfo=UTC)) == [
        (day, 30.123456789, 91.0),
        (day.replace(day=3), 33.987654321, None),
        (day.replace(day=4), 34.0, 91.0),
    ]
    assert rows_unaccounted(warehouse_at(home.database)) == []
    assert set_aside_rows(warehouse_at(home.database)).is_empty()


def test_a_past_week_stays_as_it_was_known(home: Home, tmp_path: Path, take: Take) -> None:
    before = known(home, datetime(2025, 6, 20, tzinfo=UTC))

    replaced(home, tmp_path, take, "fills june mended.csv", MENDED)

    after = known(home, datetime(2025, 6, 20, tzinfo=UTC))
    assert [row for row in after if row in before] == before


def test_a_rebuild_comes_to_the_same(home: Home, tmp_path: Path, take: Take) -> None:
    replaced(home, tmp_path, take, "fills june mended.csv", MENDED)
    now = datetime(2025, 8, 1, tzinfo=UTC)
    before = known(home, now)

    rebuild(home)

    assert known(home, now) == before
    assert rows_unaccounted(warehouse_at(home.database)) == []


def test_a_file_that_brings_a_withdrawn_record_again_says_so(
    home: Home, tmp_path: Path, take: Take
) -> None:
    replaced(home, tmp_path, take, "fills june mended.csv", MENDED)

    (count,) = take("fills all.csv", f"{FILLS}A1,2025-06-05T10:00:00Z,9,outside,\n")

    assert "Of records that were withdrawn, and stay so: 1." in count.notes


def test_a_file_that_replaced_another_can_be_replaced_in_turn(
    home: Home, tmp_path: Path, take: Take
) -> None:
    """A row of the first file, put right by the second, was not withdrawn for the third."""
    replaced(home, tmp_path, take, "fills june mended.csv", MENDED)
    third = tmp_path / "fills june last.csv"
    third.write_text(f"{HEAD}A1,2025-06-04T10:00:00Z,34,outside,91\n")

    replace_file(home, "fills june mended.csv", third, LATER.replace(day=2))

    (row,) = known(home, datetime(2025, 8, 1, tzinfo=UTC))
    assert row[1] == 34.0


@pytest.mark.parametrize(
    ("old", "content", "message"),
    [
        ("fills jun.csv", MENDED, "No record is from a file of this name. Loaded were"),
        ("fills june.csv", MENDED.replace("34,", "many,"), "row 4, volume_l: .* withdrawn"),
    ],
)
def test_nothing_is_withdrawn_for_a_name_nobody_knows_or_a_file_that_is_not_whole(  # noqa: PLR0917
    home: Home, tmp_path: Path, take: Take, old: str, content: str, message: str
) -> None:
    path = tmp_path / "fills june mended.csv"
    path.write_text(content)

    with pytest.raises(RecordFileError, match=message):
        replace_file(home, old, path, LATER)

    assert warehouse_of(home).read("select * from shop_records.corrections").is_empty()


def wrong_with(home: Home) -> list[str]:
    return [line for finding in check_warehouse(home) for line in finding.wrong]


@pytest.mark.parametrize("name", ["fills june mended.csv", "fills june.csv"])
@pytest.mark.parametrize("is_rebuilt", [False, True])
def test_a_replacement_cut_off_before_its_load_is_named_until_the_file_is_loaded(
    home: Home, tmp_path: Path, take: Take, name: str, is_rebuilt: bool
) -> None:
    """The old file's rows stayed withdrawn, and the check found nothing wrong."""
    path = tmp_path / name
    path.write_text(MENDED)
    replace_file(home, "fills june.csv", path, LATER)  # and no load
    if is_rebuilt:
        rebuild(home)

    (said,) = wrong_with(home)
    take(name, MENDED)

    assert said.startswith(f"{name} replaces an older file, whose rows are withdrawn")
    assert "run 'ringland load' with it" in said
    assert wrong_with(home) == []
    assert [row[1] for row in known(home, datetime(2025, 8, 1, tzinfo=UTC))] == [
        30.123456789,
        33.987654321,
        34.0,
    ]


def test_a_replacement_cut_off_is_done_too_when_a_newer_edition_of_the_file_is_loaded(
    home: Home, tmp_path: Path, take: Take
) -> None:
    path = tmp_path / "fills june mended.csv"
    path.write_text(MENDED)
    replace_file(home, "fills june.csv", path, LATER)

    take(path.name, f"{MENDED}A1,2025-06-05T10:00:00Z,9,outside,\n")

    assert wrong_with(home) == []


def warehouse_of(home: Home) -> DuckDBWarehouse:
    return warehouse_at(home.database)
