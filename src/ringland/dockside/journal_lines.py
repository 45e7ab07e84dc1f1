"""A line of the journal: one entry with who, when and from where, and a digest of itself."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.entries import Entry, StampedEntry, cells_of
from ringland.history.known_then import known_at
from ringland.intake.intake import SOURCE_FILE

_DIGITS = 16
STAMPS = ("entry_id", "written_by", "written_on", "written_at")
"""Columns beside the contract's in a file made of entries: they stay with its raw copy."""
_NAMED = "_dockside_"
"""In the name of each file made of entries."""


def journal_line(stamped: StampedEntry) -> bytes:
    """The line, with its end."""
    entry = stamped.entry
    told = {
        "id": entry.id,
        "kind": entry.kind,
        "cells": dict(entry.cells),
        "written_at": entry.written_at.isoformat(),
        "by": stamped.by,
        "device": stamped.device,
        "received_at": stamped.received_at.isoformat(),
    }
    text = json.dumps({**told, "digest": _digest(told)}, ensure_ascii=False)
    return text.encode() + b"\n"


def read_line(line: bytes) -> StampedEntry | None:
    """The entry in a line; None: the line is cut off or was changed."""
    try:
        told = json.loads(line)
        digest = told.pop("digest")
        if digest != _digest(told):
            return None
        entry = Entry(
            told["id"], told["kind"], told["cells"], datetime.fromisoformat(told["written_at"])
        )
        received_at = datetime.fromisoformat(told["received_at"])
        return StampedEntry(entry, told["by"], told["device"], received_at)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


def known_or_entered(
    records: Mapping[str, pl.DataFrame], as_of: datetime
) -> dict[str, pl.DataFrame]:
    """The rows that were known at an instant, and those entered at the dock whenever that was.

    Args:
        records: loaded rows by record kind, with the file each came by.
        as_of: an instant with time zone.
    """
    entered = pl.col(SOURCE_FILE).str.contains(_NAMED, literal=True)
    return {
        kind: rows.filter(entered | (known_at(ALL_KINDS[kind]) <= as_of).fill_null(value=True))
        for kind, rows in records.items()
    }


def _digest(told: Mapping[str, Any]) -> str:
    text = json.dumps(told, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:_DIGITS]


def files_of(entries: Sequence[StampedEntry], number: int) -> dict[str, str]:
    """Entries as CSV files by name, one a kind, kinds in the order in which they are loaded.

    The same entries and number give the same files.
    """
    files = {}
    for name, kind in ALL_KINDS.items():
        mine = [one for one in entries if one.entry.kind == name]
        if not mine:
            continue
        text = io.StringIO(newline="")
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow([*kind.schema.column_names(), *STAMPS])
        for one in mine:
            stamps = (one.entry.id, one.by, one.device, one.entry.written_at.isoformat())
            writer.writerow([*cells_of(kind, one), *stamps])
        files[f"{name}{_NAMED}{number:06d}.csv"] = text.getvalue()
    return files
