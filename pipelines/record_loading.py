"""Record files into the warehouse: each row loaded once, or set aside with its reasons.

A file's kind is told by how its name begins ('fills.csv', 'fills 2026-08.xlsx').  Its bytes
are copied to `raw/` under their hash before anything is read from them, and its rows, its
set-aside rows and its line in `shop_records.files` are written in one transaction.  Bytes
taken in before are passed over, unless rows of theirs were set aside: those are tried
again, since what they name may be on record by now.
"""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import (
    DuckDBWarehouse,
    ensure_table,
    insert,
    record_rows,
    transaction,
)
from ringland.shop_records.contracts import RECORD_KINDS, RecordKind
from ringland.shop_records.intake import now_ended, split_new, take_in
from ringland.shop_records.raw_text import read_raw
from ringland.shop_records.tables import SetAside

ENDINGS = {".csv", ".tsv", ".txt", ".xlsx", ".parquet"}
SET_ASIDE = "shop_records.set_aside"
_CONTENT = {"content_sha256": "varchar not null"}


@dataclass(frozen=True)
class FileCount:
    """What became of one file's rows in this load."""

    kind: str
    file_name: str
    rows_in: int
    rows_new: int
    rows_already_there: int
    rows_set_aside: int
    notes: str


def kind_of(file_name: str) -> str | None:
    """The record kind a file name begins with; None if it begins with none."""
    stem = re.sub(r"[\s\-]+", "_", Path(file_name).stem.lower())
    return next(
        (kind for kind in RECORD_KINDS if stem == kind or stem.startswith(f"{kind}_")), None
    )


def record_files(folder: Path, kind: str | None) -> Iterator[Path]:
    """The folder's files of one kind by name; `kind` None: those of no kind."""
    for path in sorted(folder.iterdir()):
        if path.is_file() and path.suffix.lower() in ENDINGS and kind_of(path.name) == kind:
            yield path


def load_kind(
    warehouse: DuckDBWarehouse, raw_folder: Path, kind: str, folder: Path
) -> list[FileCount]:
    """Load every file of one kind from a folder.

    Raises:
        RecordFileError: a file cannot be read as this kind at all; nothing of it is loaded.
    """
    with warehouse.connect() as con:
        ensure_table(con, SET_ASIDE, SetAside, _CONTENT)
        return [
            _load_file(con, raw_folder, RECORD_KINDS[kind], path)
            for path in record_files(folder, kind)
        ]


def _load_file(
    con: duckdb.DuckDBPyConnection, raw_folder: Path, kind: RecordKind, path: Path
) -> FileCount:
    content = path.read_bytes()
    digest = hashlib.sha256(content).hexdigest()
    there = record_rows(con, kind.name)
    earlier = con.execute(
        "select rows_in, rows_new, rows_set_aside from shop_records.files "
        "where kind = ? and content_sha256 = ?",
        [kind.name, digest],
    ).fetchall()
    if earlier and earlier[0][2] == 0:
        rows = earlier[0][0]
        return FileCount(kind.name, path.name, rows, 0, rows, 0, "unchanged")
    _keep_raw(raw_folder, digest, path.suffix.lower(), content)
    intake = take_in(kind, read_raw(path.name, content), _known_ids(con, kind))
    new, already_there, conflicts = split_new(kind, intake.loaded, there)
    ended = now_ended(kind, intake.loaded, there)
    set_aside = pl.concat([intake.set_aside, conflicts]).with_columns(content_sha256=pl.lit(digest))
    count = FileCount(
        kind.name,
        path.name,
        intake.rows_in,
        new.height,
        already_there.height,
        set_aside["source_row"].n_unique(),
        " ".join(intake.notes),
    )
    with transaction(con):
        _replace(con, kind, ended)
        insert(con, f"shop_records.{kind.name}", new)
        con.execute(f"delete from {SET_ASIDE} where content_sha256 = ?", [digest])
        insert(con, SET_ASIDE, set_aside)
        _write_count(con, count, digest, new_before=earlier[0][1] if earlier else 0)
    return count


def _write_count(
    con: duckdb.DuckDBPyConnection, count: FileCount, digest: str, new_before: int
) -> None:
    con.execute(
        "delete from shop_records.files where kind = ? and content_sha256 = ?",
        [count.kind, digest],
    )
    con.execute(
        "insert into shop_records.files values (?, ?, ?, ?, ?, ?, ?, ?)",
        [
            count.kind,
            count.file_name,
            digest,
            count.rows_in,
            count.rows_new + new_before,
            count.rows_already_there - new_before,
            count.rows_set_aside,
            count.notes,
        ],
    )


def _replace(con: duckdb.DuckDBPyConnection, kind: RecordKind, rows: pl.DataFrame) -> None:
    """Put rows in the place of those of the same key."""
    if rows.is_empty():
        return
    table = f"shop_records.{kind.name}"
    con.register("ended", rows.to_arrow())
    same_key = " and ".join(
        f"{table}.{name} is not distinct from ended.{name}" for name in kind.key
    )
    con.execute(f"delete from {table} using ended where {same_key}")
    con.unregister("ended")
    insert(con, table, rows)


def _keep_raw(raw_folder: Path, digest: str, suffix: str, content: bytes) -> None:
    kept = raw_folder / f"{digest}{suffix}"
    if not kept.exists():
        partial = kept.with_suffix(".partial")
        partial.write_bytes(content)
        partial.replace(kept)


def _known_ids(con: duckdb.DuckDBPyConnection, kind: RecordKind) -> dict[str, set[str]]:
    known = {}
    for referred in set(kind.refers_to.values()):
        key = RECORD_KINDS[referred].key[0]
        known[referred] = set(record_rows(con, referred)[key].to_list())
    return known
