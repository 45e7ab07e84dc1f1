"""A copy counts by its bytes, the list stands twice, and following the check's advice mends."""

import json
import shutil
from pathlib import Path

import duckdb
import pytest

from pipelines.duckdb_warehouse import WarehouseError, ensure_record_tables, warehouse_at
from pipelines.home import Home
from pipelines.raw_store import keep_copy
from pipelines.rebuilding import rebuild
from pipelines.record_loading import load_kind
from pipelines.taken_list import (
    LIST_NAME,
    NAMES,
    SECOND_NAME,
    TakenIn,
    add_to_list,
    list_faults,
    mend_list,
    taken_in,
)
from pipelines.warehouse_care import check_warehouse, record_tables

DOCKS = "dock_id,time_zone\nnorth,America/Chicago\n"
HULLS = "hull_id,dock_id,tank_l,in_service_at\nA1,north,70,2025-05-01T00:00:00Z\n"
FILLS = "hull_id,filled_at,volume_l,source\n" + "".join(
    f"A1,2025-06-{day:02}T10:00:00Z,30,outside\n" for day in range(1, 29)
)
KINDS = {"docks": DOCKS, "hulls": HULLS, "fills": FILLS}


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("records")
    for kind, text in KINDS.items():
        (folder / f"{kind}.csv").write_text(text)
    return folder


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory, records: Path) -> Home:
    home = Home(tmp_path_factory.mktemp("loaded") / "home").prepare()
    load(home, records)
    return home


@pytest.fixture
def home(loaded: Home, tmp_path: Path) -> Home:
    return Home(Path(shutil.copytree(loaded.folder, tmp_path / "home")))


def load(home: Home, records: Path) -> None:
    for kind in KINDS:
        load_kind(warehouse_at(home.database), home.raw, kind, records)


def copy_of(home: Home, name: str) -> Path:
    digest = {one.file_name: one.content_sha256 for one in taken_in(home.raw)}[name]
    return home.raw / f"{digest}.csv"


def wrong(home: Home) -> list[str]:
    return [line for finding in check_warehouse(home) for line in finding.wrong]


def rows(home: Home) -> dict[str, int]:
    return {
        name: frame.height for name, frame in record_tables(warehouse_at(home.database)).items()
    }


@pytest.mark.parametrize("damage", ["truncated", "tampered", "deleted"])
def test_a_rebuild_from_a_bad_copy_is_refused_and_the_original_heals_it(
    home: Home, records: Path, damage: str
) -> None:
    """Following the check's advice once lost 24,905 of 24,920 rentals, for good: the rebuild read
    a truncated copy, and the original, loaded again, was taken for seen."""
    before, copy = rows(home), copy_of(home, "fills.csv")
    if damage == "truncated":
        copy.write_bytes(copy.read_bytes()[:100])
    elif damage == "tampered":
        copy.write_bytes(copy.read_bytes().replace(b",30,", b",39,"))
    else:
        copy.unlink()
    (said,) = wrong(home)
    assert said.startswith("fills.csv: its copy")
    assert "load the original again" in said

    with pytest.raises(WarehouseError, match=r"Nothing was changed.*fills\.csv"):
        rebuild(home)
    assert rows(home) == before
    load(home, records)

    assert copy.read_text() == FILLS
    assert len(list((home.raw / "set-apart").glob("*"))) == (damage != "deleted")
    assert wrong(home) == []
    rebuild(home)
    assert rows(home) == before


def test_a_rebuild_without_a_lost_copy_says_what_to_load_again_and_from_there_all_is_back(
    home: Home, records: Path
) -> None:
    before = rows(home)
    copy_of(home, "hulls.csv").unlink()

    left_out = rebuild(home, leave_out_lost=True).left_out

    assert left_out == ("hulls.csv: 1 rows, of which it had brought 1",)
    load(home, records)
    rebuild(home)
    assert rows(home) == before


@pytest.mark.parametrize("place", [20, 4096, 8192 + 100])
def test_a_damaged_database_is_moved_aside_by_a_rebuild(home: Home, place: int) -> None:
    """With bytes flipped in its header the rebuild did all its work, then opened the damaged file
    to keep it, failed, and said to run a rebuild."""
    before = rows(home)
    content = bytearray(home.database.read_bytes())
    content[place : place + 64] = bytes(byte ^ 0xFF for byte in content[place : place + 64])
    home.database.write_bytes(content)

    rebuilt = rebuild(home)

    assert rebuilt.old is not None
    assert rebuilt.old.read_bytes() == bytes(content)
    assert rows(home) == before
    assert wrong(home) == []


@pytest.mark.parametrize("lost", [(LIST_NAME,), (SECOND_NAME,), NAMES])
def test_a_lost_list_is_told_and_written_anew(home: Home, lost: tuple[str, ...]) -> None:
    """Without the list a rebuild once emptied the warehouse, and the check was content."""
    before, listed = rows(home), list(taken_in(home.raw))
    for name in lost:
        (home.raw / name).unlink()
    assert any("ringland rebuild" in line for line in wrong(home))

    rebuild(home)

    assert list(taken_in(home.raw)) == listed
    assert rows(home) == before
    assert wrong(home) == []


