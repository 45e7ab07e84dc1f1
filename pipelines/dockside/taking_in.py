"""The journal into the warehouse, through the loader that every file goes through.

A batch is the lines between two places of the journal.  Its bounds are on the disk before it is
loaded, so that a batch that was cut off is loaded again as the very same files; lines already
on record change nothing, however often they come.
"""

import json
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

import duckdb
from filelock import FileLock

from pipelines.dockside.journal import damaged_lines, end_of_lines, read_journal
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import JOURNAL, Home
from pipelines.mended_loading import load_corrections_file
from pipelines.raw_store import clear_partials
from pipelines.record_loading import load_file
from pipelines.record_writing import FileCount
from pipelines.taken_list import mend_list
from pipelines.whole_files import write_whole
from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.journal_lines import files_of
from ringland.intake.contract_file import kind_named

TAKEN = "taken-in.json"
_LOCK = "taking-in.lock"
MOST_BYTES = 8_000_000
"""Of a batch: some twenty thousand entries."""


@dataclass(frozen=True)
class _Place:
    """How far the journal is taken in: batch `number` holds the lines from `begin` to `end`."""

    number: int = 0
    begin: int = 0
    end: int = 0
    is_done: bool = True


@dataclass(frozen=True)
class TakenBatch:
    """What one batch brought: its files' counts, and the entries it held."""

    counts: tuple[FileCount, ...]
    entries: int
    end: int
    """how far the journal is taken in now"""


def is_waiting(home: Home) -> bool:
    """Whether the journal holds lines that are not taken in."""
    journal = home.dockside / JOURNAL
    if not journal.exists():
        return False
    place = _place(home)
    return not place.is_done or end_of_lines(journal) > place.end


def taken_to(home: Home) -> int:
    """How far the journal is taken in, in bytes."""
    place = _place(home)
    return place.end if place.is_done else place.begin


def take_journal_in(home: Home) -> list[TakenBatch]:
    """Load what the journal holds since it was last taken in, batch by batch.

    Raises:
        WarehouseError: another command is at work on the warehouse for longer than a load takes,
            or the warehouse cannot be used; the batch is loaded by the next call.
    """
    batches: list[TakenBatch] = []
    if not is_waiting(home):
        return batches
    with FileLock(home.dockside / _LOCK):
        for left in home.dockside.glob(f"{TAKEN}.*.partial"):
            left.unlink(missing_ok=True)  # of a take-in that was cut off
        while is_waiting(home):
            place = _place(home)
            if place.is_done:
                place = _next(home, place)
                _write(home, place)
            entries = list(read_journal(home.dockside / JOURNAL, place.begin, place.end))
            counts = _load(home, files_of(entries, place.number))
            _write(home, _Place(place.number, place.begin, place.end))
            batches.append(TakenBatch(tuple(counts), len(entries), place.end))
    return batches


def journal_faults(home: Home) -> list[str]:
    """What is wrong with the journal, each with the step that mends it."""
    journal = home.dockside / JOURNAL
    if not journal.exists():
        return []
    found = [
        f"line {number} of {journal} was changed or is damaged: take the file from a backup "
        f"(ringland restore BACKUP --mend), or write that entry again"
        for number in damaged_lines(journal)
    ]
    if is_waiting(home):
        found.append(f"{journal} holds entries not taken in yet: run 'ringland load'")
    return found


def _next(home: Home, place: _Place) -> _Place:
    journal = home.dockside / JOURNAL
    with journal.open("rb+") as file:
        os.fsync(file.fileno())  # a line read here stays, whatever becomes of its server
        file.seek(place.end)
        part = file.read(MOST_BYTES)
    end = place.end + part.rfind(b"\n") + 1
    return _Place(place.number + 1, place.end, end, is_done=False)


def _load(home: Home, files: dict[str, str]) -> list[FileCount]:
    if not files:
        return []
    counts = []
    with (
        tempfile.TemporaryDirectory(prefix="ringland-") as folder,
        warehouse_at(home.database).connect() as con,
    ):
        clear_partials(home.raw)
        mend_list(home.raw)
        for name, text in files.items():
            path = Path(folder) / name
            path.write_text(text, encoding="utf-8", newline="")
            counts.append(_load_file(con, home, path))
    return counts


def _load_file(con: duckdb.DuckDBPyConnection, home: Home, path: Path) -> FileCount:
    kind = kind_named(path.stem)
    if kind is None:
        return load_corrections_file(con, home.raw, path.name, path.read_bytes())
    return load_file(con, home.raw, ALL_KINDS[kind], path, None)


def _place(home: Home) -> _Place:
    path = home.dockside / TAKEN
    return _Place(**json.loads(path.read_text(encoding="utf-8"))) if path.exists() else _Place()


def _write(home: Home, place: _Place) -> None:
    write_whole(home.dockside / TAKEN, json.dumps(vars(place)).encode())
