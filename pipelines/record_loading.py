"""Record files into the warehouse: each row loaded once, or set aside with its reasons.

A file's bytes are kept under their hash before anything is read from them, and its rows,
its set-aside rows and its line in `shop_records.files` are written in one transaction.
Bytes taken in before are passed over, unless rows of theirs were set aside and what is on
record of what they name has changed since: then those rows are tried again.
"""

from dataclasses import dataclass
from pathlib import Path

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import (
    SET_ASIDE,
    DuckDBWarehouse,
    ensure_record_tables,
    insert,
    record_rows,
    rows_met,
    transaction,
)
from pipelines.loaded_before import (
    EarlierLoad,
    earlier_load,
    held_against,
    rows_set_aside,
    rows_tried_again,
)
from pipelines.raw_store import (
    Kept,
    clear_partials,
    keep_copy,
    keep_mapping,
    quick_digest_of,
    same_copy,
)
from pipelines.source_files import MappingFile, mapping_path, record_files
from pipelines.taken_list import TakenIn, add_to_list, is_listed, mend_list
from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.intake import Intake, take_in, take_in_file
from ringland.intake.mapped_rows import NO_CLOCKS, DockClocks, read_mapped
from ringland.intake.raw_file import SOURCE_ROW, Content
from ringland.intake.rows_on_record import now_ended, split_new


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
    rows_mended: int = 0


@dataclass(frozen=True)
class Digests:
    """The hashes of a file and of the mapping it is read with."""

    content: str
    mapping: str | None = None
    quick: str | None = None
    """BLAKE3 of the content"""
    held_against: str | None = None
    """see `loaded_before.held_against`"""


def load_kind(
    warehouse: DuckDBWarehouse,
    raw_folder: Path,
    kind: str,
    folder: Path,
    mappings: Path | None = None,
) -> list[FileCount]:
    """Load every file of one kind from a folder.

    Raises:
        RecordFileError: a file cannot be read as this kind at all; nothing of it is loaded.
        MappingError: a file's mapping does not say what it must, or does not fit the file.
    """
    with warehouse.connect() as con:
        clear_partials(raw_folder)
        mend_list(raw_folder)
        return [
            load_file(con, raw_folder, RECORD_KINDS[kind], path, mapping_path(path, mappings))
            for path in record_files(folder, kind, mappings)
        ]


def load_file(
    con: duckdb.DuckDBPyConnection,
    raw_folder: Path,
    kind: RecordKind,
    path: Path,
    mapping: Path | None,
) -> FileCount:
    """Keep a file and load the rows of one kind from it."""
    quick = quick_digest_of(path)
    earlier = earlier_load(con, kind, "content_blake3", quick)
    copy = same_copy(raw_folder, earlier.sha256, quick) if earlier else None
    kept = Kept(copy, earlier.sha256, quick) if earlier and copy else keep_copy(raw_folder, path)
    read_by = MappingFile(mapping.name, mapping.read_bytes()) if mapping else None
    return load_kept(con, raw_folder, kind, path.name, kept, read_by)


def load_kept(
    con: duckdb.DuckDBPyConnection,
    raw_folder: Path | None,
    kind: RecordKind,
    file_name: str,
    kept: Kept,
    mapping: MappingFile | None,
) -> FileCount:
    """Load the rows of one kind from a kept file, once it stands on the list of the raw store.

    `raw_folder` None: it is on the list, from which the warehouse is built again.
    """
    earlier = earlier_load(con, kind, "content_sha256", kept.sha256)
    if earlier:  # maybe loaded by a ringland that did not note this hash
        con.execute(
            "update shop_records.files set content_blake3 = ? where content_sha256 = ?",
            [kept.blake3, kept.sha256],
        )
    known, clocks = known_ids(con, kind), _clocks(con) if mapping else NO_CLOCKS
    read_by = mapping.sha256 if mapping else None
    digests = Digests(kept.sha256, read_by, kept.blake3, held_against(known, clocks))
    stays = earlier is not None and earlier.stays(read_by, digests.held_against)
    if raw_folder is not None:
        name = mapping.name if mapping else None
        taken = TakenIn(kind.name, file_name, kept.sha256, name, read_by)
        if mapping:
            keep_mapping(raw_folder, mapping.content)
        if not stays or not is_listed(raw_folder, taken):
            add_to_list(raw_folder, taken)
    if earlier and stays:
        return _unchanged(kind, file_name, earlier)
    intakes, notes = _take_in(kind, file_name, kept.content(), known, mapping, clocks)
    if earlier and earlier.read_by != read_by and _moves_rows(con, kind, intakes, earlier):
        return _unchanged(kind, file_name, earlier, MAPPING_MOVES_ROWS)
    tried_again = rows_tried_again(con, kind, earlier) if mapping is None else None
    return write_intakes(con, kind, file_name, intakes, digests, notes, tried_again=tried_again)


