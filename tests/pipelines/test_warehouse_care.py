"""The warehouse survives kills, rivals and its own loss; readers never hold up a load."""

import errno
import os
import random
import shutil
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import duckdb
import pytest
from click.testing import CliRunner

from pipelines import rebuilding
from pipelines.command_line import main
from pipelines.duckdb_warehouse import WarehouseError, warehouse_at
from pipelines.home import Home
from pipelines.rebuilding import rebuild
from pipelines.record_loading import load_kind
from pipelines.row_accounting import all_set_aside, rows_unaccounted
from pipelines.taken_list import LIST_NAME, taken_in
from pipelines.warehouse_care import check_warehouse, publish_copy, record_tables
from ringland.contracts.record_kinds import ALL_KINDS
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.mend_book import mend_workbook
from tests.built_once import BuiltOnce
from tests.intake.test_mend_book import mended
from tests.pipelines.load_worker import load_all

ROOT = Path(__file__).resolve().parents[2]
FIXTURES = ROOT / "tests" / "intake" / "fixtures"
FILES = 6


def write_records(folder: Path, days: int = 60) -> None:
    folder.mkdir()
    hulls = [f"A{number}" for number in range(8)]
    (folder / "docks.csv").write_text("dock_id,time_zone\nnorth,America/Chicago\n")
    (folder / "hulls.csv").write_text(
        "hull_id,dock_id,tank_l,in_service_at\n"
        + "".join(f"{hull},north,70,2024-05-01T00:00:00Z\n" for hull in hulls)
    )
    for month in (1, 2):
        dates = [f"2025-{month + 5:02}-{day % 28 + 1:02}" for day in range(min(days, 28))]
        (folder / f"fills {month}.csv").write_text(
            "hull_id,filled_at,volume_l,source\n"
            + "".join(
                f"{hull},{date}T08:00:00Z,3o,outside\n" for date in dates[:3] for hull in hulls[:1]
            )
            + "".join(f"{hull},{date}T10:00:00Z,30,outside\n" for date in dates for hull in hulls)
        )
        (folder / f"sessions {month}.csv").write_text(
            "hull_id,started_at,ended_at,running_h\n"
            + "".join(
                f"{hull},{date}T{hour:02}:00:00Z,{date}T{hour:02}:50:00Z,0.7\n"
                for date in dates for hour in range(9, 18) for hull in hulls
            )
        )  # fmt: skip


@pytest.fixture
def records(tmp_path: Path) -> Path:
    write_records(tmp_path / "records")
    return tmp_path / "records"


def home_at(folder: Path) -> Home:
    return Home(folder).prepare()


