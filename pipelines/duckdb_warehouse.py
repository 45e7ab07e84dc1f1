"""The warehouse: the only module that opens the database.

DuckDB lets one process write, so every call opens, works and closes.  Tables are made
from the contracts; the numbered scripts in `warehouse/` make the rest and count the
schema version.
"""

import os
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory

import dataframely as dy
import duckdb
import polars as pl

from pipelines.whole_files import is_begun
from ringland.contracts.record_kinds import ALL_KINDS
from ringland.contracts.record_tables import LostCells, SetAside

# Nothing may be fetched from outside this machine.
_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    # of a fleet's tables most hold less than DuckDB's own 256 KiB: 2.8 MB instead of 8.7
    "default_block_size": 65536,
}
_SQL_TYPES = {
    dy.String: "varchar",
    dy.Float64: "double",
    dy.Int64: "bigint",
    dy.Bool: "boolean",
    dy.Datetime: "timestamptz",
}
# How DuckDB says on Linux and macOS, and on Windows, that another process has the file.
_BUSY = ("Conflicting lock", "being used by another process")
LEAST_FREE_BYTES = 4_000_000
"""Room without which DuckDB opens nothing to write."""
SET_ASIDE = "shop_records.set_aside"
LOST_CELLS = "shop_records.lost_cells"
PROVENANCE = {"source_file": "varchar not null", "source_row": "bigint not null"}


class WarehouseError(RuntimeError):
    """The warehouse cannot be used as it is; the message says what to do."""


class BusyError(WarehouseError):
    """Another command is at work on the warehouse."""