MAPPING_MOVES_ROWS = (
    "Not read again: by its changed mapping, rows of it on record would stand a second time or "
    "contradict themselves. 'ringland rebuild' reads every file anew, this one by that mapping."
)


def _moves_rows(
    con: duckdb.DuckDBPyConnection, kind: RecordKind, intakes: list[Intake], earlier: EarlierLoad
) -> bool:
    """Whether rows that loaded before come out otherwise by the mapping the file has now.

    A changed mapping may bring in rows that were set aside; a record keeps no hash of its
    file by which the rows it brought under another mapping could be taken back.
    """
    was_aside = rows_set_aside(con, kind, earlier.sha256).implode()
    for intake in intakes:
        loaded_before = intake.loaded.filter(~pl.col(SOURCE_ROW).is_in(was_aside))
        there = rows_met(con, kind.name, loaded_before)
        if split_new(kind, loaded_before, there).already_there.height < loaded_before.height:
            return True
    return False


def _unchanged(
    kind: RecordKind, file_name: str, earlier: EarlierLoad, note: str = "unchanged"
) -> FileCount:
    return FileCount(
        kind.name,
        file_name,
        earlier.rows_in,
        0,
        earlier.rows_in - earlier.rows_set_aside - earlier.rows_mended,
        earlier.rows_set_aside,
        note,
        earlier.rows_mended,
    )


def _take_in(
    kind: RecordKind,
    file_name: str,
    content: Content,
    known: dict[str, set[str]],
    mapping: MappingFile | None,
    clocks: DockClocks,
) -> tuple[list[Intake], list[str]]:
    if mapping is None:
        return [take_in_file(kind, file_name, content, known)], []
    tables = read_mapped(file_name, content[:], mapping.read(), clocks)
    left_out = sum(table.left_out for table in tables)
    notes = [f"Rows left out by the mapping: {left_out}."] if left_out else []
    return [
        take_in(kind, table.raw, known, table.found) for table in tables if table.kind is kind
    ], notes


def _clocks(con: duckdb.DuckDBPyConnection) -> DockClocks:
    docks, hulls = record_rows(con, "docks"), record_rows(con, "hulls")
    return DockClocks(
        dict(docks.select("dock_id", "time_zone").iter_rows()),
        dict(hulls.select("hull_id", "dock_id").iter_rows()),
    )