def test_with_list_and_warehouse_lost_nothing_is_emptied_and_the_way_back_is_told(
    home: Home, records: Path
) -> None:
    before = rows(home)
    for name in NAMES:
        (home.raw / name).unlink()
    home.database.unlink()

    with pytest.raises(WarehouseError, match=r"holds 3 copies that no list names"):
        rebuild(home)
    rebuild(home, leave_out_lost=True)
    load(home, records)

    assert rows(home) == before
    assert wrong(home) == []


@pytest.mark.parametrize("tables", ["none", "scripts", "all"])
def test_a_first_load_that_was_cut_off_before_the_list_is_to_be_given_again(
    tmp_path: Path, records: Path, tables: str
) -> None:
    """The check sent it to a rebuild, which had no list to go by and refused."""
    home = Home(tmp_path / "home").prepare()
    keep_copy(home.raw, records / "docks.csv")
    if tables != "none":
        with warehouse_at(home.database).connect() as con:
            if tables == "all":
                ensure_record_tables(con)
            con.execute("delete from schema_version where version > 6")

    advised = [line for line in wrong(home) if "ringland" in line]
    load(home, records)

    assert any("load its file again under the name it had" in line for line in advised)
    if tables != "none":  # of a missing warehouse both ways are told, loading first
        assert not any("ringland rebuild" in line or "ringland week" in line for line in advised)
    assert wrong(home) == []


def test_a_schema_that_lost_a_table_with_rows_is_rebuilt_before_any_week(home: Home) -> None:
    """The check sent it to a week first, which was worked out without those rows and kept."""
    before = rows(home)
    with duckdb.connect(str(home.database)) as con:
        con.execute("delete from schema_version where version > 4")
        con.execute("drop table shop_records.fills")

    assert "run 'ringland rebuild'" in wrong(home)[0]
    rebuild(home)

    assert rows(home) == before
    assert wrong(home) == []


def test_a_line_damaged_in_one_file_of_the_list_is_read_from_the_other(home: Home) -> None:
    listed = list(taken_in(home.raw))
    path = home.raw / LIST_NAME
    path.write_bytes(path.read_bytes().replace(b'"hulls"', b'"hullz"', 1))

    assert list(taken_in(home.raw)) == listed
    assert list_faults(home.raw) == [f"{LIST_NAME}: line 2 cannot be read"]
    assert mend_list(home.raw)
    assert list_faults(home.raw) == []
    assert list(taken_in(home.raw)) == listed
    assert not mend_list(home.raw)


def test_a_line_cut_off_in_writing_neither_counts_nor_spoils_the_next(tmp_path: Path) -> None:
    first, later = TakenIn("fills", "a.csv", "ab"), TakenIn("fills", "b.csv", "cd")
    add_to_list(tmp_path, first)
    with (tmp_path / LIST_NAME).open("ab") as listed:
        listed.write(b'{"number": 2, "kind": "fi')

    assert list_faults(tmp_path) == []
    add_to_list(tmp_path, later)

    assert list(taken_in(tmp_path)) == [first, later]
    assert (tmp_path / LIST_NAME).read_bytes() == (tmp_path / SECOND_NAME).read_bytes()


def test_the_list_of_an_older_ringland_goes_on_with_numbers(tmp_path: Path) -> None:
    old = [TakenIn("fills", f"{name}.csv", name) for name in "ab"]
    known = ("kind", "file_name", "content_sha256")
    lines = [json.dumps({name: getattr(one, name) for name in known}) for one in old]
    (tmp_path / LIST_NAME).write_text("\n".join(lines) + "\n")
    assert list_faults(tmp_path) == []

    add_to_list(tmp_path, TakenIn("fills", "c.csv", "c"))

    assert [one.file_name for one in taken_in(tmp_path)] == ["a.csv", "b.csv", "c.csv"]
    assert b'"number": 1' in (tmp_path / LIST_NAME).read_bytes()


def test_a_lost_table_and_a_schema_half_done_are_told_and_rebuilt(
    home: Home, records: Path
) -> None:
    before = rows(home)
    with warehouse_at(home.database).connect() as con:
        con.execute("drop table shop_records.mended")
        con.execute("delete from schema_version where version > 1")

    assert any("ringland rebuild" in line for line in wrong(home))
    with pytest.raises(WarehouseError, match="ringland rebuild"):
        load_kind(warehouse_at(home.database), home.raw, "docks", records)
    rebuild(home)

    assert rows(home) == before
    assert wrong(home) == []


def test_a_broken_mapping_never_empties_a_rebuilt_warehouse(home: Home) -> None:
    """With the database damaged too, each file was passed over by a mapping of another."""
    before = rows(home)
    home.database.write_bytes(b"no database" * 1000)
    (home.mappings / "other.toml").write_text("# begun by hand\n")

    rebuild(home)
    assert rows(home) == before
