"""Record files into the warehouse: each row loaded once, or set aside with its reasons.

A file's bytes are kept under their hash before anything is read from them, and its rows,
its set-aside rows and its line in `shop_records.files` are written in one transaction.
Bytes taken in before are passed over, unless rows of theirs were set aside and what is on
record of what they name has changed since: then those rows are tried again.
"""

from pathlib import Path

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import (
    DuckDBWarehouse,
    record_rows,
    rows_met,
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
from pipelines.record_writing import Digests, FileCount, write_intakes
from pipelines.refused_files import or_refused, refuse_too_large
from pipelines.source_files import MappingFile, mapping_path, record_files
from pipelines.taken_list import TakenIn, add_to_list, is_listed, mend_list
from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.contract_file import take_in_contract_file
from ringland.intake.intake import Intake, take_in
from ringland.intake.mapping.dock_clocks import DockClocks
from ringland.intake.mapping.mapped_rows import read_mapped
from ringland.intake.rows_on_record import split_new
from ringland.intake.written.raw_file import SOURCE_ROW, Content


def load_kind(
    warehouse: DuckDBWarehouse,
    raw_folder: Path,
    kind: str,
    folder: Path,
    mappings: Path | None = None,
) -> list[FileCount]:
    """Load every file of one kind from a folder.

    A file that cannot be read as this kind at all, or not by its mapping, is noted as refused
    with its reason; the others are loaded.
    """
    counts: list[FileCount] = []
    files = list(record_files(folder, kind, mappings))
    if not files:
        return counts
    with warehouse.connect() as con:
        clear_partials(raw_folder)
        mend_list(raw_folder)
        for path in files:

            def load(path: Path = path) -> FileCount:
                mapping = mapping_path(path, mappings)
                return load_file(con, raw_folder, RECORD_KINDS[kind], path, mapping)

            done = or_refused(con, kind, path, load)
            counts.append(refusal(kind, path.name, done) if isinstance(done, str) else done)
    return counts


def refusal(kind: str, file_name: str, why: str) -> FileCount:
    """The count of a file of which nothing was loaded."""
    return FileCount(kind, file_name, 0, 0, 0, 0, why, is_refused=True)


def load_file(
    con: duckdb.DuckDBPyConnection,
    raw_folder: Path,
    kind: RecordKind,
    path: Path,
    mapping: Path | None,
) -> FileCount:
    """Keep a file and load the rows of one kind from it.

    Raises:
        RecordFileError: it cannot be read as this kind at all; nothing of it is loaded.
        MappingError: its mapping does not say what it must, or does not fit the file.
    """
    refuse_too_large(path)
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
    known, clocks = known_ids(con, kind), dock_clocks(con)
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
    intakes, notes = rows_in_file(kind, file_name, kept.content(), known, mapping, clocks)
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


def rows_in_file(
    kind: RecordKind,
    file_name: str,
    content: Content,
    known: dict[str, set[str]],
    mapping: MappingFile | None,
    clocks: DockClocks,
) -> tuple[list[Intake], list[str]]:
    """What a file holds of one kind, and the sentences that go with its count."""
    if mapping is None:
        return take_in_contract_file(kind, file_name, content, known, clocks), []
    tables = read_mapped(file_name, content[:], mapping.read(), clocks)
    left_out = sum(table.left_out for table in tables)
    notes = [f"Rows left out by the mapping: {left_out}."] if left_out else []
    notes += [note for table in tables for note in table.notes]
    return [
        take_in(kind, table.raw, known, table.found) for table in tables if table.kind is kind
    ], notes


def dock_clocks(con: duckdb.DuckDBPyConnection) -> DockClocks:
    """The clocks of the docks on record."""
    docks, hulls = record_rows(con, "docks"), record_rows(con, "hulls")
    return DockClocks(
        dict(docks.select("dock_id", "time_zone").iter_rows()),
        dict(hulls.select("hull_id", "dock_id").iter_rows()),
    )


def known_ids(con: duckdb.DuckDBPyConnection, kind: RecordKind) -> dict[str, set[str]]:
    """The ids on record of what rows of this kind name, by record kind."""
    known = {}
    for referred in set(kind.refers_to.values()):
        key = RECORD_KINDS[referred].key[0]
        known[referred] = set(record_rows(con, referred)[key].to_list())
    return known
