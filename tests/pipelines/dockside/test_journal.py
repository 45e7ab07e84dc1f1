"""The journal keeps what was acknowledged, and is taken in as often as anybody likes."""

import errno
import os
import shutil
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from click.testing import CliRunner

from pipelines.backup import kept_files
from pipelines.command_line import main
from pipelines.dockside import taking_in
from pipelines.dockside.journal import SECOND, Journal, end_of_lines, read_journal
from pipelines.dockside.taking_in import TAKEN, is_waiting, journal_faults, take_journal_in
from pipelines.duckdb_warehouse import WarehouseError, warehouse_at
from pipelines.home import JOURNAL, SESSIONS, Home
from pipelines.rebuilding import rebuild
from pipelines.taken_list import taken_in
from pipelines.warehouse_care import check_warehouse, record_tables
from ringland.dockside.entries import StampedEntry
from tests.dockside.small_shop import entry, stamped
from tests.pipelines.dockside.shop_home import loaded_home


def fill(hull: str, minute: int, litres: str = "30") -> StampedEntry:
    cells = {"hull_id": hull, "filled_at": f"2026-08-18T09:{minute:02}:00Z", "volume_l": litres,
             "source": "outside", "octane_aki": "91"}  # fmt: skip
    return stamped(entry("fills", cells))


def correction(key: str, litres: str) -> StampedEntry:
    cells = {"record_kind": "fills", "record_key": key, "change": "corrected",
             "field": "volume_l", "new_value": litres, "reason": "misread"}  # fmt: skip
    return stamped(entry("corrections", cells))


def keep(home: Home, *entries: StampedEntry) -> None:
    with Journal(home.dockside) as journal:
        journal.append(entries)


def tables(home: Home) -> dict[str, pl.DataFrame]:
    return record_tables(warehouse_at(home.database))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Home:
    return loaded_home(tmp_path_factory.mktemp("made") / "home")


@pytest.fixture
def home(made: Home, tmp_path: Path) -> Home:
    return Home(Path(shutil.copytree(made.folder, tmp_path / "home")))


def test_a_kept_entry_is_read_again_and_known(tmp_path: Path) -> None:
    told = [fill("A1", 1), fill("A2", 2)]

    with Journal(tmp_path) as journal:
        journal.append(told)
    with Journal(tmp_path) as journal:
        assert journal.knows(told[0].entry.id)
        assert not journal.knows("another")

    assert list(read_journal(tmp_path / JOURNAL)) == told


def test_an_entry_is_forced_to_the_disk_before_it_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    forced: list[int] = []
    with Journal(tmp_path) as journal:
        monkeypatch.setattr(os, "fsync", lambda handle: forced.append(os.fstat(handle).st_size))
        journal.append([fill("A1", 1)])
        monkeypatch.undo()

    assert forced == [(tmp_path / name).stat().st_size for name in (JOURNAL, SECOND)]


def test_a_line_cut_off_in_writing_is_gone_and_the_next_begins_anew(tmp_path: Path) -> None:
    first, second = fill("A1", 1), fill("A2", 2)
    with Journal(tmp_path) as journal:
        journal.append([first])
    with (tmp_path / JOURNAL).open("ab") as file:
        file.write(b'{"id": "cut o')

    with Journal(tmp_path) as journal:
        journal.append([second])

    assert list(read_journal(tmp_path / JOURNAL)) == [first, second]


def test_a_second_server_is_refused_until_the_first_is_gone(tmp_path: Path) -> None:
    with Journal(tmp_path), pytest.raises(WarehouseError, match="Stop that one first"):
        Journal(tmp_path)

    Journal(tmp_path).close()


def test_a_full_disk_keeps_whole_lines_only_and_what_is_sent_again_is_known(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = fill("A1", 1), fill("A2", 2)

    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "full")

    with Journal(tmp_path) as journal:
        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(OSError, match="full"):
            journal.append([first])
        monkeypatch.undo()
        assert journal.knows(first.entry.id)  # written, though nobody was told so
        journal.append([second])

    assert list(read_journal(tmp_path / JOURNAL)) == [first, second]


def test_the_end_of_the_last_whole_line_is_found_however_long_the_rest(tmp_path: Path) -> None:
    path = tmp_path / "lines"
    for whole, rest in ((b"", b""), (b"", b"x" * 200_000), (b"a\nb\n", b"x" * 200_000)):
        path.write_bytes(whole + rest)
        assert end_of_lines(path) == len(whole)


def test_entries_come_into_the_warehouse_with_file_row_and_time(home: Home) -> None:
    told = fill("A1", 1)
    keep(home, told, fill("A2", 2))

    batches = take_journal_in(home)

    assert [(batch.entries, batch.counts[0].rows_new) for batch in batches] == [(2, 2)]
    rows = warehouse_at(home.database).read_records()["fills"].filter(hull_id="A1")
    row = rows.filter(pl.col("source_file").str.contains("dockside")).row(0, named=True)
    assert row["recorded_at"] == told.received_at
    assert (row["source_file"], row["source_row"]) == ("fills_dockside_000001.csv", 2)
    raw = [one for one in taken_in(home.raw) if one.file_name == row["source_file"]]
    copy = (home.raw / f"{raw[0].content_sha256}.csv").read_text(encoding="utf-8")
    assert told.entry.id in copy
    assert "H. Quist" in copy


def test_taking_the_journal_in_again_changes_nothing(home: Home) -> None:
    keep(home, fill("A1", 1), fill("A2", 2), correction("A1; 2026-08-01T09:00:00Z", "31"))
    take_journal_in(home)
    before = tables(home)

    assert take_journal_in(home) == []
    (home.dockside / "taken-in.json").unlink()  # as if it had never been noted
    take_journal_in(home)

    after = tables(home)
    assert after.keys() == before.keys()
    assert all(after[name].equals(before[name]) for name in before)


