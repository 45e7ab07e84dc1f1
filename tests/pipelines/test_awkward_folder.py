"""A folder with files nobody can read: the command says which and what to do, in words."""

import os
import zipfile
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import NamedTuple

import duckdb
import polars as pl
import pytest
from click.testing import CliRunner, Result

from pipelines import command_line
from pipelines.command_line import main
from pipelines.drop_folder import still_growing
from pipelines.duckdb_warehouse import WarehouseError, warehouse_at
from pipelines.home import Home
from pipelines.mend_files import books_in_hand, write_mend_book
from pipelines.printable import printable
from pipelines.raw_store import keep
from pipelines.record_loading import load_kind
from pipelines.refused_files import MOST_UNFOLDED_BYTES
from pipelines.row_accounting import set_aside_rows
from pipelines.warehouse_care import check_warehouse

DOCKS = b"dock_id,time_zone\nnorth,UTC\n"
HULLS = b"hull_id,dock_id,tank_l,in_service_at\nA1,north,70,2025-05-01T00:00:00Z\n"


class Disk(NamedTuple):
    total: int
    used: int
    free: int


def barred(*_: object, **__: object) -> None:
    raise duckdb.IOException("Cannot open file: Permission denied")


def load(tmp_path: Path, **files: bytes) -> str:
    records = tmp_path / "records"
    records.mkdir()
    for name, content in files.items():
        (records / name.replace("__", ".")).write_bytes(content)
    run = CliRunner().invoke(main, ["--home", str(tmp_path / "home"), "load", str(records)])
    assert run.exception is None or isinstance(run.exception, SystemExit), run.exception
    return run.output


def test_a_torn_workbook_is_told_with_file_and_remedy_alone(tmp_path: Path) -> None:
    """Found in use: the spreadsheet library's own words came out, without file or remedy."""
    said = load(tmp_path, fills__xlsx=b"PK\x03\x04 torn")

    assert "fills.xlsx: The workbook cannot be opened" in said
    assert "save it again as .xlsx or CSV." in said
    assert "RecordFileError" not in said
    assert "Traceback" not in said


def test_a_spreadsheet_in_a_format_that_is_not_read_is_named(tmp_path: Path) -> None:
    """Found in use: a folder with one old spreadsheet loaded nothing and said nothing."""
    said = " ".join(load(tmp_path, fills__xls=b"<html><table>").split())

    assert "fills.xls" in said
    assert "save it as .xlsx or CSV" in said


@pytest.fixture
def shop(tmp_path: Path) -> Home:
    return Home(tmp_path / "home").prepare()


def take(home: Home, folder: Path, **files: bytes) -> dict[str, list[str]]:
    """Load files by record kind; what was noted of each."""
    folder.mkdir(exist_ok=True)
    for name, content in files.items():
        (folder / name.replace("__", ".")).write_bytes(content)
    warehouse = warehouse_at(home.database)
    kinds = ("docks", "hulls", "fills")
    return {
        kind: [count.notes for count in load_kind(warehouse, home.raw, kind, folder, home.mappings)]
        for kind in kinds
    }


def test_one_bad_file_does_not_cost_the_others_their_load(shop: Home, tmp_path: Path) -> None:
    """One web page saved as .xlsx ended the load of the whole folder."""
    files = {"docks__csv": b"<html>", "docks_2__csv": DOCKS, "hulls__csv": HULLS}

    notes = take(shop, tmp_path / "records", **files)

    assert notes["docks"][0].startswith("docks.csv: This is a web page")
    warehouse = warehouse_at(shop.database)
    assert warehouse.read("select count(*) from shop_records.hulls").item() == 1
    (told,) = set_aside_rows(warehouse).to_dicts()
    assert (told["source_file"], told["field"]) == ("docks.csv", "the whole file")
    assert all(not finding.wrong for finding in check_warehouse(shop))
    take(shop, tmp_path / "records", docks__csv=DOCKS)
    assert set_aside_rows(warehouse).is_empty()


