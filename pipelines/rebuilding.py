"""The warehouse built again from the raw store, which is the record."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from shutil import copyfile

import duckdb

from pipelines.duckdb_warehouse import (
    BusyError,
    WarehouseError,
    ensure_record_tables,
    opened,
    warehouse_at,
)
from pipelines.home import Home
from pipelines.mended_loading import MENDED_KIND, load_corrections_file, load_mended_book
from pipelines.raw_store import Kept, quick_digest_of, unlisted_copies, whole_copy
from pipelines.record_loading import load_kept
from pipelines.refused_files import note_refused
from pipelines.row_accounting import rows_unaccounted
from pipelines.source_files import MappingFile, mapping_path
from pipelines.taken_list import TakenIn, mend_list, taken_in
from pipelines.whole_files import free_name, move, put_in_place
from ringland.contracts.record_kinds import CORRECTIONS, RECORD_KINDS
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.written.raw_file import RecordFileError

LEAVE_OUT = "ringland rebuild --leave-out-lost"


@dataclass(frozen=True)
class Rebuilt:
    """What a rebuild left behind."""

    old: Path | None
    """the warehouse of before; None: there was none"""
    passed_over: tuple[str, ...]
    """one line per file that could not be read when it came and cannot be read now"""
    left_out: tuple[str, ...]
    """one line per file whose copy is lost, with what it had brought"""


def rebuild(home: Home, *, leave_out_lost: bool = False) -> Rebuilt:
    """Build the warehouse anew from the raw store.

    Every file is loaded again in the order it was taken in, by the mapping it came with last
    or, if the shop's `mappings/` has one for it now, by that.  Every copy is held against its
    hash first.  A file of which nothing was loaded, since it could not be read, is passed over
    if it still cannot; by a mapping that was changed since, it must.  The weeks' folders are
    not touched.  The warehouse of before stays as it is until the new one is whole, and beside
    it afterwards.

    Args:
        home: the shop's home.
        leave_out_lost: go on without the files whose copies are lost.

    Raises:
        WarehouseError: copies of files that were taken in are lost, or another command is at
            work on the warehouse.
        RecordFileError: a file that was loaded once cannot be read any more.
        MappingError: nor can its mapping.
    """
    fresh = home.database.with_name(f"{home.database.name}.rebuilt")
    _clear(fresh)  # of a rebuild that was cut off
    with _held(home.database) as before:
        loaded = loaded_files(before) if before else []
        mend_list(home.raw, loaded)
        listed = _by_last_mapping(list(taken_in(home.raw)))
        lost = {digest for one in listed for digest in one.digests()}
        lost = {digest for digest in lost if whole_copy(home.raw, digest) is None}
        _refuse_if_lost(home, listed, lost, leave_out_lost=leave_out_lost)
        once = {taken.content_sha256 for taken in loaded}
        try:
            passed_over = _build(home, fresh, listed, lost, once)
        except BaseException:
            _clear(fresh)  # it may be what filled the disk
            raise
        left_out = [_brought(before, taken) for taken in listed if lost & set(taken.digests())]
    old = _swap(home.database, fresh)
    return Rebuilt(old, tuple(dict.fromkeys(passed_over)), tuple(dict.fromkeys(left_out)))


def _clear(fresh: Path) -> None:
    for left in (fresh, _wal(fresh)):
        left.unlink(missing_ok=True)


def loaded_files(con: duckdb.DuckDBPyConnection) -> list[TakenIn]:
    """The files that a warehouse was made from, as far as it can be read."""
    with suppress(duckdb.Error):
        rows = con.sql(
            "select kind, file_name, content_sha256, mapping_sha256, "
            "content_sha256 in (select in_sha256 from shop_records.mended) as is_mended "
            "from shop_records.files order by rowid"
        ).fetchall()
        return [
            TakenIn(
                MENDED_KIND + kind if is_mended else kind,
                name,
                content,
                "mapping.toml" if mapping else None,
                mapping,
            )
            for kind, name, content, mapping, is_mended in rows
        ]
    return []  # a damaged one says nothing


@contextmanager
def _held(database: Path) -> Iterator[duckdb.DuckDBPyConnection | None]:
    """The warehouse of before, kept from other commands; None: none is there, or it is damaged."""
    con = None
    if database.exists():
        try:
            con = opened(str(database), patience_s=60.0)
        except BusyError:
            raise
        except WarehouseError:
            con = None
    try:
        yield con
    finally:
        if con is not None:
            with suppress(duckdb.Error):
                con.close()


def _refuse_if_lost(
    home: Home, listed: Sequence[TakenIn], lost: set[str], *, leave_out_lost: bool
) -> None:
    if leave_out_lost:
        return
    names = sorted({taken.file_name for taken in listed if lost & set(taken.digests())})
    if names:
        raise WarehouseError(
            f"Nothing was changed: the copies in {home.raw} of these files are lost or damaged: "
            f"{', '.join(names)}. Load each of them again (ringland load FILE) and rebuild then; "
            f"or take them from a backup (ringland restore BACKUP --mend); or build without "
            f"them ({LEAVE_OUT})."
        )
    if not listed and (copies := unlisted_copies(home.raw, set())):
        raise WarehouseError(
            f"Nothing was changed: the list of what was taken in is lost, and {home.raw} holds "
            f"{len(copies)} copies that no list names. Take it from a backup (ringland restore "
            f"BACKUP --mend); or begin with an empty warehouse ({LEAVE_OUT}) and load the files "
            f"again under the names they had."
        )


def _build(
    home: Home, fresh: Path, listed: Sequence[TakenIn], lost: set[str], once: set[str]
) -> list[str]:
    """Fill a new warehouse; what was passed over."""
    warehouse, passed_over = warehouse_at(fresh), []
    with warehouse.connect() as con:
        ensure_record_tables(con)  # should nothing have been taken in
        for taken in listed:
            if lost & set(taken.digests()):
                continue
            mapping = _mapping(home, taken)
            is_new = mapping is not None and mapping.sha256 != taken.mapping_sha256
            try:
                _load_again(home, con, taken, mapping)
            except (RecordFileError, MappingError) as error:
                if is_new or taken.content_sha256 in once:
                    raise
                note_refused(con, taken.kind, taken.file_name, taken.content_sha256, error)
                passed_over.append(str(error))
    if wrong := rows_unaccounted(warehouse):
        raise WarehouseError(f"Nothing was changed: the new warehouse is not whole: {wrong[0]}")
    return passed_over


def _by_last_mapping(listed: Sequence[TakenIn]) -> list[TakenIn]:
    """The files in the order they came, each with the mapping it came with last."""
    last = {(taken.kind, taken.content_sha256): taken for taken in listed}
    return [last[taken.kind, taken.content_sha256] for taken in listed]


def _load_again(
    home: Home, con: duckdb.DuckDBPyConnection, taken: TakenIn, mapping: MappingFile | None
) -> None:
    copy = _copy(home, taken.content_sha256)
    if taken.kind.startswith(MENDED_KIND):
        kind = taken.kind.removeprefix(MENDED_KIND)
        load_mended_book(con, None, kind, taken.file_name, copy.read_bytes())
    elif taken.kind == CORRECTIONS.name:
        load_corrections_file(con, None, taken.file_name, copy.read_bytes())
    else:
        kept = Kept(copy, taken.content_sha256, quick_digest_of(copy))
        load_kept(con, None, RECORD_KINDS[taken.kind], taken.file_name, kept, mapping)


def _mapping(home: Home, taken: TakenIn) -> MappingFile | None:
    if taken.kind not in RECORD_KINDS:
        return None
    beside_nothing = home.raw / "set-apart" / taken.file_name  # no mapping lies beside a copy
    path = mapping_path(beside_nothing, home.mappings)
    if path is not None:
        return MappingFile(path.name, path.read_bytes())
    if taken.mapping_sha256 is None:
        return None
    content = _copy(home, taken.mapping_sha256).read_bytes()
    return MappingFile(taken.mapping_name or "mapping.toml", content)


def _copy(home: Home, digest: str) -> Path:
    copy = whole_copy(home.raw, digest)
    assert copy is not None  # all were looked at before the first was loaded
    return copy


def _brought(before: duckdb.DuckDBPyConnection | None, taken: TakenIn) -> str:
    """What a file whose copy is lost had brought, for whoever must load it again."""
    if before is not None:
        with suppress(duckdb.Error):
            rows = before.execute(
                "select rows_in, rows_new from shop_records.files where content_sha256 = ?",
                [taken.content_sha256],
            ).fetchall()
            if rows:
                return f"{taken.file_name}: {rows[0][0]} rows, of which it had brought {rows[0][1]}"
    return f"{taken.file_name}: all its rows"


def _swap(database: Path, fresh: Path) -> Path | None:
    """Put the new warehouse in place at once; where the old one lies now."""
    old = None
    if database.exists():
        stamp = f"{datetime.now(UTC):%Y%m%d-%H%M%S}"
        old = free_name(database.with_name(f"{database.stem}-{stamp}.old"))
        if _wal(database).exists():  # only a damaged one leaves it behind
            move(_wal(database), _wal(old))
        try:
            old.hardlink_to(database)
        except OSError:  # a drive that knows no second names
            copyfile(database, old)
    elif _wal(database).exists():
        move(_wal(database), free_name(_wal(database).with_suffix(".wal.old")))
    put_in_place(fresh, database)
    return old


def _wal(database: Path) -> Path:
    return database.with_name(f"{database.name}.wal")
