"""Looking after a home: is all of it whole, and if not, which step mends it.

Nothing is written here but a copy of the warehouse for readers.
"""

import os
import tomllib
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from glob import escape
from pathlib import Path

import duckdb
import polars as pl

from pipelines.borrowed_effects import borrowed
from pipelines.dockside.certificates import KEY_FAULT, faulty_keys
from pipelines.dockside.people import people_fault
from pipelines.dockside.taking_in import journal_faults
from pipelines.duckdb_warehouse import (
    DuckDBWarehouse,
    WarehouseError,
    can_be_brought_up_to_date,
    copy_database,
    ensure_record_tables,
    schema_version,
    scripts,
    warehouse_at,
)
from pipelines.home import Home
from pipelines.home_file import HomeFileError
from pipelines.mended_loading import MENDED_KIND
from pipelines.raw_store import damaged_copies, unlisted_copies, whole_copy
from pipelines.rebuilding import loaded_files
from pipelines.replacing import replacements_to_load
from pipelines.restoring import cut_off
from pipelines.row_accounting import unaccounted
from pipelines.taken_list import list_faults, taken_in
from pipelines.week_site import lies_open
from pipelines.week_views import broken_views
from pipelines.weekly.store import WeekKey, WeekStore
from pipelines.whole_files import put_in_place
from ringland.contracts.record_kinds import ALL_KINDS, RecordKind
from ringland.risk.shared_effects import SharedEffectsError
from ringland.settings.manner_file import PageSettingError

REBUILD = "run 'ringland rebuild'"
FROM_BACKUP = "take it from a backup (ringland restore BACKUP --mend)"


@dataclass(frozen=True)
class Finding:
    """One thing that a check looked at, and what is wrong with it, each with the step that mends
    it; empty: nothing.
    """

    about: str
    wrong: tuple[str, ...]


def check_warehouse(home: Home) -> list[Finding]:
    """What is wrong with a home, in words; nothing is changed."""
    if (told := cut_off(home)) is not None:
        return [Finding("the home is there", (told,))]
    warehouse = warehouse_at(home.database)

    def in_tables(look: Callable[[duckdb.DuckDBPyConnection], Iterator[str]]) -> tuple[str, ...]:
        try:
            with warehouse.reading() as con:
                return tuple(look(con))
        except WarehouseError as error:
            return (str(error),)
        except duckdb.Error as error:
            return (f"It cannot be read: {REBUILD}. ({error})",)

    return [
        Finding(
            "the warehouse opens and can be read",
            in_tables(lambda con: _unreadable(home.database, con)),
        ),
        Finding("every row of every file is loaded, set aside or mended", in_tables(_unaccounted)),
        Finding("every loaded row keeps its contract", in_tables(_broken)),
        Finding("every file taken in is kept as it was", tuple(_lost_or_changed(home))),
        Finding("every week is as it was written", tuple(_weeks_changed(home))),
        Finding("the list of what was taken in is whole", tuple(_list_changed(home, warehouse))),
        Finding(
            "what was taken in and what is loaded are the same",
            in_tables(lambda con: _not_loaded(home, con)),
        ),
        Finding(
            "the tables of the weeks can be asked for in the warehouse",
            in_tables(lambda con: _views(home, con)),
        ),
        Finding("every entry made at the dock is taken in", tuple(journal_faults(home))),
        Finding(
            "who may sign in, and the keys that phones trust, are whole", tuple(_dockside(home))
        ),
        Finding("the settings can be read", (*_settings(home), *_shared_effects(home))),
        Finding("the pages that lie open are the weeks' own", tuple(_pages(home))),
    ]