@dataclass(frozen=True)
class DuckDBWarehouse:
    """One shop's warehouse file."""

    database: str
    patience_s: float = 60.0  # a load of a season's files takes seconds

    @contextmanager
    def connect(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """A short connection, in UTC, with the schema brought up to date.

        While another command is at work on the warehouse this waits, up to `patience_s`.
        """
        con = opened(self.database, self.patience_s)
        try:
            con.execute("set timezone = 'UTC'")
            _bring_up_to_date(con)
            yield con
        finally:
            con.close()

    @contextmanager
    def reading(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """The same for commands that only look: nothing is written, the schema stays as it is.

        Raises:
            WarehouseError: there is no warehouse, or it cannot be opened.
        """
        if not Path(self.database).exists():
            raise WarehouseError(
                f"There is no warehouse {self.database}. Load some records, or run "
                f"'ringland rebuild' if raw/ holds any."
            )
        con = opened(self.database, self.patience_s, read_only=True)
        try:
            con.execute("set timezone = 'UTC'")
            yield con
        finally:
            con.close()

    def read(self, query: str, parameters: Sequence[object] = ()) -> pl.DataFrame:
        """The result of a query as a frame."""
        with self.connect() as con:
            return pl.DataFrame(con.sql(query, params=list(parameters)))

    def read_records(self) -> dict[str, pl.DataFrame]:
        """Every record table, rows in the order of their key."""
        with self.connect() as con:
            return {kind: record_rows(con, kind) for kind in ALL_KINDS}


def opened(
    database: str, patience_s: float, *, read_only: bool = False
) -> duckdb.DuckDBPyConnection:
    """A bare connection.

    Raises:
        BusyError: another command has used it for longer than `patience_s`.
        WarehouseError: the file is damaged, or this user may not open it.
    """
    give_up_at = time.monotonic() + patience_s
    while True:
        try:
            return duckdb.connect(database, read_only=read_only, config=_CONFIG)
        except duckdb.Error as error:
            is_busy = any(words in str(error) for words in _BUSY) or is_begun(Path(database))
            if is_busy and time.monotonic() < give_up_at:
                time.sleep(0.05)
                continue
            cannot = f"The warehouse {database} cannot be opened:"
            if is_busy:
                raise BusyError(
                    f"{cannot} another ringland command is using it. Wait until that is done. "
                    f"({error})"
                ) from error
            if barred := _barred(Path(database), read_only=read_only):
                raise WarehouseError(f"{cannot} {barred} ({error})") from error
            raise WarehouseError(
                f"{cannot} the file is damaged or no warehouse. Run 'ringland rebuild'. ({error})"
            ) from error


def _barred(database: Path, *, read_only: bool) -> str | None:
    """Why this user cannot open a warehouse that may be whole; None: nothing bars the way."""
    folder = database.parent
    if not folder.is_dir():
        return f"there is no folder {folder}."
    if database.exists() and not os.access(database, os.R_OK if read_only else os.R_OK | os.W_OK):
        return "you may not read and write the file. Have its owner allow it."
    if not read_only and not os.access(folder, os.W_OK):
        return f"you may not write in {folder}. Have its owner allow it, or move the home."
    if not read_only and shutil.disk_usage(folder).free < LEAST_FREE_BYTES:
        return f"the disk that holds {folder} is full. Make room on it and try again."
    return None


@contextmanager
def transaction(con: duckdb.DuckDBPyConnection) -> Iterator[None]:
    """All of it or none of it."""
    con.execute("begin")
    try:
        yield
    except BaseException:
        con.execute("rollback")
        raise
    con.execute("commit")


def insert(con: duckdb.DuckDBPyConnection, table: str, frame: pl.DataFrame) -> None:
    """Append a frame, columns matched by name."""
    with handed_over(con, incoming=frame):
        con.execute(f"insert into {table} by name select * from incoming")


@contextmanager
def handed_over(con: duckdb.DuckDBPyConnection, **frames: pl.DataFrame) -> Iterator[None]:
    """Frames as views of these names, for as long as the block lasts.

    As Parquet aside: DuckDB takes a frame itself only through pyarrow, 171 MB for nothing else.
    """
    with TemporaryDirectory(prefix="ringland-") as folder:
        for name, frame in frames.items():
            file = Path(folder) / f"{name}.parquet"
            frame.write_parquet(file, compression="uncompressed", statistics=False)
            con.execute(f"create temp view {name} as from read_parquet({_quoted(str(file))})")
        try:
            yield
        finally:
            for name in frames:
                con.execute(f"drop view temp.{name}")


def record_rows(con: duckdb.DuckDBPyConnection, kind: str) -> pl.DataFrame:
    """All loaded rows of a record kind with their provenance, in the order of their key."""
    table = f"shop_records.{kind}"
    ensure_table(con, table, ALL_KINDS[kind].schema, PROVENANCE)
    order = ", ".join(ALL_KINDS[kind].key)
    return pl.DataFrame(con.sql(f"select * from {table} order by {order}"))


def rows_met(con: duckdb.DuckDBPyConnection, kind: str, incoming: pl.DataFrame) -> pl.DataFrame:
    """The rows on record whose key an incoming row has; two nulls in a key are equal."""
    table = f"shop_records.{kind}"
    same_key = " and ".join(
        f"{table}.{name} is not distinct from incoming.{name}" for name in ALL_KINDS[kind].key
    )
    with handed_over(con, incoming=incoming.select(ALL_KINDS[kind].key)):
        return pl.DataFrame(con.sql(f"select * from {table} semi join incoming on {same_key}"))


def ensure_record_tables(con: duckdb.DuckDBPyConnection) -> None:
    """Make the table of every record kind and of the rows set aside, where they are missing."""
    there = _columns_there(con)
    for name, kind in ALL_KINDS.items():
        ensure_table(con, f"shop_records.{name}", kind.schema, PROVENANCE, there)
    ensure_table(con, SET_ASIDE, SetAside, {"content_sha256": "varchar not null"}, there)
    ensure_table(con, LOST_CELLS, LostCells, {"content_sha256": "varchar not null"}, there)


def _columns_there(con: duckdb.DuckDBPyConnection, name: str = "%") -> dict[str, dict[str, str]]:
    """The type of each column of each table, or of those of one name."""
    tables: dict[str, dict[str, str]] = {}
    for table, column, kind in con.sql(
        "select schema_name || '.' || table_name, column_name, data_type from duckdb_columns() "
        "where not internal and schema_name || '.' || table_name like ?",
        params=[name],
    ).fetchall():
        tables.setdefault(table, {})[column] = kind
    return tables


def ensure_table(
    con: duckdb.DuckDBPyConnection,
    table: str,
    schema: type[dy.Schema],
    extra: dict[str, str],
    there: dict[str, dict[str, str]] | None = None,
) -> None:
    """Make a contract's table with its column comments, or add the columns it lacks.

    `there` are the columns of the tables there are, where they were asked for already.

    Raises:
        WarehouseError: the table has a column the contract no longer knows, or of another type.
    """
    wanted = {name: _SQL_TYPES[type(column)] for name, column in schema.columns().items()} | extra
    present = (_columns_there(con, table) if there is None else there).get(table, {})
    if not present:
        columns = ", ".join(f'"{column}" {sql}' for column, sql in wanted.items())
        con.execute(f"create table {table} ({columns})")
    else:
        _check_columns(con, table, present, wanted)
    if set(wanted) != set(present):
        about = schema.__doc__ or ""
        con.execute(f"comment on table {table} is {_quoted(about.strip().splitlines()[0])}")
        for column, declared in schema.columns().items():
            if declared.description:
                con.execute(
                    f'comment on column {table}."{column}" is {_quoted(declared.description)}'
                )


def _check_columns(
    con: duckdb.DuckDBPyConnection, table: str, present: dict[str, str], wanted: dict[str, str]
) -> None:
    names = {"timestamp with time zone": "timestamptz"}
    for column, found in present.items():
        kind = names.get(found.lower(), found.lower())
        if column not in wanted or wanted[column].split()[0] != kind:
            raise WarehouseError(
                f"{table}.{column} ({found}) does not fit this version of ringland. "
                f"Run 'ringland rebuild'."
            )
    for column, sql in wanted.items():
        if column not in present:
            con.execute(f'alter table {table} add column "{column}" {sql.split()[0]}')


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def scripts() -> list[tuple[int, str]]:
    """The numbered scripts of `warehouse/` and their numbers, in order."""
    found = [
        (int(script.name[:4]), script.read_text(encoding="utf-8"))
        for script in files("warehouse").iterdir()
        if script.name.endswith(".sql")
    ]
    return sorted(found)


def copy_database(source: Path, target: Path) -> None:
    """Copy all of a warehouse, log included, into a new file; the source is only read."""
    con = duckdb.connect(config=_CONFIG)
    try:
        con.execute(f"attach {_quoted(str(source))} as source (read_only)")
        con.execute(f"attach {_quoted(str(target))} as target")
        con.execute("copy from database source to target")
        con.execute("detach target")
    finally:
        con.close()


def schema_version(con: duckdb.DuckDBPyConnection) -> int:
    """The number of the newest script that made this warehouse; 0: none did."""
    # fetchall, since a half-read result would own the connection
    return int(con.execute("select coalesce(max(version), 0) from schema_version").fetchall()[0][0])


def _bring_up_to_date(con: duckdb.DuckDBPyConnection) -> None:
    numbered = scripts()
    newest = numbered[-1][0]
    number = 0
    try:
        con.execute("create table if not exists schema_version (version integer not null)")
        version = schema_version(con)
        if version > newest:
            raise WarehouseError(
                f"The warehouse has schema version {version}; this ringland knows up to {newest}. "
                f"Install the newer ringland that wrote it."
            )
        for number, script in numbered:
            if number > version:
                with transaction(con):
                    con.execute(script)
                    con.execute("insert into schema_version values (?)", [number])
    except duckdb.Error as error:
        raise WarehouseError(
            f"The warehouse cannot be brought up to schema version {newest}: script {number:04} "
            f"does not fit what it holds. Run 'ringland rebuild'. ({error})"
        ) from error


def can_be_brought_up_to_date(
    database: Path, is_whole: Callable[[duckdb.DuckDBPyConnection], bool]
) -> bool:
    """Whether the scripts a warehouse lacks leave it whole; tried on a copy in memory."""
    con = duckdb.connect(config=_CONFIG)
    try:
        con.execute(f"attach {_quoted(str(database))} as source (read_only)")
        con.execute("copy from database source to memory")
        _bring_up_to_date(con)
        ensure_record_tables(con)
        return is_whole(con)
    except (duckdb.Error, WarehouseError):
        return False
    finally:
        con.close()


def warehouse_at(database: Path) -> DuckDBWarehouse:
    """The warehouse in this file."""
    return DuckDBWarehouse(database=str(database))
