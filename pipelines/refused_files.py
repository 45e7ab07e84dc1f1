"""Record files that cannot be read: each is named, and the others go on."""

import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import duckdb
import polars as pl

from pipelines.raw_store import file_digest
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.written.raw_file import RecordFileError
from ringland.intake.written.raw_text import PARQUET_MARK

T = TypeVar("T")
_ZIPPED = {".xlsx", ".xlsm", ".xlsb", ".ods"}
MOST_UNFOLDED_BYTES = 300_000_000
"""A workbook that unfolds to more takes over a gigabyte of memory to read."""
MOST_CELLS = 200_000_000
"""A Parquet file of a few kilobytes can hold billions; ten million rides have 70 million."""
MOST_BYTES = 4_000_000_000
"""Of a file of any kind."""


def refuse_too_large(path: Path) -> None:
    """Look at a file's size and own directory before any of it is read.

    Raises:
        RecordFileError: it unfolds to more than this machine should be asked to hold.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise _too_large(path, f"The file has {size / 1e9:,.1f} GB", f"{MOST_BYTES / 1e9:,.0f} GB")
    with path.open("rb") as file:
        begins = file.read(len(PARQUET_MARK))
    if begins == PARQUET_MARK:
        cells = _parquet_cells(path)
        if cells > MOST_CELLS:
            holds = f"The Parquet file holds {cells / 1e6:,.0f} million cells"
            raise _too_large(path, holds, f"{MOST_CELLS / 1e6:,.0f} million")
    elif path.suffix.lower() in _ZIPPED:
        unfolds = _unfolded_bytes(path)
        if unfolds > MOST_UNFOLDED_BYTES:
            holds = f"The workbook unfolds to {unfolds / 1e6:,.0f} MB"
            raise _too_large(path, holds, f"{MOST_UNFOLDED_BYTES / 1e6:,.0f} MB")


def _too_large(path: Path, holds: str, most: str) -> RecordFileError:
    return RecordFileError(
        path.name,
        f"{holds}; at most {most} are read.",
        "Part it into several files, a year in each, or save a workbook's sheet as CSV.",
    )


def _parquet_cells(path: Path) -> int:
    """Rows times columns, as the file's last bytes tell; 0 where they cannot be read."""
    try:
        lazy = pl.scan_parquet(path)
        rows: int = lazy.select(pl.len()).collect().item()
        return rows * len(lazy.collect_schema())
    except (pl.exceptions.PolarsError, OSError):
        return 0  # whoever reads it says what is wrong with it


def _unfolded_bytes(path: Path) -> int:
    try:
        with zipfile.ZipFile(path) as book:
            return sum(part.file_size for part in book.infolist())
    except (zipfile.BadZipFile, OSError):
        return 0


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