def write_intakes(
    con: duckdb.DuckDBPyConnection,
    kind: RecordKind,
    file_name: str,
    intakes: list[Intake],
    digests: Digests,
    notes: list[str],
    replaced: pl.DataFrame | None = None,
    tried_again: pl.Series | None = None,
) -> FileCount:
    """Write what was taken in from one file, in one transaction.

    `replaced` holds the rows of `shop_records.mended` that this file brings; `tried_again` the
    source rows of a file loaded before that may not be on record yet, None: all may be new.
    """
    ensure_record_tables(con)
    fresh: list[pl.DataFrame] = []
    ended, aside, already = [], [], 0
    for intake in intakes:
        rows = intake.loaded
        if tried_again is not None:
            rows = rows.filter(pl.col(SOURCE_ROW).is_in(tried_again.implode()))
            already += intake.rows_loaded - rows.height
        there = pl.concat([rows_met(con, kind.name, rows), *fresh], how="diagonal")
        new, already_there, conflicts = split_new(kind, rows, there)
        ended.append(now_ended(kind, rows, there))
        fresh.append(new)
        aside += [intake.set_aside, conflicts]
        already += already_there.height
    mended = con.sql("select raw_row from shop_records.mended where kind = ?", params=[kind.name])
    all_aside = pl.concat(aside)
    still_aside = all_aside.join(mended.pl(), on="raw_row", how="anti", maintain_order="left")
    count = FileCount(
        kind.name,
        file_name,
        sum(intake.rows_in for intake in intakes),
        sum(new.height for new in fresh),
        already,
        _rows(still_aside),
        " ".join(note for note in [*notes, *(n for i in intakes for n in i.notes)] if note),
        _rows(all_aside) - _rows(still_aside),
    )
    with transaction(con):
        for rows in ended:
            _replace(con, kind, rows)
        for rows in fresh:
            insert(con, f"shop_records.{kind.name}", rows)
        con.execute(
            f"delete from {SET_ASIDE} where content_sha256 = ? and kind = ?",
            [digests.content, kind.name],
        )
        insert(con, SET_ASIDE, still_aside.with_columns(content_sha256=pl.lit(digests.content)))
        _write_count(con, count, digests)
        if replaced is not None:
            take_off_the_list(con, replaced)
    return count


def take_off_the_list(con: duckdb.DuckDBPyConnection, mended: pl.DataFrame) -> None:
    """Note rows as mended, take them out of the set-aside table and count them so."""
    insert(con, "shop_records.mended", mended)
    con.register("gone", mended.to_arrow())
    con.execute(
        "update shop_records.files set rows_set_aside = rows_set_aside - gone_rows, "
        "rows_mended = rows_mended + gone_rows from ("
        "  select kind, content_sha256, count(distinct (source_file, source_row)) as gone_rows "
        "  from shop_records.set_aside semi join gone using (kind, raw_row) group by all"
        ") as counted where files.kind = counted.kind "
        "and files.content_sha256 = counted.content_sha256"
    )
    con.execute(
        f"delete from {SET_ASIDE} using gone "
        f"where {SET_ASIDE}.kind = gone.kind and {SET_ASIDE}.raw_row = gone.raw_row"
    )
    con.unregister("gone")


def _rows(set_aside: pl.DataFrame) -> int:
    return set_aside.select("source_file", "source_row").n_unique()


def _write_count(con: duckdb.DuckDBPyConnection, count: FileCount, digests: Digests) -> None:
    """Put the file's line in the place of an earlier one; its rows from then are still new."""
    earlier = con.execute(
        "delete from shop_records.files where kind = ? and content_sha256 = ? returning rows_new",
        [count.kind, digests.content],
    ).fetchall()
    new_before = earlier[0][0] if earlier else 0
    line = {
        "kind": count.kind,
        "file_name": count.file_name,
        "content_sha256": digests.content,
        "rows_in": count.rows_in,
        "rows_new": count.rows_new + new_before,
        "rows_already_there": count.rows_already_there - new_before,
        "rows_set_aside": count.rows_set_aside,
        "notes": count.notes,
        "rows_mended": count.rows_mended,
        "mapping_sha256": digests.mapping,
        "content_blake3": digests.quick,
        "held_against": digests.held_against,
    }
    con.execute(
        f"insert into shop_records.files ({', '.join(line)}) "
        f"values ({', '.join('?' for _ in line)})",
        list(line.values()),
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


def known_ids(con: duckdb.DuckDBPyConnection, kind: RecordKind) -> dict[str, set[str]]:
    """The ids on record of what rows of this kind name, by record kind."""
    known = {}
    for referred in set(kind.refers_to.values()):
        key = RECORD_KINDS[referred].key[0]
        known[referred] = set(record_rows(con, referred)[key].to_list())
    return known