def test_a_workbook_that_unfolds_too_far_is_refused_before_it_is_read(
    shop: Home, tmp_path: Path
) -> None:
    """60 MB of it unfolded to 1 GB and took 1.3 GB of memory."""
    content = BytesIO()
    with (
        zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as book,
        book.open("xl/worksheets/sheet1.xml", "w") as sheet,
    ):
        for _ in range(MOST_UNFOLDED_BYTES // 10_000_000 + 1):
            sheet.write(bytes(10_000_000))

    notes = take(shop, tmp_path / "records", fills__xlsx=content.getvalue())

    assert "The workbook unfolds to 310 MB; at most 300 MB are read" in notes["fills"][0]


def test_a_parquet_file_of_too_many_cells_is_refused_before_it_is_read(
    shop: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody looked at what a Parquet file unfolds to; one of some kilobytes can fill memory."""
    monkeypatch.setattr("pipelines.refused_files.MOST_CELLS", 2_000_000)
    monkeypatch.setattr("polars.read_parquet", None)  # it would be called
    content = BytesIO()
    ones = pl.DataFrame({"hull_id": "A1", "volume_l": pl.ones(1_500_000, eager=True)})
    ones.write_parquet(content)
    assert len(content.getvalue()) < 100_000

    notes = take(shop, tmp_path / "records", fills__parquet=content.getvalue())

    assert "The Parquet file holds 3 million cells; at most 2 million are read" in notes["fills"][0]


def test_a_file_larger_than_the_machine_should_hold_is_refused(
    shop: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("pipelines.refused_files.MOST_BYTES", 100)

    notes = take(shop, tmp_path / "records", docks__csv=DOCKS + bytes(100))

    assert "The file has 0.0 GB; at most 0 GB are read" in notes["docks"][0]


def test_control_characters_reach_no_terminal(tmp_path: Path) -> None:
    """The ESC of a hull's name reached the terminal, which can hide or forge lines by it."""
    assert printable("A\x1b[2J\x9b1;\u202eb\tc\n") == "A\\x1b[2J\\x9b1;\\x202eb\tc\n"

    said = load(tmp_path, **{"fills\x1b[2J__csv": b"<html>", "docks__csv": DOCKS})

    assert "\x1b[2J" not in said
    assert "\\x1b[2J" in said


def test_the_folder_of_a_home_is_told_as_it_is_called(tmp_path: Path) -> None:
    """What stands in square brackets in a path was eaten as markup: 'shop [red]/set-aside.csv'."""
    home, records = tmp_path / "shop [1] [red]", tmp_path / "records"
    records.mkdir()
    (records / "docks.csv").write_bytes(DOCKS)
    (records / "hulls.csv").write_bytes(HULLS + b"A2,nowhere,70,2025-05-01T00:00:00Z\n")

    said = told(home, "load", str(records)).output

    assert f"faults and remedies: {home / 'set-aside.csv'}; mend them in {home}" in said


def test_a_heading_that_would_act_on_the_terminal_is_shown_by_its_code(tmp_path: Path) -> None:
    """The draft of a mapping was printed with the headings as they stood in the file."""
    (tmp_path / "log.csv").write_bytes(b"Boat,Read\x1b[2J\nA1,12.5\n")

    run = told(tmp_path / "home", "draft", str(tmp_path / "log.csv"), "--show")

    assert "\x1b" not in run.output
    assert "\\x1b[2j" in run.output


def test_a_half_mended_workbook_is_never_written_over(tmp_path: Path) -> None:
    """The next load overwrote it."""
    book, raw = tmp_path / "set-aside.xlsx", tmp_path / "raw"
    raw.mkdir()
    assert write_mend_book(book, raw, b"first") == book
    assert write_mend_book(book, raw, b"second") == book
    book.write_bytes(b"second, half mended")

    beside = write_mend_book(book, raw, b"third")

    assert beside == tmp_path / "set-aside-2.xlsx"
    assert book.read_bytes() == b"second, half mended"
    assert books_in_hand(book, raw) == [book]
    keep(raw, "set_aside/fills", book.name, book.read_bytes())  # as loading it does
    assert write_mend_book(book, raw, b"fourth") == book
    assert not beside.exists()
    assert books_in_hand(book, raw) == []


def test_what_a_load_that_was_cut_off_left_of_the_workbook_goes(tmp_path: Path) -> None:
    """It lay in the home for good; what a mechanic named so stays."""
    raw, book = tmp_path / "raw", tmp_path / "set-aside.xlsx"
    raw.mkdir()
    left = ["set-aside.xlsx.812.partial", "set-aside-2.xlsx.7.partial", "set-aside.csv.812.partial",
            "set-aside.sha256.812.partial"]  # fmt: skip
    own = ["set-aside copy.xlsx.812.partial", "set-aside.xlsx.partial", "set-aside-old.xlsx",
           "fills.csv.812.partial", "set-aside.xlsx.812.partial.bak"]  # fmt: skip
    for name in [*left, *own]:
        (tmp_path / name).write_bytes(b"half")

    write_mend_book(book, raw, b"first")

    there = {path.name for path in tmp_path.iterdir()}
    assert not there & set(left)
    assert there >= set(own)


def test_a_file_that_grows_while_it_is_looked_at_is_told(tmp_path: Path) -> None:
    """A file cut in its last number loaded 9 instead of 911.4, for good."""
    growing, resting, old = (tmp_path / f"fills {name}.csv" for name in "abc")
    for path in (growing, resting, old):
        path.write_text("hull_id\n")
    os.utime(old, (0, 0))
    waits: list[float] = []

    def wait(seconds: float) -> None:
        waits.append(seconds)
        with growing.open("a") as file:
            file.write("A1\n")

    files = [growing, resting, old]
    assert still_growing(files, wait, growing.stat().st_mtime) == [growing]
    assert len(waits) > 1
    assert still_growing([resting, old], wait, 1e12) == []


def told(home: Path, *arguments: str) -> Result:
    run = CliRunner().invoke(main, ["--home", str(home), *arguments])
    assert run.exception is None or isinstance(run.exception, SystemExit), run.exception
    assert "Traceback" not in run.output
    return run


@pytest.mark.parametrize("day", ["1999-12-31", "9999-12-31", "2026-08-24", "0001-01-01"])
def test_a_day_out_of_range_is_told_before_anything_is_done(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, day: str
) -> None:
    monkeypatch.setattr(command_line, "_now", lambda: datetime(2026, 8, 19, tzinfo=UTC))

    run = told(tmp_path / "home", "week", "--as-of", day)

    assert run.exit_code == 2
    assert f"--as-of {day} is out of range: from 2000-01-03 to" in run.output
    assert not (tmp_path / "home" / "weeks").exists()


@pytest.mark.parametrize(
    "command", [("open",), ("bundle", "week.zip"), ("hull-sheet", "--all"), ("proof", "E1")]
)
def test_a_week_far_ahead_is_refused_by_what_reads_one_as_by_what_works_one_out(
    tmp_path: Path, command: tuple[str, ...]
) -> None:
    """They advised 'ringland week --as-of 9999-12-27', which refuses it."""
    run = told(tmp_path / "home", *command, "--as-of", "9999-12-31")

    assert run.exit_code == 2
    assert "--as-of 9999-12-31 is out of range: from 2000-01-03 to" in run.output
    assert "ringland week" not in run.output


def test_a_full_disk_is_told_before_a_load_begins(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "docks.csv").write_bytes(DOCKS)
    monkeypatch.setattr("shutil.disk_usage", lambda _: Disk(10, 9, 1))

    run = told(tmp_path / "home", "load", str(tmp_path / "docks.csv"))

    assert run.exit_code == 1
    assert "Make room and try again; nothing was changed." in run.output
    assert not (tmp_path / "home").exists()


def test_a_home_nobody_may_write_in_is_not_called_damaged(
    shop: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    take(shop, tmp_path / "records", docks__csv=DOCKS)
    monkeypatch.setattr("os.access", lambda _, mode, **__: not mode & os.W_OK)
    monkeypatch.setattr("duckdb.connect", barred)

    with pytest.raises(WarehouseError, match="you may not read and write the file"):
        warehouse_at(shop.database).read("select 1")
    run = told(shop.folder, "week")
    assert "You may not write in" in run.output


def test_every_file_that_is_not_read_is_named_with_why_and_holds_up_no_other(
    tmp_path: Path,
) -> None:
    """Found in use: photos, PDFs and logs were passed over without a word, and one bad file hid
    the account of the others."""
    said = " ".join(
        load(
            tmp_path,
            docks__csv=b"dock_id,time_zone\nnorth,America/Chicago\n",
            slip__jpg=b"\xff\xd8",
            statement__pdf=b"%PDF",
            pump__log=b"x",
            fills__jsonl=b"{}",
            hulls__xlsx=b"PK\x03\x04 torn",
        ).split()
    )

    for name in ("slip.jpg: a picture", "statement.pdf: a PDF", "pump.log: a file of the form"):
        assert name in said
    assert "fills.jsonl: a file of the form '.jsonl'" in said
    assert "Error: hulls.xlsx: The workbook cannot be opened" in said
    assert "docks.csv │ 1 │ 1" in said
