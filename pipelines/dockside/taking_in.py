"""The journal into the warehouse, through the loader that every file goes through.

A batch is the lines between two places of the journal.  Its bounds are on the disk before it is
loaded, so that a batch that was cut off is loaded again as the very same files; lines already
on record change nothing, however often they come.
"""

import hashlib
import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb
from filelock import FileLock

from pipelines.dockside.journal import (
    damaged_lines,
    end_of_lines,
    lost_of_journal,
    read_journal,
)
from pipelines.duckdb_warehouse import DuckDBWarehouse, copy_database, warehouse_at
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
_TAIL_BYTES = 4096
MOST_BYTES = 8_000_000
"""Of a batch: some twenty thousand entries."""


@dataclass(frozen=True)
class _Place:
    """How far the journal is taken in: batch `number` holds the lines from `begin` to `end`.

    `tail` is the hash of what stood before `end`, by which the journal is known again: one that
    was lost and begun anew, or taken from a backup, is taken in from its beginning.
    """

    number: int = 0
    begin: int = 0
    end: int = 0
    is_done: bool = True
    tail: str = ""


Stamp = tuple[int, int] | None
"""By which a warehouse file is known again; None: there is none."""


@dataclass(frozen=True)
class TakenBatch:
    """What one batch brought: its files' counts, and the entries it held."""

    counts: tuple[FileCount, ...]
    entries: int
    end: int
    """how far the journal is taken in now"""
    found: Stamp
    left: Stamp
    """the warehouse as it was opened for the batch, and after it"""


def stamp_of(home: Home) -> Stamp:
    """The stamp of a home's warehouse now."""
    if not home.database.exists():
        return None
    there = home.database.stat()
    return there.st_mtime_ns, there.st_size


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
            counts, found = _load(home, files_of(entries, place.number))
            _write(home, replace(place, is_done=True))
            stamps = found, stamp_of(home)
            batches.append(TakenBatch(tuple(counts), len(entries), place.end, *stamps))
    return batches


@contextmanager
def with_journal_counted(home: Home) -> Iterator[tuple[DuckDBWarehouse, int]]:
    """The warehouse with the journal counted, and how many entries are not taken in yet.

    They are loaded into a copy that goes again: nothing is written in the home.
    """
    if not is_waiting(home):
        yield warehouse_at(home.database), 0
        return
    journal, place = home.dockside / JOURNAL, _place(home)
    entries = list(read_journal(journal, taken_to(home), end_of_lines(journal)))
    with tempfile.TemporaryDirectory(prefix="ringland-", ignore_cleanup_errors=True) as folder:
        copy = Home(Path(folder))
        copy.raw.mkdir()
        with warehouse_at(home.database).reading():  # no load comes in between
            copy_database(home.database, copy.database)
        _load(copy, files_of(entries, place.number + 1))
        yield warehouse_at(copy.database), len(entries)


def journal_faults(home: Home) -> list[str]:
    """What is wrong with the journal, each with the step that mends it."""
    journal = home.dockside / JOURNAL
    if lost := lost_of_journal(home.dockside):
        return [
            f"{home.dockside / name} has lost or changed lines that its other file has: run "
            f"'ringland load' while no dockside server is at work, which puts them back"
            for name in lost
        ]
    found = _damaged(journal) if journal.exists() else []
    if _is_known(home, _said(home)):
        waits = [f"{journal} holds entries not taken in yet: run 'ringland load'"]
        return [*found, *waits] if is_waiting(home) else found
    return found or [
        f"{journal} is not as it was taken in: entries of it that were, are on record; for those "
        f"that were not, take it from a backup (ringland restore BACKUP --mend), then run "
        f"'ringland load', which takes in what is there"
    ]


def _damaged(journal: Path) -> list[str]:
    return [
        f"line {number} of {journal} was changed or is damaged: take the file from a backup "
        f"(ringland restore BACKUP --mend), or write that entry again"
        for number in damaged_lines(journal)
    ]


def _next(home: Home, place: _Place) -> _Place:
    journal = home.dockside / JOURNAL
    with journal.open("rb+") as file:
        os.fsync(file.fileno())  # a line read here stays, whatever becomes of its server
        file.seek(place.end)
        part = file.read(MOST_BYTES)
    end = place.end + part.rfind(b"\n") + 1
    tail = _tail(journal, end)
    return _Place(place.number + 1, place.end, end, is_done=False, tail=tail)


def _load(home: Home, files: dict[str, str]) -> tuple[list[FileCount], Stamp]:
    if not files:
        return [], stamp_of(home)
    counts = []
    with (
        tempfile.TemporaryDirectory(prefix="ringland-") as folder,
        warehouse_at(home.database).connect() as con,
    ):
        found = stamp_of(home)  # nobody else writes while it is open
        clear_partials(home.raw)
        mend_list(home.raw)
        for name, text in files.items():
            path = Path(folder) / name
            path.write_text(text, encoding="utf-8", newline="")
            counts.append(_load_file(con, home, path))
    return counts, found


def _load_file(con: duckdb.DuckDBPyConnection, home: Home, path: Path) -> FileCount:
    kind = kind_named(path.stem)
    if kind is None:
        return load_corrections_file(con, home.raw, path.name, path.read_bytes())
    return load_file(con, home.raw, ALL_KINDS[kind], path, None)


def _place(home: Home) -> _Place:
    said = _said(home)
    return said if _is_known(home, said) else _Place(said.number)


def _said(home: Home) -> _Place:
    try:
        return _Place(**json.loads((home.dockside / TAKEN).read_bytes()))
    except (FileNotFoundError, ValueError, TypeError):  # lines on record already change nothing
        return _Place()


def _is_known(home: Home, place: _Place) -> bool:
    """Whether the journal is still the one that was taken in as far as this."""
    journal = home.dockside / JOURNAL
    if place.end > (journal.stat().st_size if journal.exists() else 0):
        return False
    return not place.tail or _tail(journal, place.end) == place.tail


def _tail(journal: Path, end: int) -> str:
    with journal.open("rb") as file:
        begin = max(0, end - _TAIL_BYTES)
        file.seek(begin)
        return hashlib.sha256(file.read(end - begin)).hexdigest()


def _write(home: Home, place: _Place) -> None:
    write_whole(home.dockside / TAKEN, json.dumps(vars(place)).encode())
