"""An entry made on a phone: a record of one kind, as text, with when it was written down.

It is held against the same contract as a row of a file and answered in the same words; what
passes here passes when the journal is taken in.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RecordKind
from ringland.dockside.ground import Ground
from ringland.history.corrections import correction_faults, with_corrections
from ringland.intake.intake import Intake, take_in
from ringland.intake.rows_on_record import split_new
from ringland.intake.written.raw_file import RawFile, all_text, without_blank_rows
from ringland.intake.written.raw_text import SOURCE_ROW
from ringland.intake.written.text_cast import cast_text

MOST_ENTRIES = 200
"""In one request."""
LONGEST_CELL = 2_000
TRY_AGAIN = "Load the page again and send it once more."
RECORDED = "recorded_at"
"""The one column nobody types: the server sets it to when it received the entry."""
ENTRY_FILE = "what was entered just now"
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f\ud800-\udfff]")


@dataclass(frozen=True)
class EntryFault:
    """What is wrong with an entry: the column, or several parted by ', '; fault and remedy."""

    field: str
    message: str


@dataclass(frozen=True)
class Entry:
    """What a phone sent.

    `id` is a UUID the phone made; `cells` hold a column's text as in a CSV of that kind;
    `written_at` is when it was written down, by the phone's clock.
    """

    id: str
    kind: str
    cells: Mapping[str, str]
    written_at: datetime


@dataclass(frozen=True)
class StampedEntry:
    """An entry with who made it, on what device, and when the server received it."""

    entry: Entry
    by: str
    device: str
    received_at: datetime


def read_entry(told: object) -> Entry | list[EntryFault]:
    """An entry from JSON, or what keeps it from being one."""
    if not isinstance(told, dict):
        return [EntryFault("", f"An entry is an object with id, kind and cells. {TRY_AGAIN}")]
    found = []
    try:
        name = str(UUID(_text(told, "id")))
    except ValueError:
        found.append(EntryFault("id", f"id is not a UUID. {TRY_AGAIN}"))
    kind = ALL_KINDS.get(_text(told, "kind"))
    if kind is None:
        found.append(EntryFault("kind", f"There is no such kind. One of: {', '.join(ALL_KINDS)}."))
    written_at = _instant(_text(told, "written_at"))
    if written_at is None:
        asked = "written_at is no instant with an offset."
        found.append(EntryFault("written_at", f"{asked} Set the phone's clock and write it again."))
    cells = told.get("cells")
    if kind is not None:
        found += _cell_faults(kind, cells)
    if found or kind is None or written_at is None:
        return found
    filled = {column: cell for column, cell in dict(cells or {}).items() if cell.strip()}
    return Entry(name, kind.name, filled, written_at)


def _text(told: Mapping[Any, Any], name: str) -> str:
    value = told.get(name)
    return value if isinstance(value, str) and len(value) <= LONGEST_CELL else ""


def _instant(text: str) -> datetime | None:
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if read.tzinfo is None else read


def _cell_faults(kind: RecordKind, cells: object) -> list[EntryFault]:
    if not isinstance(cells, dict) or not cells:
        return [EntryFault("cells", "Nothing is written down. Fill in the form.")]
    found = []
    columns = [name for name in kind.schema.column_names() if name != RECORDED]
    for name, cell in cells.items():
        if name not in columns:
            wrong = f"{kind.name} have no column '{str(name)[:60]}' to write."
            found.append(EntryFault(str(name)[:60], f"{wrong} One of: {', '.join(columns)}."))
        elif not isinstance(cell, str):
            found.append(EntryFault(name, f"{name} is not text. {TRY_AGAIN}"))
        elif len(cell) > LONGEST_CELL:
            found.append(EntryFault(name, f"{name} may have at most {LONGEST_CELL} letters."))
        elif _CONTROL.search(cell):
            found.append(EntryFault(name, f"{name} holds signs nobody can type. Write it again."))
    return found


@dataclass(frozen=True)
class Checked:
    """Entries of one kind held against the record: each one's faults, and the typed rows."""

    faults: list[list[EntryFault]]
    loaded: pl.DataFrame
    """`Intake.loaded` of those without a fault; `source_row` is their place, from 1"""


def check_entries(entries: Sequence[StampedEntry], ground: Ground) -> Checked:
    """What is wrong with entries of one kind, as the intake of a file would say it.

    Args:
        entries: of one kind, no two of them with the same key.
        ground: what is on record.
    """
    kind = ALL_KINDS[entries[0].entry.kind]
    raw = entries_as_file(kind, ENTRY_FILE, entries)
    unreadable = _corrections_that_fail(raw, ground) if kind is CORRECTIONS else None
    intake = take_in(kind, raw, ground.known(kind), unreadable, ground.clocks)
    found: list[list[EntryFault]] = [[] for _ in entries]
    contradicting = _contradicting(kind, intake, ground)
    for part in (intake.set_aside, intake.lost_cells, contradicting):
        columns = part.select(SOURCE_ROW, "field", "fault", "remedy")
        for row, field, fault, remedy in columns.iter_rows():
            words = fault.removesuffix(" The record is loaded without it.")
            what = remedy.removeprefix("Correct that cell in a file 'corrections'. ")
            found[row - 1].append(EntryFault(field or "", f"{words} {what}".strip()))
    good = [place for place, faults in enumerate(found, start=1) if not faults]
    return Checked(found, intake.loaded.filter(pl.col(SOURCE_ROW).is_in(good)))


def key_of(entry: Entry) -> tuple[str, ...]:
    """What tells an entry's record from others of its kind, as far as its text can say."""
    key = []
    for name in ALL_KINDS[entry.kind].key:
        cell = entry.cells.get(name, "").strip()
        read = _instant(cell)
        key.append(cell if read is None else read.astimezone(UTC).isoformat())
    return tuple(key)


def entries_as_file(kind: RecordKind, file_name: str, entries: Sequence[StampedEntry]) -> RawFile:
    """Entries as a file of their kind, one a row; row 1 is the first entry."""
    names = kind.schema.column_names()
    rows = [[*cells_of(kind, one), str(place)] for place, one in enumerate(entries, start=1)]
    return without_blank_rows(file_name, all_text(names, rows), names, has_spaces=True)


def cells_of(kind: RecordKind, stamped: StampedEntry) -> list[str]:
    """The cells of an entry in the order of the contract's columns; it is known since received."""
    told = {**stamped.entry.cells, RECORDED: stamped.received_at.isoformat()}
    return [told.get(name, "") for name in kind.schema.column_names()]


def _corrections_that_fail(raw: RawFile, ground: Ground) -> pl.DataFrame:
    typed, _ = cast_text(CORRECTIONS.schema, raw.frame)
    return correction_faults(typed, ground.entered)


def _contradicting(kind: RecordKind, intake: Intake, ground: Ground) -> pl.DataFrame:
    """A `SetAside` of the rows that say otherwise than the record, as it is corrected."""
    there = ground.met(kind, intake.loaded)
    _, _, conflicts = split_new(kind, intake.loaded, there)
    if conflicts.is_empty() or kind is CORRECTIONS:
        return conflicts
    corrected = with_corrections({kind.name: there}, ground.records[CORRECTIONS.name])[kind.name]
    return split_new(kind, intake.loaded, corrected)[2]
