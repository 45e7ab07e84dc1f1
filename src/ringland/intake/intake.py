"""From a file's text to typed rows, and every other row set aside with fault and remedy.

The one promise of this module: rows in = rows loaded + rows set aside, checked on every
file.  Nothing is repaired and nothing dropped; a row is loaded whole or kept as text.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, NamedTuple

import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.aside_rows import lost_cells, set_aside_rows
from ringland.intake.fill_parts import parts_apart, refund_faults
from ringland.intake.mapping.dock_clocks import NO_CLOCKS, DockClocks, with_local_instants
from ringland.intake.optional_cells import only_cells_lost, without_strange_words
from ringland.intake.row_faults import (
    all_rules_hold,
    reference_faults,
    repeat_faults,
    rule_faults,
)
from ringland.intake.written.raw_file import Content
from ringland.intake.written.raw_text import SOURCE_ROW, RawFile, RecordFileError, read_raw
from ringland.intake.written.sheet_tables import tables_apart
from ringland.intake.written.text_cast import cast_text

if TYPE_CHECKING:
    from ringland.intake.written.plain_csv import PlainCsv

SOURCE_FILE = "source_file"
# Smaller files are read on the careful road in less time than the compiled code takes to load.
_LARGE_BYTES = 1 << 24


class RowAccountError(RuntimeError):
    """Rows in are not rows loaded plus rows set aside: a fault of the program, not the file."""


@dataclass(frozen=True)
class Intake:
    """What became of one file.

    `loaded` holds the contract's columns with `source_file` and `source_row`; `set_aside`
    is a `SetAside`; `lost_cells` is a `LostCells` of rows that are loaded; `notes` are
    sentences about the file as a whole.
    """

    kind: str
    source_file: str
    rows_in: int
    loaded: pl.DataFrame
    set_aside: pl.DataFrame
    notes: tuple[str, ...]
    lost_cells: pl.DataFrame

    @property
    def rows_loaded(self) -> int:
        """Rows that came in typed."""
        return self.loaded.height

    @property
    def rows_set_aside(self) -> int:
        """Rows kept as text; a row with two faults counts once."""
        return self.set_aside[SOURCE_ROW].n_unique()


def take_in(
    kind: RecordKind,
    raw: RawFile,
    known: Mapping[str, Collection[str]],
    unreadable: pl.DataFrame | None = None,
    clocks: DockClocks = NO_CLOCKS,
) -> Intake:
    """The rows of one file, typed and checked, and those set aside with reasons.

    Args:
        kind: what the file holds.
        raw: the file as text.
        known: ids on record by record kind, e.g. {"hulls": ["H01", "H02"]}; a kind that is
            not named has none.
        unreadable: cells that a mapping could not read, as `text_cast.FAULT_SCHEMA`; their
            rows are set aside with these reasons.
        clocks: by which instants without an offset are read; none: they are faults.

    Raises:
        RecordFileError: a column that may not be empty is missing from the file.
        RowAccountError: the row account does not close.
    """
    return _judged(kind, raw, known, _cast(kind, raw.frame, clocks, unreadable))


def _cast(
    kind: RecordKind,
    text: pl.DataFrame,
    clocks: DockClocks,
    unreadable: pl.DataFrame | None = None,
) -> _Cast:
    text, unread = with_local_instants(kind.schema, text, clocks)
    if unreadable is not None:
        unread = pl.concat([unreadable, unread])
    typed, found = cast_text(kind.schema, text)
    found = pl.concat([unread, _not_yet_named(found, unread)])
    return _Cast(_without(typed, found), _named_in(typed, found), found)


def take_in_file(
    kind: RecordKind,
    file_name: str,
    content: Content,
    known: Mapping[str, Collection[str]],
    clocks: DockClocks = NO_CLOCKS,
) -> Intake:
    """`take_in` of one table in the contract's own form; the same, sooner where it is large.

    The rows of a second table below it are set aside.

    Args:
        kind: what the file holds.
        file_name: for messages.
        content: its bytes, which may be those of a mapped file.
        known: as for `take_in`.
        clocks: as for `take_in`.

    Raises:
        RecordFileError: it cannot be read at all, or lacks a column that may not be empty.
        RowAccountError: the row account does not close.
    """
    plain = None
    if len(content) >= _LARGE_BYTES:
        from ringland.intake.written.plain_csv import read_plain_csv  # noqa: PLC0415 - compiled

        plain = read_plain_csv(kind.schema, file_name, content)
    if plain is None or tables_apart(plain.others).is_more_than_one:
        return take_in_table(kind, read_raw(file_name, content[:]), known, clocks)
    return take_in_plain(kind, plain, known, clocks)


def take_in_table(
    kind: RecordKind,
    raw: RawFile,
    known: Mapping[str, Collection[str]],
    clocks: DockClocks = NO_CLOCKS,
) -> Intake:
    """`take_in` of the first table of a file or sheet; the rows of a second are set aside."""
    apart = tables_apart(raw)
    intake = take_in(kind, apart.raw, known, clocks=clocks)
    return replace(intake, notes=(*intake.notes, *apart.notes))


def take_in_plain(
    kind: RecordKind,
    plain: PlainCsv,
    known: Mapping[str, Collection[str]],
    clocks: DockClocks = NO_CLOCKS,
) -> Intake:
    """`take_in` of a file that was read typed already, but for some of its lines."""
    others = _cast(kind, plain.others.frame, clocks)
    good = plain.typed
    if not others.good.is_empty():
        good = good.lazy().merge_sorted(others.good.lazy(), key=SOURCE_ROW).collect()
    return _judged(kind, plain, known, others._replace(good=good))


class _Cast(NamedTuple):
    """Typed rows by whether every cell of theirs could be cast, and the faults of the others."""

    good: pl.DataFrame
    doubtful: pl.DataFrame
    found: pl.DataFrame


def _judged(
    kind: RecordKind, raw: RawFile | PlainCsv, known: Mapping[str, Collection[str]], cast: _Cast
) -> Intake:
    """What becomes of rows whose cells have been cast."""
    notes = _column_notes(kind, raw)
    good, doubtful, found = _with_words_and_refunds(kind, cast)
    # Only if all rules hold for good rows it is the doubtful ones alone that may break one more.
    suspects = doubtful if all_rules_hold(kind, good) else pl.concat([good, doubtful])
    later = pl.concat(
        [
            _not_yet_named(rule_faults(kind, suspects), found),
            reference_faults(kind, good, known),
            reference_faults(kind, doubtful, known),
        ]
    )
    # A row that lost no more than cells it can do without is loaded, unless a rule needs them.
    cells = only_cells_lost(kind, found)
    if not cells.is_empty():
        cells = _without(cells, rule_faults(kind, _named_in(doubtful, cells)))
        cells = _without(cells, later)
    whole = _named_in(doubtful, cells)
    found = pl.concat([_without(found, cells), later])
    good = _without(good, later)
    if not whole.is_empty():
        good = pl.concat([good, whole]).sort(SOURCE_ROW)
    good, parts = parts_apart(kind, good)
    if parts:
        notes = (*notes, f"Fills in parts of one minute, kept a second apart: {parts}.")
    repeats = repeat_faults(kind, good)
    good = _without(good, repeats)
    intake = Intake(
        kind.name,
        raw.file_name,
        raw.rows_in,
        _with_source(kind, good, raw.file_name),
        set_aside_rows(kind, raw, pl.concat([found, repeats])),
        notes,
        lost_cells(kind, raw, good, _without(cells, repeats)),
    )
    _close_account(intake)
    return intake


def _with_words_and_refunds(kind: RecordKind, cast: _Cast) -> _Cast:
    """The same with strange words in optional cells, and refunds, among the faults."""
    good, strange = without_strange_words(kind, cast.good)
    doubtful, more = without_strange_words(kind, cast.doubtful)
    named = pl.concat([cast.found, strange, more])
    refunds = _not_yet_named(refund_faults(kind, good, doubtful), named)
    new = pl.concat([strange, refunds])
    doubtful = pl.concat([doubtful, _named_in(good, new)]).sort(SOURCE_ROW)
    return _Cast(_without(good, new), doubtful, pl.concat([named, refunds]))


def _without(rows: pl.DataFrame, found: pl.DataFrame) -> pl.DataFrame:
    """The rows no fault was found in."""
    if found.is_empty():
        return rows
    return rows.filter(~pl.col(SOURCE_ROW).is_in(found[SOURCE_ROW].unique().implode()))


def _named_in(rows: pl.DataFrame, found: pl.DataFrame) -> pl.DataFrame:
    """The rows some fault was found in."""
    if found.is_empty():
        return rows.clear()
    return rows.filter(pl.col(SOURCE_ROW).is_in(found[SOURCE_ROW].unique().implode()))


def _column_notes(kind: RecordKind, raw: RawFile | PlainCsv) -> tuple[str, ...]:
    columns = kind.schema.columns()
    missing = [name for name in columns if name not in raw.columns]
    if needed := [name for name in missing if not columns[name].nullable]:
        raise RecordFileError(
            raw.file_name,
            f"The file lacks {', '.join(needed)}; it has {', '.join(raw.columns)}.",
            f"Add the missing columns, or load the file as another kind than {kind.name}.",
            row=1,
        )
    notes = [f"Not in the file, so empty: {', '.join(missing)}."] if missing else []
    unused = [name for name in raw.columns if name not in columns]
    if unused:
        notes.append(f"Columns not used: {', '.join(unused)}.")
    if raw.blank_rows:
        notes.append(f"Rows without any value passed over: {raw.blank_rows}.")
    return tuple(notes)


def _not_yet_named(later: pl.DataFrame, earlier: pl.DataFrame) -> pl.DataFrame:
    """Later faults less those that name a cell already reported, which is null since its cast.

    A rule over several columns is not judged where one of them could not be read.
    """
    if later.is_empty() or earlier.is_empty():
        return later
    cells = later.select(
        SOURCE_ROW, pl.col("field").str.split(", "), _at=pl.int_range(pl.len())
    ).explode("field")
    named = cells.join(earlier, on=[SOURCE_ROW, "field"], how="semi")["_at"]
    return later.filter(~pl.int_range(pl.len()).is_in(named.implode()))


def _with_source(kind: RecordKind, rows: pl.DataFrame, source_file: str) -> pl.DataFrame:
    return rows.select(
        *kind.schema.column_names(), pl.lit(source_file).alias(SOURCE_FILE), SOURCE_ROW
    )


def _close_account(intake: Intake) -> None:
    if intake.rows_in != intake.rows_loaded + intake.rows_set_aside:
        raise RowAccountError(
            f"{intake.source_file}: {intake.rows_in} rows in, {intake.rows_loaded} loaded, "
            f"{intake.rows_set_aside} set aside. Nothing of the file was loaded; "
            f"please report this file."
        )
