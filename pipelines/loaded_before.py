"""What is known of a file that was loaded before, and whether to load it again can change it."""

import json
from importlib.metadata import version
from typing import NamedTuple

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import SET_ASIDE
from pipelines.raw_store import digest_of
from ringland.contracts.record_kinds import RecordKind
from ringland.intake.mapping.dock_clocks import DockClocks
from ringland.intake.written.raw_file import SOURCE_ROW


class EarlierLoad(NamedTuple):
    """What `shop_records.files` tells of the same bytes."""

    sha256: str
    rows_in: int
    rows_set_aside: int
    rows_mended: int
    read_by: str | None
    held_against: str | None

    def stays(self, read_by: str | None, held_against: str | None) -> bool:
        """Whether to load the file again, by this mapping and against these, changes nothing."""
        is_settled = self.rows_set_aside == 0 or self.held_against == held_against
        return is_settled and self.read_by == read_by


def earlier_load(
    con: duckdb.DuckDBPyConnection, kind: RecordKind, column: str, digest: str
) -> EarlierLoad | None:
    """The load of a file with this digest in this column; None if there was none."""
    found = con.execute(
        "select content_sha256, rows_in, rows_set_aside, rows_mended, mapping_sha256, held_against "
        f"from shop_records.files where kind = ? and {column} = ?",
        [kind.name, digest],
    ).fetchall()
    return EarlierLoad(*found[0]) if found else None


def held_against(known: dict[str, set[str]], clocks: DockClocks) -> str:
    """A hash of all that the fate of a row hangs on beside its file and mapping.

    That is the ids on record and, for local times, the docks' clocks, and this program.  A row
    that contradicts the record is not among it: it does so for good, the record being kept.
    """
    told = {
        "ringland": version("ringland"),
        "ids": {name: sorted(ids) for name, ids in known.items()},
        "clocks": [dict(clocks.zone_of_dock), dict(clocks.dock_of_hull)],
    }
    return digest_of(json.dumps(told, sort_keys=True).encode())


def rows_tried_again(
    con: duckdb.DuckDBPyConnection, kind: RecordKind, earlier: EarlierLoad | None
) -> pl.Series | None:
    """The rows of a file loaded before that were set aside, all others being on record.

    None where that cannot be said: every row is to be compared with the record then.
    """
    if earlier is None or earlier.read_by is not None or earlier.rows_mended:
        return None
    return rows_set_aside(con, kind, earlier.sha256)


def rows_set_aside(con: duckdb.DuckDBPyConnection, kind: RecordKind, sha256: str) -> pl.Series:
    """The source rows of a file loaded before that stand in the set-aside table."""
    rows = pl.DataFrame(
        con.sql(
            f"select distinct source_row from {SET_ASIDE} where content_sha256 = ? and kind = ?",
            params=[sha256, kind.name],
        )
    )
    return rows[SOURCE_ROW]
