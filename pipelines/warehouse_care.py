"""Keeping the warehouse: check it, back it up, publish a copy for readers, build it again.

The raw store is the record; the warehouse can be made from it at any time.
"""

import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import (
    DuckDBWarehouse,
    WarehouseError,
    ensure_record_tables,
    record_rows,
    warehouse_at,
)
from pipelines.home import Home
from pipelines.mended_loading import MENDED_KIND, load_corrections, load_mended
from pipelines.raw_store import TakenIn, digest_of, kept_path, taken_in
from pipelines.record_loading import load_file
from pipelines.row_accounting import rows_unaccounted
from pipelines.source_files import mapping_path
from pipelines.weekly.store import WeekStore
from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RECORD_KINDS
from ringland.intake.column_mapping import MappingError
from ringland.intake.raw_file import RecordFileError


@dataclass(frozen=True)
class Finding:
    """One thing that a check looked at, and what is wrong with it; empty: nothing."""

    about: str
    wrong: tuple[str, ...]


def check_warehouse(home: Home) -> list[Finding]:
    """What is wrong with the warehouse and the raw store, in words."""
    warehouse = warehouse_at(home.database)
    return [
        Finding("the warehouse opens and can be read", tuple(_unreadable(warehouse))),
        Finding(
            "every row of every file is loaded, set aside or mended",
            tuple(_tried(lambda: rows_unaccounted(warehouse))),
        ),
        Finding("every loaded row keeps its contract", tuple(_tried(lambda: _broken(warehouse)))),
        Finding("every file taken in is kept as it was", tuple(_lost_or_changed(home))),
        Finding("every week is as it was written", tuple(_weeks_changed(home))),
    ]


def _tried(look: Callable[[], list[str]]) -> list[str]:
    try:
        return look()
    except (WarehouseError, duckdb.Error) as error:
        return [str(error)]


def _unreadable(warehouse: DuckDBWarehouse) -> list[str]:
    if not Path(warehouse.database).exists():
        return [
            f"There is no warehouse {warehouse.database}. Load some records, "
            f"or run 'ringland rebuild' if raw/ holds any."
        ]

    def count_all() -> list[str]:
        with warehouse.connect() as con:
            tables = con.sql(
                "select schema_name || '.' || table_name from duckdb_tables()"
            ).fetchall()
            for (table,) in tables:
                con.sql(f"select count(columns(*)) from {table}").fetchall()
        return []

    return _tried(count_all)


def _broken(warehouse: DuckDBWarehouse) -> list[str]:
    wrong = []
    with warehouse.connect() as con:
        for name, kind in ALL_KINDS.items():
            rows = record_rows(con, name)
            invalid = rows.height - kind.schema.filter(rows, cast=True).result.height
            repeated = rows.height - rows.select(kind.key).n_unique() if rows.height else 0
            if invalid:
                wrong.append(f"{name}: {invalid} rows break the contract")
            if repeated:
                wrong.append(f"{name}: {repeated} rows repeat a key")
    return wrong


def _lost_or_changed(home: Home) -> list[str]:
    wrong = []
    for taken in {(t.file_name, d) for t in taken_in(home.raw) for d in _digests(t)}:
        name, digest = taken
        path = kept_path(home.raw, digest)
        if path is None:
            wrong.append(f"{name}: its copy {digest[:12]}... is missing from {home.raw}")
        elif digest_of(path.read_bytes()) != digest:
            wrong.append(f"{name}: its copy {path} was changed; restore it from a backup")
    return sorted(wrong)


def _weeks_changed(home: Home) -> list[str]:
    store, wrong = WeekStore(home.weeks), []
    for key in store.weeks():
        for name, digest in store.files(key).items():
            path = store.path(key) / name
            if not path.exists():
                wrong.append(f"week of {key.name}: {name} is missing; restore it from a backup")
            elif digest_of(path.read_bytes()) != digest:
                wrong.append(f"week of {key.name}: {name} was changed; restore it from a backup")
    return wrong


def _digests(taken: TakenIn) -> list[str]:
    return [d for d in (taken.content_sha256, taken.mapping_sha256) if d]


def publish_copy(warehouse: DuckDBWarehouse, target: Path) -> None:
    """A whole copy of the warehouse for readers, put in place at once.

    Whoever has an older copy open keeps reading that; no reader ever holds up a load.
    """
    partial = target.with_name(f"{target.name}.{os.getpid()}.partial")
    partial.unlink(missing_ok=True)
    with warehouse.connect() as con:
        con.execute("attach '{}' as copy_out".format(str(partial).replace("'", "''")))
        (source,) = con.execute("select current_database()").fetchall()[0]
        con.execute(f'copy from database "{source}" to copy_out')
        con.execute("detach copy_out")
    with partial.open("rb+") as file:
        os.fsync(file.fileno())
    partial.replace(target)


