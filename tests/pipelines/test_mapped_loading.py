"""Files in an operator's own form go into the warehouse through their mapping."""

from datetime import timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.duckdb_warehouse import DuckDBWarehouse, warehouse_at
from pipelines.home import Home
from pipelines.rebuilding import rebuild
from pipelines.record_loading import MAPPING_MOVES_ROWS, FileCount, load_kind
from pipelines.row_accounting import rows_unaccounted
from pipelines.source_files import record_files

FIXTURES = Path(__file__).resolve().parents[1] / "intake" / "fixtures"


@pytest.fixture
def folders(tmp_path: Path) -> dict[str, Path]:
    made = {name: tmp_path / name for name in ("records", "raw", "mappings")}
    for folder in made.values():
        folder.mkdir()
    (made["records"] / "docks.csv").write_text("dock_id,time_zone\nnorth,America/Chicago\n")
    (made["records"] / "hulls.csv").write_text(
        "hull_id,dock_id,tank_l,in_service_at\n"
        "H01,north,70,2025-01-01T00:00:00Z\nH02,north,70,2025-01-01T00:00:00Z\n"
    )
    return made


def load(folders: dict[str, Path], *kinds: str) -> tuple[DuckDBWarehouse, list[FileCount]]:
    warehouse = warehouse_at(folders["records"].parent / "test.duckdb")
    counts = []
    for kind in kinds:
        counts += load_kind(
            warehouse, folders["raw"], kind, folders["records"], folders["mappings"]
        )
    return warehouse, counts


def put(folders: dict[str, Path], name: str, mapping_folder: str) -> None:
    (folders["records"] / name).write_bytes((FIXTURES / name).read_bytes())
    stem = Path(name).stem
    (folders[mapping_folder] / f"{stem}.toml").write_bytes((FIXTURES / f"{stem}.toml").read_bytes())


@pytest.mark.parametrize("mapping_folder", ["records", "mappings"])
def test_one_file_with_two_kinds_loads_as_both(
    folders: dict[str, Path], mapping_folder: str
) -> None:
    put(folders, "dock_log.csv", mapping_folder)

    warehouse, counts = load(folders, "docks", "hulls", "fills", "sessions")

    by_kind = {count.kind: count for count in counts if count.file_name == "dock_log.csv"}
    fills, sessions = by_kind["fills"], by_kind["sessions"]
    assert (fills.rows_in, fills.rows_new, fills.rows_set_aside) == (2, 1, 1)
    assert (sessions.rows_in, sessions.rows_new, sessions.rows_set_aside) == (4, 1, 3)
    assert "Rows left out by the mapping: 1." in sessions.notes
    assert rows_unaccounted(warehouse) == []


def test_the_same_file_again_brings_nothing(folders: dict[str, Path]) -> None:
    put(folders, "meters.txt", "records")
    load(folders, "docks", "hulls", "hour_readings")

    warehouse, counts = load(folders, "hour_readings")

    assert [(count.rows_new, count.rows_already_there) for count in counts] == [(0, 1)]
    assert rows_unaccounted(warehouse) == []


def test_a_mended_mapping_brings_in_the_rows_it_could_not_read(folders: dict[str, Path]) -> None:
    put(folders, "meters.txt", "mappings")
    change_mapping(folders, "meters", "%Y-%m-%d", "%d/%m/%Y")
    _, counts = load(folders, "docks", "hulls", "hour_readings")
    assert (counts[-1].rows_new, counts[-1].rows_set_aside) == (0, 2)

    change_mapping(folders, "meters", "%d/%m/%Y", "%Y-%m-%d")
    warehouse, counts = load(folders, "hour_readings")

    assert [(count.rows_new, count.rows_set_aside) for count in counts] == [(1, 1)]
    assert rows_unaccounted(warehouse) == []


def test_a_mapping_that_moves_rows_on_record_is_refused_until_a_rebuild(
    folders: dict[str, Path],
) -> None:
    put(folders, "meters.txt", "mappings")
    warehouse, _ = load(folders, "docks", "hulls", "hour_readings")
    readings = "select * from shop_records.hour_readings order by all"
    before = warehouse.read(readings)

    change_mapping(folders, "meters", "America/Chicago", "America/New_York")
    _, counts = load(folders, "hour_readings")

    assert [count.notes for count in counts] == [MAPPING_MOVES_ROWS]
    assert warehouse.read(readings).equals(before)
    assert rows_unaccounted(warehouse) == []

    home = Home(folders["raw"].parent)
    (home.folder / "test.duckdb").rename(home.database)
    rebuild(home)
    rebuilt = warehouse_at(home.database).read(readings)
    an_hour_earlier = before["read_at"] - timedelta(hours=1)
    assert rebuilt["read_at"].to_list() == an_hour_earlier.to_list()


def change_mapping(folders: dict[str, Path], stem: str, old: str, new: str) -> None:
    mapping = folders["mappings"] / f"{stem}.toml"
    assert old in mapping.read_text()
    mapping.write_text(mapping.read_text().replace(old, new))


def test_a_file_of_no_kind_is_passed_over_until_it_has_a_mapping(folders: dict[str, Path]) -> None:
    name = "pump_export.txt"
    (folders["records"] / name).write_bytes((FIXTURES / name).read_bytes())
    assert [path.name for path in record_files(folders["records"], None)] == [name]

    put(folders, name, "mappings")

    assert list(record_files(folders["records"], None, folders["mappings"])) == []
    _, counts = load(folders, "docks", "hulls", "fills")
    # none new: the one date of the file that can tell speaks against the mapping's order
    assert [(count.rows_in, count.rows_set_aside) for count in counts[2:]] == [(3, 3)]


def test_an_unanswered_mapping_stops_its_file_with_its_name(folders: dict[str, Path]) -> None:
    put(folders, "meters.txt", "records")
    mapping = folders["records"] / "meters.toml"
    mapping.write_text(mapping.read_text().replace("America/Chicago", "?"))

    _, counts = load(folders, "docks", "hulls", "hour_readings")

    (refused,) = [count for count in counts if count.is_refused]
    assert refused.file_name == "meters.txt"
    assert refused.notes.startswith("meters.toml, source.time_zone: The question")


def test_the_draft_command_writes_a_mapping_and_never_over_one(tmp_path: Path) -> None:
    arguments = ["--home", str(tmp_path / "home"), "draft", str(FIXTURES / "pump_export.txt")]

    first = CliRunner().invoke(main, arguments)
    again = CliRunner().invoke(main, arguments)

    written = tmp_path / "home" / "mappings" / "pump_export.toml"
    assert first.exit_code == 0, first.output
    assert 'unit = "?"' in written.read_text(encoding="utf-8")
    assert "questions marked '?'" in first.output
    assert again.exit_code == 1
    assert "it was not overwritten" in again.output