def worker(home: Home, records: Path) -> "subprocess.Popen[str]":
    """A process that will load the records once `go` is called."""
    command = [sys.executable, "-m", "tests.pipelines.load_worker", home.folder, records]
    return subprocess.Popen(
        [str(part) for part in command],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def go(process: "subprocess.Popen[str]") -> None:
    assert process.stdout is not None
    assert process.stdin is not None
    assert process.stdout.readline() == "ready\n"
    process.stdin.write("go\n")
    process.stdin.flush()


def kill_loads(records: Path, folder: Path, kills: int) -> int:
    """Kill as many loads at random moments; how many had files left to load."""
    moments = random.Random(20261125)  # noqa: S311 - moments, not secrets
    quiet = home_at(folder / "quiet")
    process = worker(quiet, records)
    go(process)
    began = time.monotonic()
    assert process.communicate(timeout=60) == ("", "")
    took = time.monotonic() - began
    undisturbed = record_tables(warehouse_at(quiet.database))
    homes = [home_at(folder / f"killed {number}") for number in range(kills)]
    process = worker(homes[0], records)
    cut_off = 0
    for home, following in zip(homes, [*homes[1:], None], strict=True):
        go(process)
        time.sleep(moments.uniform(0, took))
        process.kill()
        process.communicate()
        # the next one imports while this one is looked at
        process = worker(following, records) if following else process
        warehouse = warehouse_at(home.database)
        assert rows_unaccounted(warehouse) == []
        cut_off += warehouse.read("select count(*) from shop_records.files").item() < FILES

        load_all(home, records)

        for table, rows in record_tables(warehouse).items():
            assert rows.equals(undisturbed[table]), (home.folder.name, table)
        shutil.rmtree(home.folder)
    return cut_off


def test_a_load_killed_at_any_moment_leaves_no_half_loaded_file(
    records: Path, tmp_path: Path
) -> None:
    assert kill_loads(records, tmp_path, 3) >= 1  # else the kills came too late to show anything


@pytest.mark.study
def test_fifty_kills_leave_no_half_loaded_file(records: Path, tmp_path: Path) -> None:
    """Run: pytest -m study tests/pipelines/test_warehouse_care.py."""
    assert kill_loads(records, tmp_path, 50) > 12  # a quarter; else they came too late


def test_two_loads_at_once_end_as_one(records: Path, tmp_path: Path) -> None:
    quiet, busy = home_at(tmp_path / "quiet"), home_at(tmp_path / "busy")
    rivals = [worker(busy, records) for _ in range(2)]
    load_all(quiet, records)
    for rival in rivals:
        go(rival)

    said = [rival.communicate(timeout=60) for rival in rivals]

    assert [rival.returncode for rival in rivals] == [0, 0], said
    expected = record_tables(warehouse_at(quiet.database))
    for table, rows in record_tables(warehouse_at(busy.database)).items():
        assert rows.equals(expected[table]), table


HOLD = "import duckdb, sys; con = duckdb.connect(sys.argv[1]); print('held', flush=True); input()"


def test_a_warehouse_in_use_is_refused_in_words_once_patience_ends(tmp_path: Path) -> None:
    home = home_at(tmp_path / "home")
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLD, str(home.database)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert holder.stdout is not None
    assert holder.stdout.readline() == "held\n"
    warehouse = replace(warehouse_at(home.database), patience_s=0.2)

    with pytest.raises(WarehouseError, match="another ringland command is using it"):
        warehouse.read_records()

    holder.communicate("let go\n")


def test_a_reader_of_the_published_copy_never_holds_up_a_load(
    records: Path, tmp_path: Path
) -> None:
    home = home_at(tmp_path / "home")
    published = tmp_path / "published.duckdb"
    warehouse = warehouse_at(home.database)
    load_kind(warehouse, home.raw, "docks", records)
    publish_copy(warehouse, published)
    reader = duckdb.connect(str(published), read_only=True)

    load_all(home, records)
    publish_copy(warehouse, published)

    assert reader.execute("select count(*) from shop_records.files").fetchone() == (1,)
    reader.close()
    fresh = duckdb.connect(str(published), read_only=True)
    assert fresh.execute("select count(*) from shop_records.files").fetchone() == (6,)
    fresh.close()


def test_what_a_publish_that_was_cut_off_left_beside_its_place_goes_with_the_next(
    records: Path, tmp_path: Path
) -> None:
    """It lay there for good, as large as the warehouse."""
    home, published = home_at(tmp_path / "home"), tmp_path / "out" / "published.duckdb"
    load_kind(warehouse_at(home.database), home.raw, "docks", records)
    published.parent.mkdir()
    (published.parent / "published.duckdb.1.partial").write_bytes(b"half a copy")

    publish_copy(warehouse_at(home.database), published)

    assert list(published.parent.iterdir()) == [published]


def fill_home(folder: Path) -> None:
    """A home with plain and mapped files, mended rows and corrections, beside its records."""
    home, records = home_at(folder / "full"), folder / "records"
    write_records(records)
    for name in ("dock_log.csv", "dock_log.toml"):
        (records / name).write_bytes((FIXTURES / name).read_bytes())
    load_all(home, records)
    (records / "hulls.csv").write_text(
        (records / "hulls.csv").read_text() + "H01,north,60,2024-05-01T00:00:00Z\n"
    )
    load_all(home, records)
    book = mended(
        mend_workbook(all_set_aside(warehouse_at(home.database))), F2="30", A3="leave out"
    )
    (records / "set-aside.xlsx").write_bytes(book)
    (records / "corrections.csv").write_text(
        "record_kind,record_key,change,field,new_value,reason,recorded_at\n"
        "fills,A0; 2025-06-01T10:00:00Z,corrected,volume_l,35,misread,2025-07-20T00:00:00Z\n"
    )
    load_all(home, records)


@pytest.fixture
def full_home(built_once: BuiltOnce, tmp_path: Path) -> Home:
    """A copy of that home, to be changed."""
    made = built_once("full-home", fill_home)
    return Home(Path(shutil.copytree(made / "full", tmp_path / "full")))


@pytest.fixture
def full_records(full_home: Home, built_once: BuiltOnce, tmp_path: Path) -> Path:
    """A copy of the records that home was loaded from."""
    made = built_once("full-home", fill_home)
    return Path(shutil.copytree(made / "records", tmp_path / "full-records"))


def test_a_rebuild_from_the_raw_files_gives_the_same_tables(full_home: Home) -> None:
    home = full_home
    before = record_tables(warehouse_at(home.database))
    listed = list(taken_in(home.raw))
    assert all(before[f"shop_records.{name}"].height for name in ("mended", "corrections", "fills"))

    rebuilt = rebuild(home)

    assert rebuilt.old is not None
    assert rebuilt.old.exists()
    assert rebuilt.passed_over == ()
    for table, rows in record_tables(warehouse_at(home.database)).items():
        assert rows.equals(before[table]), table
    assert list(taken_in(home.raw)) == listed


def test_a_rebuild_that_fills_the_disk_leaves_nothing_of_itself(
    full_home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it had written by then stayed, so that the disk was full until the next rebuild."""
    before = full_home.database.read_bytes()

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(rebuilding, "load_kept", full)
    with pytest.raises(OSError, match="No space"):
        rebuild(full_home)

    assert [path.name for path in full_home.folder.glob("*.rebuilt*")] == []
    assert full_home.database.read_bytes() == before


def test_a_workbook_that_fills_the_disk_leaves_no_half_of_it(
    full_home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The half of it stood in the way of the next try; of a bundle, over the last whole one."""

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    file = tmp_path / "book.xlsx"

    done = CliRunner().invoke(main, ["--home", str(full_home.folder), "workbook", str(file)])

    assert "Error: The disk is full. Make room" in done.output
    assert list(tmp_path.glob("book*")) == []


def test_a_lost_warehouse_is_rebuilt_and_a_damaged_one_is_named(full_home: Home) -> None:
    home = full_home
    before = record_tables(warehouse_at(home.database))
    home.database.write_bytes(b"not a database" * 100)
    assert "ringland rebuild" in " ".join(check_warehouse(home)[0].wrong)
    home.database.unlink()

    rebuild(home)

    assert record_tables(warehouse_at(home.database))["shop_records.fills"].equals(
        before["shop_records.fills"]
    )


def test_a_file_that_was_refused_does_not_stop_a_rebuild_but_one_that_loaded_does(
    full_home: Home, full_records: Path
) -> None:
    """Found in use: one page of HTML saved as .xlsx, and no rebuild came to its end any more."""
    home = full_home
    before = record_tables(warehouse_at(home.database))
    (full_records / "fills web.csv").write_text("<html><table>\n")
    load_all(home, full_records)

    (refused,) = rebuild(home).passed_over

    assert refused.startswith("fills web.csv: This is a web page")
    for table, rows in record_tables(warehouse_at(home.database)).items():
        assert rows.equals(before[table]), table
    (home.mappings / "dock_log.toml").write_text("[source]\nfiles = 3\n")
    with pytest.raises(MappingError, match=r"dock_log\.toml"):
        rebuild(home)


def test_a_whole_home_passes_the_check(full_home: Home) -> None:
    home = full_home

    assert [finding.wrong for finding in check_warehouse(home)] == [()] * 12


def test_the_check_names_a_changed_and_a_missing_raw_file(full_home: Home) -> None:
    home = full_home
    taken = {entry.file_name: entry.content_sha256 for entry in taken_in(home.raw)}
    (home.raw / f"{taken['docks.csv']}.csv").write_text("changed")
    (home.raw / f"{taken['fills 1.csv']}.csv").unlink()

    wrong = check_warehouse(home)[3].wrong

    assert len(wrong) == 2
    assert wrong[0].startswith("docks.csv: its copy")
    assert wrong[1].startswith("fills 1.csv: its copy")
    assert "was changed" in wrong[0]
    assert "is missing" in wrong[1]


def test_the_check_finds_rows_that_went_missing_or_broke_their_contract(full_home: Home) -> None:
    home = full_home
    with warehouse_at(home.database).connect() as con:
        con.execute("delete from shop_records.sessions where hull_id = 'A1'")
        con.execute("update shop_records.fills set volume_l = 9000 where hull_id = 'A2'")

    findings = check_warehouse(home)

    assert findings[1].wrong[0].startswith("sessions: files brought")
    assert findings[2].wrong[0].startswith("fills: 56 rows break the contract")


def test_a_cut_off_last_line_of_the_list_is_passed_over(tmp_path: Path) -> None:
    line = '{"kind": "fills", "file_name": "f.csv", "content_sha256": "ab"}\n'
    (tmp_path / LIST_NAME).write_text(line + '{"kind": "fi')

    assert [entry.file_name for entry in taken_in(tmp_path)] == ["f.csv"]


def test_the_commands_check_backup_publish_and_rebuild(full_home: Home, tmp_path: Path) -> None:
    home = full_home

    def run(*arguments: str) -> str:
        result = CliRunner().invoke(main, ["--home", str(home.folder), *arguments])
        assert result.exit_code == 0, result.output
        return result.output

    assert "Nothing wrong" in run("check")
    assert str(tmp_path / "b.zip") in run("backup", str(tmp_path / "b.zip"))
    assert str(tmp_path / "p.duckdb") in run("publish", str(tmp_path / "p.duckdb"))
    assert "the weeks stay as they were said" in run("rebuild")
    assert set(ALL_KINDS) <= {
        table.split(".")[1] for table in record_tables(warehouse_at(home.database))
    }
