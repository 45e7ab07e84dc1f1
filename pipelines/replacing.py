"""A file in the place of one loaded before, as corrections that are loaded like any others.

They are kept in the raw store and stand on its list, so that a rebuild comes to the same.
"""

import difflib
import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import ensure_record_tables, record_rows, warehouse_at
from pipelines.home import Home
from pipelines.mended_loading import load_corrections_file
from pipelines.raw_store import file_digest
from pipelines.record_loading import dock_clocks, known_ids, rows_in_file
from pipelines.record_writing import FileCount
from pipelines.refused_files import refuse_too_large
from pipelines.source_files import MappingFile, mapping_path, record_files
from pipelines.taken_list import taken_in
from ringland.contracts.record_kinds import CORRECTIONS, RECORD_KINDS
from ringland.history.corrections import with_corrections
from ringland.history.replacement import replacement
from ringland.intake.intake import SOURCE_FILE
from ringland.intake.written.raw_file import RecordFileError


def replace_file(home: Home, old: str, path: Path, now: datetime) -> FileCount:
    """Write down that a file stands in the place of an old one; it is to be loaded then.

    Args:
        home: the shop's home.
        old: the old file's name, as the load told it.
        path: the new file.
        now: when this is written down.

    Raises:
        RecordFileError: no row on record is from the old file, or rows of the new one would be
            set aside: what they stand for must not be withdrawn.
        MappingError: the new file's mapping does not say what it must.
    """
    refuse_too_large(path)
    found = mapping_path(path, home.mappings)
    mapping = MappingFile(found.name, found.read_bytes()) if found else None
    with warehouse_at(home.database).connect() as con:
        ensure_record_tables(con)
        held = _rows_from(con, old)
        if not any(rows.height for rows in held.values()):
            raise RecordFileError(old, "No record is from a file of this name.", _nearest(con, old))
        kinds = [
            name for name in RECORD_KINDS if path in record_files(path.parent, name, home.mappings)
        ]
        reason = f"{old}{_REPLACED_BY}{path.name}"
        corrections = [
            replacement(
                RECORD_KINDS[name],
                rows,
                _new_rows(con, name, path, mapping) if name in kinds else rows.clear(),
                reason,
                now,
            )
            for name, rows in held.items()
        ]
        written = pl.concat(corrections).with_columns(
            pl.col("recorded_at").dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ")
        )
        stands_for = f"for {path.name} ({file_digest(path)[:_DIGITS]})"
        name = f"{CORRECTIONS.name} {now:%Y-%m-%d %H%M%S} {stands_for}.csv"
        return load_corrections_file(con, home.raw, name, written.write_csv().encode())


def replacements_to_load(raw_folder: Path) -> Iterator[str]:
    """The files in whose favour rows were withdrawn, but that were never taken in themselves.

    So it stands when a replacement was cut off before its load.  A file of the same name that
    was taken in since counts as the new one, mended meanwhile.
    """
    listed = list(taken_in(raw_folder))
    digests = {one.content_sha256[:_DIGITS] for one in listed}
    for place, one in enumerate(listed, start=1):
        found = _STANDS_FOR.search(one.file_name) if one.kind == CORRECTIONS.name else None
        if found is None or found["digest"] in digests:
            continue
        if all(later.file_name != found["name"] for later in listed[place:]):
            yield found["name"]


_DIGITS = 12
_STANDS_FOR = re.compile(rf" for (?P<name>.+) \((?P<digest>[0-9a-f]{{{_DIGITS}}})\)\.csv$")


def _new_rows(
    con: duckdb.DuckDBPyConnection, name: str, path: Path, mapping: MappingFile | None
) -> pl.DataFrame:
    kind = RECORD_KINDS[name]
    content = path.read_bytes()
    intakes, _ = rows_in_file(
        kind, path.name, content, known_ids(con, kind), mapping, dock_clocks(con)
    )
    aside = pl.concat([intake.set_aside for intake in intakes])
    for first in aside.head(1).iter_rows(named=True):
        raise RecordFileError(
            path.name,
            f"{first['fault']} So it does not replace the old file yet, or what this row stands "
            "for would be withdrawn.",
            first["remedy"],
            first["source_row"],
            first["field"],
        )
    return pl.concat([intake.loaded for intake in intakes])


def _rows_from(con: duckdb.DuckDBPyConnection, file: str) -> dict[str, pl.DataFrame]:
    """The rows by kind that stand for the file, its sheets' among them, as corrected so far.

    Those of a file that it replaced itself stand for it too, where it held them.
    """
    so_far = record_rows(con, CORRECTIONS.name)
    reasons = so_far["reason"].unique().to_list()
    names = [file]
    for name in names:
        before = [
            r.removesuffix(_REPLACED_BY + name) for r in reasons if r.endswith(_REPLACED_BY + name)
        ]
        names += [one for one in before if one not in names]
    sheet = pl.col(SOURCE_FILE).str.replace(r" \[[^\[]*\]$", "")
    is_from_it = pl.col(SOURCE_FILE).is_in(names) | sheet.is_in(names)
    rows = {kind: record_rows(con, kind).filter(is_from_it) for kind in RECORD_KINDS}
    return with_corrections(rows, so_far)


_REPLACED_BY = " was replaced by "


def _nearest(con: duckdb.DuckDBPyConnection, old: str) -> str:
    rows = con.sql("select distinct file_name from shop_records.files").fetchall()
    near = difflib.get_close_matches(old, [name for (name,) in rows], n=3, cutoff=0.4)
    return f"Loaded were, among others: {', '.join(near)}." if near else "Load it first."