def test_a_batch_cut_off_at_any_place_is_taken_in_whole_by_the_next(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    keep(home, fill("A1", 1), fill("A2", 2), correction("A1; 2026-08-01T09:00:00Z", "31"))
    load = taking_in._load_file
    calls: list[Path] = []

    def cut_off(con: Any, home: Home, path: Path) -> Any:
        calls.append(path)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return load(con, home, path)

    monkeypatch.setattr(taking_in, "_load_file", cut_off)
    with pytest.raises(KeyboardInterrupt):
        take_journal_in(home)
    monkeypatch.undo()
    keep(home, fill("B1", 3))  # comes meanwhile: a batch of its own

    batches = take_journal_in(home)

    assert [batch.entries for batch in batches] == [3, 1]
    read = warehouse_at(home.database).read_records()
    assert read["fills"].height == 4
    assert read["corrections"].height == 1
    assert journal_faults(home) == []


def test_a_home_without_a_journal_stays_as_it_is(home: Home) -> None:
    assert take_journal_in(home) == []
    assert not is_waiting(home)
    assert not home.dockside.exists()


def test_check_tells_of_what_waits_and_of_a_changed_line(home: Home) -> None:
    keep(home, fill("A1", 1), fill("A2", 2))
    assert any("not taken in yet" in told for told in journal_faults(home))
    take_journal_in(home)
    assert journal_faults(home) == []
    for path in (home.dockside / JOURNAL, home.dockside / SECOND):
        path.write_bytes(path.read_bytes().replace(b'"volume_l": "30"', b'"volume_l": "39"', 1))

    (found,) = journal_faults(home)
    assert "line 1" in found
    assert [one.wrong for one in check_warehouse(home) if "dock" in one.about] == [(found,)]


def test_a_journal_that_was_lost_and_begun_anew_is_taken_in_from_its_beginning(home: Home) -> None:
    """Its new entries lay before the place of the old one, and never came on record."""
    keep(home, fill("A1", 1), fill("A1", 2), fill("A1", 3))
    take_journal_in(home)
    old = tables(home)["shop_records.fills"].height
    (home.dockside / JOURNAL).unlink()
    (home.dockside / SECOND).unlink()
    assert any("is not as it was taken in" in line for line in journal_faults(home))
    keep(home, fill("A1", 4))
    assert is_waiting(home)

    take_journal_in(home)

    assert tables(home)["shop_records.fills"].height == old + 1
    assert journal_faults(home) == []
    keep(home, *(fill("A1", minute) for minute in range(5, 15)))
    take_journal_in(home)
    assert tables(home)["shop_records.fills"].height == old + 11


@pytest.mark.parametrize("name", [JOURNAL, SECOND])
@pytest.mark.parametrize("how", ["lost", "cut off", "changed"])
def test_what_one_file_of_the_journal_has_lost_the_other_brings_back(
    home: Home, name: str, how: str
) -> None:
    """An entry that was not taken in yet was gone with the file, and nobody was told which."""
    told = [fill("A1", 1), fill("A2", 2), fill("A1", 3)]
    keep(home, *told[:1])
    take_journal_in(home)
    keep(home, *told[1:])
    path = home.dockside / name
    whole = path.read_bytes()
    path.unlink()
    if how != "lost":
        changed = whole.replace(b"A2", b"A1") if how == "changed" else whole[: len(whole) // 2]
        path.write_bytes(changed)
    shorter_second = name == SECOND and how != "changed"
    assert any(name in line for line in journal_faults(home)) == (not shorter_second)

    done = CliRunner().invoke(main, ["--home", str(home.folder), "load"])

    assert done.exit_code == 0, done.output
    assert list(read_journal(home.dockside / JOURNAL)) == told
    assert (home.dockside / SECOND).read_bytes() == path.read_bytes() == whole
    assert [line for one in check_warehouse(home) for line in one.wrong] == []
    assert {"A1", "A2"} <= set(tables(home)["shop_records.fills"]["hull_id"])


@pytest.mark.parametrize("left", [None, b"", b"{", b"[]", b'{"number": 1, "ends": 3}'])
def test_a_journal_whose_place_is_lost_is_taken_in_from_its_beginning(
    home: Home, left: bytes | None
) -> None:
    """The check, a load and a week ended in a traceback, as did the step that it advised."""
    keep(home, fill("A1", 1), fill("A1", 2))
    take_journal_in(home)
    before = tables(home)["shop_records.fills"]
    (home.dockside / TAKEN).unlink()
    if left is not None:
        (home.dockside / TAKEN).write_bytes(left)
    (waits,) = journal_faults(home)
    assert waits.endswith("run 'ringland load'")

    done = CliRunner().invoke(main, ["--home", str(home.folder), "load"])

    assert done.exit_code == 0, done.output
    assert tables(home)["shop_records.fills"].equals(before)
    assert [line for one in check_warehouse(home) for line in one.wrong] == []


def test_the_journal_is_in_a_backup_and_what_it_brought_in_a_rebuild(home: Home) -> None:
    keep(home, fill("A1", 1))
    take_journal_in(home)
    before = tables(home)

    rebuild(home)

    (home.dockside / SESSIONS).write_text("{}", encoding="utf-8")
    kept = {path.name for path in kept_files(home) if path.parent == home.dockside}
    assert kept == {JOURNAL, SECOND, TAKEN}  # no lock, and nobody signed in again by a restore
    assert tables(home)["shop_records.fills"].equals(before["shop_records.fills"])