def back_up(home: Home, target: Path) -> None:
    """A ZIP of the raw store, mappings, settings, weeks and a copy of the warehouse.

    Raises:
        WarehouseError: the file is there already.
    """
    if target.exists():
        raise WarehouseError(f"{target} is there already; choose another name.")
    partial = target.with_name(f"{target.name}.partial")
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(scratch) / home.database.name
        publish_copy(warehouse_at(home.database), copy)
        with zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as backup:
            backup.write(copy, copy.name)
            for folder in (home.raw, home.mappings):
                for path in sorted(folder.glob("*")):
                    if path.suffix != ".partial":
                        backup.write(path, f"{folder.name}/{path.name}")
            for path in sorted(home.weeks.rglob("*")):
                if path.is_file() and path.suffix != ".partial":
                    backup.write(path, path.relative_to(home.folder))
            for settings in (
                home.own_file,
                home.settings,
                home.page_settings,
                home.week,
                home.actions,
            ):
                if settings and settings.exists():
                    backup.write(settings, settings.name)
    partial.replace(target)


@dataclass(frozen=True)
class Rebuilt:
    """What a rebuild left behind: the old warehouse, and the files that were refused again."""

    old: Path | None
    passed_over: tuple[str, ...]
    """One line per file that could not be read when it came and cannot be read now."""


def rebuild(home: Home) -> Rebuilt:
    """Build the warehouse anew from the raw store.

    Every file is loaded again in the order it was taken in, by the mapping it came with last
    or, if the shop's `mappings/` has one for it now, by that.  A file of which nothing was
    loaded, since it could not be read, is passed over if it still cannot.  The weeks' folders
    are not touched.

    Raises:
        WarehouseError: a file that was taken in is missing from the raw store.
        RecordFileError: a file that was loaded once cannot be read any more.
        MappingError: nor can its mapping.
    """
    loaded = _loaded_before(home)
    passed_over = []
    fresh = home.database.with_name(f"{home.database.name}.rebuilt")
    fresh.unlink(missing_ok=True)
    warehouse = warehouse_at(fresh)
    with warehouse.connect() as con:
        ensure_record_tables(con)  # should nothing have been taken in
    with tempfile.TemporaryDirectory() as scratch:
        # The list that the loads write again is thrown away; the true one is not touched.
        raw = Path(scratch) / "raw"
        raw.mkdir()
        for number, taken in enumerate(_by_last_mapping(list(taken_in(home.raw)))):
            folder = Path(scratch) / str(number)
            folder.mkdir()
            try:
                _load_again(home, warehouse, raw, folder, taken)
            except (RecordFileError, MappingError) as error:
                if taken.content_sha256 in loaded:
                    raise
                passed_over.append(str(error))
            shutil.rmtree(folder)
    old = None
    if home.database.exists():
        old = home.database.with_name(f"{home.database.stem}-{datetime.now(UTC):%Y%m%d-%H%M%S}.old")
        publish_copy(warehouse_at(home.database), old)
    fresh.replace(home.database)
    return Rebuilt(old, tuple(dict.fromkeys(passed_over)))


def _by_last_mapping(listed: Sequence[TakenIn]) -> list[TakenIn]:
    """The files in the order they came, each with the mapping it came with last."""
    last = {(taken.kind, taken.content_sha256): taken for taken in listed}
    return [last[taken.kind, taken.content_sha256] for taken in listed]


def _loaded_before(home: Home) -> set[str]:
    """The hashes of the files the present warehouse was made from; empty: it does not open."""
    if not home.database.exists():
        return set()
    try:
        with warehouse_at(home.database).connect() as con:
            ensure_record_tables(con)
            rows = con.sql("select distinct content_sha256 from shop_records.files").fetchall()
    except (WarehouseError, duckdb.Error):
        return set()  # a damaged one says nothing; what cannot be read is named all the same
    return {digest for (digest,) in rows}


def _load_again(
    home: Home, warehouse: DuckDBWarehouse, raw: Path, folder: Path, taken: TakenIn
) -> None:
    path = folder / taken.file_name
    path.write_bytes(_kept(home, taken.file_name, taken.content_sha256))
    if taken.kind.startswith(MENDED_KIND):
        load_mended(warehouse, raw, taken.kind.removeprefix(MENDED_KIND), folder)
    elif taken.kind == CORRECTIONS.name:
        load_corrections(warehouse, raw, folder)
    else:
        mapping = mapping_path(path, home.mappings)
        if mapping is None and taken.mapping_sha256:
            mapping = folder / (taken.mapping_name or "mapping.toml")
            mapping.write_bytes(_kept(home, taken.file_name, taken.mapping_sha256))
        with warehouse.connect() as con:
            load_file(con, raw, RECORD_KINDS[taken.kind], path, mapping)


def _kept(home: Home, file_name: str, digest: str) -> bytes:
    path = kept_path(home.raw, digest)
    if path is None:
        raise WarehouseError(
            f"{file_name} cannot be loaded again: its copy {digest} is missing from {home.raw}. "
            f"Restore raw/ from a backup."
        )
    return path.read_bytes()


def record_tables(warehouse: DuckDBWarehouse) -> dict[str, pl.DataFrame]:
    """Every table that comes of the files alone, rows in a fixed order."""
    with warehouse.connect() as con:
        ensure_record_tables(con)
    tables = [f"shop_records.{name}" for name in (*ALL_KINDS, "set_aside", "files", "mended")]
    return {table: warehouse.read(f"select * from {table} order by all") for table in tables}
