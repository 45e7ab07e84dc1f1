"""What was taken in from one file into the tables, in one transaction."""

from dataclasses import dataclass

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import (
    LOST_CELLS,
    SET_ASIDE,
    ensure_record_tables,
    handed_over,
    insert,
    rows_met,
    transaction,
)
from ringland.contracts.record_kinds import RecordKind
from ringland.contracts.record_tables import LostCells
from ringland.history.corrections import with_corrections
from ringland.intake.intake import SOURCE_FILE, Intake
from ringland.intake.rows_on_record import now_ended, split_new
from ringland.intake.written.raw_file import SOURCE_ROW


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
    is_refused: bool = False
    """nothing of it could be loaded; the notes say why"""


@dataclass(frozen=True)
class Digests:
    """The hashes of a file and of the mapping it is read with."""

    content: str
    mapping: str | None = None
    quick: str | None = None
    """BLAKE3 of the content"""
    held_against: str | None = None
    """see `loaded_before.held_against`"""


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
        ended.append(now_ended(kind, rows, there))
        new, already_there, conflicts = split_new(kind, rows, there)
        already += already_there.height
        if conflicts.height and (corrected := _as_corrected(con, kind, there)) is not None:
            row = [SOURCE_FILE, SOURCE_ROW]
            others = rows.join(already_there, on=row, how="anti", maintain_order="left")
            new, already_there, conflicts = split_new(kind, others, corrected)
            already += already_there.height
        notes = [*notes, *_withdrawn_again(con, kind, there)]
        fresh.append(new)
        aside += [intake.set_aside, conflicts]
    mended = con.sql("select raw_row from shop_records.mended where kind = ?", params=[kind.name])
    all_aside = pl.concat(aside)
    still_aside = all_aside.join(
        pl.DataFrame(mended), on="raw_row", how="anti", maintain_order="left"
    )
    count = FileCount(
        kind.name,
        file_name,
        sum(intake.rows_in for intake in intakes),
        sum(new.height for new in fresh),
        already,
        _rows(still_aside),
        # sheets alike say the same
        " ".join(dict.fromkeys(n for n in [*notes, *(n for i in intakes for n in i.notes)] if n)),
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
        con.execute(
            f"delete from {LOST_CELLS} where content_sha256 = ? and kind = ?",
            [digests.content, kind.name],
        )
        lost = pl.concat([LostCells.create_empty(), *(intake.lost_cells for intake in intakes)])
        insert(con, LOST_CELLS, lost.with_columns(content_sha256=pl.lit(digests.content)))
        _write_count(con, count, digests)
        if replaced is not None:
            take_off_the_list(con, replaced)
    return count


def _as_corrected(
    con: duckdb.DuckDBPyConnection, kind: RecordKind, there: pl.DataFrame
) -> pl.DataFrame | None:
    """The rows on record with their cells put right; None: none was."""
    put_right = _corrections(con, kind, "corrected")
    return with_corrections({kind.name: there}, put_right)[kind.name] if len(put_right) else None


def _withdrawn_again(
    con: duckdb.DuckDBPyConnection, kind: RecordKind, there: pl.DataFrame
) -> list[str]:
    """A note where rows of a file are of records that were withdrawn."""
    withdrawn = _corrections(con, kind, "withdrawn")
    if withdrawn.is_empty() or there.is_empty():
        return []
    left = with_corrections({kind.name: there}, withdrawn)[kind.name].height
    if left == there.height:
        return []
    return [f"Of records that were withdrawn, and stay so: {there.height - left}."]


def _corrections(con: duckdb.DuckDBPyConnection, kind: RecordKind, change: str) -> pl.DataFrame:
    return pl.DataFrame(
        con.sql(
            "select * from shop_records.corrections where record_kind = ? and change = ?",
            params=[kind.name, change],
        )
    )


def take_off_the_list(con: duckdb.DuckDBPyConnection, mended: pl.DataFrame) -> None:
    """Note rows as mended, take them out of the set-aside table and count them so."""
    insert(con, "shop_records.mended", mended)
    with handed_over(con, gone=mended):
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
    same_key = " and ".join(
        f"{table}.{name} is not distinct from ended.{name}" for name in kind.key
    )
    with handed_over(con, ended=rows):
        con.execute(f"delete from {table} using ended where {same_key}")
    insert(con, table, rows)