def _unreadable(database: Path, con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    tables = con.sql("select schema_name || '.' || table_name from duckdb_tables()").fetchall()
    for (table,) in tables:
        con.sql(f"select count(columns(*)) from {table}").fetchall()
    newest = scripts()[-1][0]
    version = schema_version(con) if ("main.schema_version",) in tables else 0
    if version < newest:
        it_has = f"It has schema version {version} of {newest}"
        if can_be_brought_up_to_date(database, lambda con: not any(unaccounted(con))):
            or_week = (
                " or 'ringland week'" if loaded_files(con) else ""
            )  # of no records there is none
            yield f"{it_has}; the next 'ringland load'{or_week} brings it up to date."
        else:
            yield f"{it_has}, and the scripts it lacks would not make it whole: {REBUILD}."
    lacking = {"shop_records.files", "shop_records.mended"} - {table for (table,) in tables}
    if version >= newest and lacking:
        yield f"The table {sorted(lacking)[0]} is missing: {REBUILD}."


def _unaccounted(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    if not loaded_files(con):
        return  # a first load that was cut off may have left half the tables, and no row
    for line in unaccounted(con):
        yield f"{line}: {REBUILD}"


def _broken(con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    for name, kind in ALL_KINDS.items():
        rows = _rows(con, name, kind)
        if rows is None:
            continue
        invalid = rows.height - kind.schema.filter(rows, cast=True).result.height
        repeated = rows.height - rows.select(kind.key).n_unique() if rows.height else 0
        if invalid:
            yield f"{name}: {invalid} rows break the contract: {REBUILD}"
        if repeated:
            yield f"{name}: {repeated} rows repeat a key: {REBUILD}"


def _rows(con: duckdb.DuckDBPyConnection, name: str, kind: RecordKind) -> pl.DataFrame | None:
    """A record table; columns it lacks yet are empty, None: the table is not made yet."""
    query = "select 1 from duckdb_tables() where schema_name = 'shop_records' and table_name = ?"
    if not con.execute(query, [name]).fetchall():
        return None
    rows = pl.DataFrame(con.sql(f"select * from shop_records.{name}"))
    lacking = [column for column in kind.schema.column_names() if column not in rows.columns]
    return rows.with_columns(pl.lit(None).alias(column) for column in lacking)


def _lost_or_changed(home: Home) -> Iterator[str]:
    listed = sorted({(one.file_name, d) for one in taken_in(home.raw) for d in one.digests()})
    again = "load the original again (ringland load FILE), or"
    for name, digest in listed:
        if whole_copy(home.raw, digest) is not None:
            continue
        if changed := damaged_copies(home.raw, digest):
            yield f"{name}: its copy {changed[0]} was changed: {again} {FROM_BACKUP}"
        else:
            yield (
                f"{name}: its copy {digest[:12]}... is missing from {home.raw}: "
                f"{again} {FROM_BACKUP}"
            )


def _list_changed(home: Home, warehouse: DuckDBWarehouse) -> Iterator[str]:
    for fault in list_faults(home.raw):
        yield f"{fault}: {REBUILD}, which writes it anew from all that is left"
    listed = {digest for one in taken_in(home.raw) for digest in one.digests()}
    # with no list and nothing loaded there is nothing that a rebuild could go by
    or_else = REBUILD if listed or _holds_files(warehouse) else FROM_BACKUP
    for path in unlisted_copies(home.raw, listed):
        yield (
            f"{path} is on no list: a load was cut off, or the list was lost: load its file again "
            f"under the name it had, or {or_else}"
        )


def _holds_files(warehouse: DuckDBWarehouse) -> bool:
    with suppress(WarehouseError, duckdb.Error), warehouse.reading() as con:
        return bool(loaded_files(con))
    return False


def _not_loaded(home: Home, con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    loaded = {(_kind(one.kind), one.content_sha256) for one in loaded_files(con)}
    listed = {(_kind(one.kind), one.content_sha256): one for one in taken_in(home.raw)}
    refused = _refused(con)
    for key in sorted(listed.keys() - loaded):
        if listed[key].content_sha256 not in refused:
            yield (
                f"{listed[key].file_name} was taken in, but nothing of it is loaded: load it "
                f"again, or {REBUILD}"
            )
    for name in replacements_to_load(home.raw):
        yield (
            f"{name} replaces an older file, whose rows are withdrawn, but is not loaded itself: "
            f"run 'ringland load' with it"
        )
    for _, digest in sorted(loaded - listed.keys()):
        yield f"A file that is loaded ({digest[:12]}...) is not on the list: {REBUILD}"


def _kind(listed: str) -> str:
    return listed.removeprefix(MENDED_KIND)


def _refused(con: duckdb.DuckDBPyConnection) -> set[str]:
    """The hashes of files that could not be read as what their name says."""
    rows = con.sql(
        "select 1 from duckdb_tables() where schema_name = 'shop_records' "
        "and table_name = 'refused'"
    ).fetchall()
    if not rows:
        return set()
    found = con.sql("select content_sha256 from shop_records.refused").fetchall()
    return {digest for (digest,) in found}


def _weeks_changed(home: Home) -> Iterator[str]:
    store = WeekStore(home.weeks)
    for key in store.weeks():
        for stamp in store.listed(key).outputs.values():
            for name in store.damaged(key, stamp):
                is_there = (store.path(key) / name).exists()
                what = "was changed" if is_there else "is missing"
                yield f"week of {key.name}: {name} {what}: {_again(store, key)}"
    for key in store.unreadable():
        yield f"week of {key.name}: week.json is missing or was changed: {FROM_BACKUP}, or " + (
            f"move the folder away and run 'ringland week --as-of {key.monday}'"
        )


def _again(store: WeekStore, key: WeekKey) -> str:
    if key.told_by is not None:
        return f"run 'ringland week --as-of {key.monday} --restate'"
    if store.listed(key).made.is_given_out:
        return (
            f"{FROM_BACKUP}; without one, 'ringland week --as-of {key.monday} --restate' "
            f"works the week out anew beside it"
        )
    return f"{FROM_BACKUP}, or run 'ringland week --as-of {key.monday}'"


def _views(home: Home, con: duckdb.DuckDBPyConnection) -> Iterator[str]:
    if broken := broken_views(home, con):
        yield f"{len(broken)} of them cannot be read, e.g. {broken[0]}: {REBUILD}"


def _dockside(home: Home) -> Iterator[str]:
    if (fault := people_fault(home.dockside)) is not None:
        yield fault
    for path in faulty_keys(home.dockside):
        yield f"{path} {KEY_FAULT}"


def _settings(home: Home) -> Iterator[str]:
    try:
        home.manner()
    except (HomeFileError, PageSettingError) as error:
        yield str(error)
    for path in (home.week, home.actions, home.settings):
        if path is not None and path.exists():
            try:
                tomllib.loads(path.read_text(encoding="utf-8"))
            except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
                yield f"{path}: not valid TOML ({error}): mend it, or {FROM_BACKUP}"


def _shared_effects(home: Home) -> Iterator[str]:
    for monday in (path.stem for path in sorted(home.shared_effects.glob("*.json"))):
        try:
            borrowed(home, monday)
        except SharedEffectsError as error:
            yield str(error)


def _pages(home: Home) -> Iterator[str]:
    store = WeekStore(home.weeks)
    for key in store.weeks():
        if not (home.site / key.name).is_dir() or not store.has_pages(key):
            continue
        is_whole = not any(store.damaged(key, one) for one in store.listed(key).outputs.values())
        if is_whole and not lies_open(home, key):
            yield f"week of {key.name}: run 'ringland open {_as_of(key)}', which lays them out anew"


def _as_of(key: WeekKey) -> str:
    return f"--as-of {key.monday}{'' if key.told_by is None else ' --restated'}"


def publish_copy(warehouse: DuckDBWarehouse, target: Path) -> None:
    """A whole copy of the warehouse for readers, put in place at once.

    Whoever has an older copy open keeps reading that; no reader ever holds up a load.

    Raises:
        InUseError: on Windows, a reader has the older copy open; it stays.
    """
    for left in target.parent.glob(f"{escape(target.name)}.*.partial"):
        left.unlink(missing_ok=True)  # of a copy that was cut off
    partial = target.with_name(f"{target.name}.{os.getpid()}.partial")
    try:
        with warehouse.reading():  # nobody writes meanwhile
            copy_database(Path(warehouse.database), partial)
        with partial.open("rb+") as file:
            os.fsync(file.fileno())
        put_in_place(partial, target)
    finally:
        partial.unlink(missing_ok=True)


def record_tables(warehouse: DuckDBWarehouse) -> dict[str, pl.DataFrame]:
    """Every table that comes of the files alone, rows in a fixed order."""
    tables = [f"shop_records.{name}" for name in (*ALL_KINDS, "set_aside", "files", "mended")]
    with warehouse.connect() as con:
        ensure_record_tables(con)
        return {
            table: pl.DataFrame(con.sql(f"select * from {table} order by all")) for table in tables
        }
