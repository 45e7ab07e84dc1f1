"""Set-aside rows that come back mended, and files of corrections, into the warehouse."""

from pathlib import Path

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import SET_ASIDE, DuckDBWarehouse, ensure_record_tables, record_rows
from pipelines.raw_store import digest_of, keep
from pipelines.record_loading import known_ids, refusal
from pipelines.record_writing import Digests, FileCount, write_intakes
from pipelines.refused_files import or_refused, refuse_too_large
from pipelines.source_files import correction_files, mended_files
from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RECORD_KINDS, RecordKind
from ringland.history.corrections import correction_faults, with_corrections
from ringland.intake.intake import take_in
from ringland.intake.mend_book import MendedSheet, read_mended
from ringland.intake.written.raw_text import RawFile, read_raw
from ringland.intake.written.text_cast import cast_text

MENDED_KIND = "set_aside/"
"""In the list of what was taken in, a sheet of a mended workbook is of this kind and its own."""


def load_mended(
    warehouse: DuckDBWarehouse, raw_folder: Path, kind: str, folder: Path
) -> list[FileCount]:
    """Load what the folder's workbooks of set-aside rows hold of one kind.

    A row that was changed leaves the set-aside table, whether it loads now or is set aside
    anew under the workbook's name; one marked 'leave out' leaves it for good.  A workbook that
    cannot be read is noted as refused with its reason.
    """
    counts: list[FileCount | None] = []
    books = mended_files(folder)
    if not books:
        return []
    with warehouse.connect() as con:
        for path in books:

            def load(path: Path = path) -> FileCount | None:
                refuse_too_large(path)
                return load_mended_book(con, raw_folder, kind, path.name, path.read_bytes())

            done = or_refused(con, MENDED_KIND + kind, path, load)
            counts.append(refusal(kind, path.name, done) if isinstance(done, str) else done)
    return [count for count in counts if count is not None]


def load_mended_book(
    con: duckdb.DuckDBPyConnection,
    raw_folder: Path | None,
    kind: str,
    file_name: str,
    content: bytes,
) -> FileCount | None:
    """Load what one workbook holds of one kind; None: no row of it was touched.

    `raw_folder` None: it is on the list of the raw store already.
    """
    ensure_record_tables(con)
    there = pl.DataFrame(con.sql(f"select * exclude (content_sha256) from {SET_ASIDE}"))
    sheet = read_mended(file_name, content, there).get(kind)
    if sheet is None or not (sheet.replaced or sheet.left_out):
        return None
    if raw_folder is not None:
        keep(raw_folder, MENDED_KIND + kind, file_name, content)
    return _load_sheet(con, ALL_KINDS[kind], file_name, content, sheet)


def _load_sheet(
    con: duckdb.DuckDBPyConnection,
    kind: RecordKind,
    file_name: str,
    content: bytes,
    sheet: MendedSheet,
) -> FileCount:
    digest = digest_of(content)
    decisions = [("replaced", row) for row in sheet.replaced]
    decisions += [("left out", row) for row in sheet.left_out]
    replaced = pl.DataFrame(
        {
            "kind": [kind.name] * len(decisions),
            "raw_row": [row for _, row in decisions],
            "decision": [decision for decision, _ in decisions],
            "in_sha256": [digest] * len(decisions),
        }
    )
    unreadable = _correction_faults(con, sheet.raw) if kind is CORRECTIONS else None
    intake = take_in(kind, sheet.raw, known_ids(con, kind), unreadable)
    notes = [f"Rows left out on purpose: {len(sheet.left_out)}."] if sheet.left_out else []
    return write_intakes(con, kind, file_name, [intake], Digests(digest), notes, replaced)


def load_corrections(warehouse: DuckDBWarehouse, raw_folder: Path, folder: Path) -> list[FileCount]:
    """Load the folder's files of corrections, whose names begin with 'corrections'.

    One that cannot be read as corrections at all is noted as refused with its reason.
    """
    counts = []
    with warehouse.connect() as con:
        for path in correction_files(folder):

            def load(path: Path = path) -> FileCount:
                refuse_too_large(path)
                return load_corrections_file(con, raw_folder, path.name, path.read_bytes())

            done = or_refused(con, CORRECTIONS.name, path, load)
            if isinstance(done, str):
                done = refusal(CORRECTIONS.name, path.name, done)
            counts.append(done)
    return counts


def load_corrections_file(
    con: duckdb.DuckDBPyConnection, raw_folder: Path | None, file_name: str, content: bytes
) -> FileCount:
    """Load one file of corrections; `raw_folder` None: it is on the raw store's list already."""
    if raw_folder is not None:
        keep(raw_folder, CORRECTIONS.name, file_name, content)
    raw = read_raw(file_name, content)
    intake = take_in(CORRECTIONS, raw, {}, _correction_faults(con, raw))
    return write_intakes(con, CORRECTIONS, file_name, [intake], Digests(digest_of(content)), [])


def _correction_faults(con: duckdb.DuckDBPyConnection, raw: RawFile) -> pl.DataFrame:
    records = {name: record_rows(con, name) for name in RECORD_KINDS}
    records = with_corrections(records, record_rows(con, CORRECTIONS.name))
    typed, _ = cast_text(CORRECTIONS.schema, raw.frame)
    return correction_faults(typed, records)
