"""Record files that cannot be read: each is named, and the others go on."""

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import duckdb
import polars as pl

from pipelines.raw_store import file_digest
from ringland.intake.mapping_entries import MappingError
from ringland.intake.raw_file import RecordFileError

T = TypeVar("T")
_ZIPPED = {".xlsx", ".xlsm", ".xlsb", ".ods"}
MOST_UNFOLDED_BYTES = 300_000_000
"""A workbook that unfolds to more takes over a gigabyte of memory to read."""


def refuse_too_large(path: Path) -> None:
    """Look at a workbook's own directory before any of it is unfolded.

    Raises:
        RecordFileError: it unfolds to more than this machine should be asked to hold.
    """
    if path.suffix.lower() not in _ZIPPED:
        return
    try:
        with zipfile.ZipFile(path) as book:
            size = sum(part.file_size for part in book.infolist())
    except (zipfile.BadZipFile, OSError):
        return  # whoever reads it says what is wrong with it
    if size > MOST_UNFOLDED_BYTES:
        raise RecordFileError(
            path.name,
            f"The workbook unfolds to {size / 1e6:,.0f} MB; at most "
            f"{MOST_UNFOLDED_BYTES / 1e6:,.0f} MB are read.",
            "Save its sheet as CSV, or part it into several workbooks.",
        )


def or_refused(
    con: duckdb.DuckDBPyConnection, kind: str, path: Path, load: Callable[[], T]
) -> T | str:
    """What loading one file gives; or, noted in the warehouse, why nothing of it could be loaded.

    Raises:
        OSError: the file cannot be opened at all.
    """
    try:
        loaded = load()
    except (RecordFileError, MappingError) as error:
        note_refused(con, kind, path.name, file_digest(path), error)
        return str(error)
    _forget(con, kind, path.name)
    return loaded


def note_refused(
    con: duckdb.DuckDBPyConnection,
    kind: str,
    file_name: str,
    sha256: str,
    error: RecordFileError | MappingError,
) -> None:
    """Note a file of which nothing could be loaded."""
    fault = str(error).removesuffix(f" {error.remedy}")
    _forget(con, kind, file_name)
    con.execute(
        "insert into shop_records.refused values (?, ?, ?, ?, ?)",
        [kind, file_name, sha256, fault, error.remedy],
    )


def refused_files(con: duckdb.DuckDBPyConnection) -> pl.DataFrame:
    """The files of which nothing could be loaded: kind, file_name, fault, remedy."""
    return pl.DataFrame(
        con.sql("select kind, file_name, fault, remedy from shop_records.refused order by all")
    )


def _forget(con: duckdb.DuckDBPyConnection, kind: str, file_name: str) -> None:
    con.execute(
        "delete from shop_records.refused where kind = ? and file_name = ?", [kind, file_name]
    )
