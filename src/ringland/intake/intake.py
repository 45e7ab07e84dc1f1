"""From a file's text to typed rows, and every other row set aside with fault and remedy.

The one promise of this module: rows in = rows loaded + rows set aside, checked on every
file.  Nothing is repaired and nothing dropped; a row is loaded whole or kept as text.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.contracts.record_tables import SetAside
from ringland.intake.raw_file import Content
from ringland.intake.raw_text import SOURCE_ROW, RawFile, RecordFileError, read_raw
from ringland.intake.row_faults import (
    all_rules_hold,
    reference_faults,
    repeat_faults,
    rule_faults,
)
from ringland.intake.text_cast import cast_text

if TYPE_CHECKING:
    from ringland.intake.plain_csv import PlainCsv

SOURCE_FILE = "source_file"
# Smaller files are read on the careful road in less time than the compiled code takes to load.
_LARGE_BYTES = 1 << 24
_WRITTEN = {SOURCE_ROW: pl.Int64, "field": pl.String, "written": pl.String}


class RowAccountError(RuntimeError):
    """Rows in are not rows loaded plus rows set aside: a fault of the program, not the file."""


@dataclass(frozen=True)
class Intake:
    """What became of one file.

    `loaded` holds the contract's columns with `source_file` and `source_row`; `set_aside`
    is a `SetAside`; `notes` are sentences about the file as a whole.
    """

    kind: str
    source_file: str
    rows_in: int
    loaded: pl.DataFrame
    set_aside: pl.DataFrame
    notes: tuple[str, ...]

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
) -> Intake:
    """The rows of one file, typed and checked, and those set aside with reasons.

    Args:
        kind: what the file holds.
        raw: the file as text.
        known: ids on record by record kind, e.g. {"hulls": ["H01", "H02"]}; a kind that is
            not named has none.
        unreadable: cells that a mapping could not read, as `text_cast.FAULT_SCHEMA`; their
            rows are set aside with these reasons.

    Raises:
        RecordFileError: a column that may not be empty is missing from the file.
        RowAccountError: the row account does not close.
    """
    typed, found = cast_text(kind.schema, raw.frame)
    if unreadable is not None:
        found = pl.concat([unreadable, _not_yet_named(found, unreadable)])
    return _judged(kind, raw, known, _parted(typed, found))


def take_in_file(
    kind: RecordKind, file_name: str, content: Content, known: Mapping[str, Collection[str]]
) -> Intake:
    """`take_in` of a file in the contract's own form; the same, sooner where it is large.

    Args:
        kind: what the file holds.
        file_name: for messages.
        content: its bytes, which may be those of a mapped file.
        known: as for `take_in`.

    Raises:
        RecordFileError: it cannot be read at all, or lacks a column that may not be empty.
        RowAccountError: the row account does not close.
    """
    plain = None
    if len(content) >= _LARGE_BYTES:
        from ringland.intake.plain_csv import read_plain_csv  # noqa: PLC0415 - compiled

        plain = read_plain_csv(kind.schema, file_name, content)
    if plain is None:
        return take_in(kind, read_raw(file_name, content[:]), known)
    return take_in_plain(kind, plain, known)


def take_in_plain(
    kind: RecordKind, plain: PlainCsv, known: Mapping[str, Collection[str]]
) -> Intake:
    """`take_in` of a file that was read typed already, but for some of its lines."""
    others = _parted(*cast_text(kind.schema, plain.others.frame))
    good = plain.typed
    if not others.good.is_empty():
        good = good.lazy().merge_sorted(others.good.lazy(), key=SOURCE_ROW).collect()
    return _judged(kind, plain, known, others._replace(good=good))


class _Cast(NamedTuple):
    """Typed rows by whether every cell of theirs could be cast, and the faults of the others."""

    good: pl.DataFrame
    doubtful: pl.DataFrame
    found: pl.DataFrame


def _parted(typed: pl.DataFrame, found: pl.DataFrame) -> _Cast:
    return _Cast(_without(typed, found), _named_in(typed, found), found)


def _judged(
    kind: RecordKind, raw: RawFile | PlainCsv, known: Mapping[str, Collection[str]], cast: _Cast
) -> Intake:
    """What becomes of rows whose cells have been cast."""
    notes = _column_notes(kind, raw)
    good, doubtful, found = cast
    # Only if all rules hold for good rows it is the doubtful ones alone that may break one more.
    suspects = doubtful if all_rules_hold(kind, good) else pl.concat([good, doubtful])
    later = pl.concat(
        [
            _not_yet_named(rule_faults(kind, suspects), found),
            reference_faults(kind, good, known),
            reference_faults(kind, doubtful, known),
        ]
    )
    found = pl.concat([found, later])
    good = _without(good, later)
    repeats = repeat_faults(kind, good)
    good = _without(good, repeats)
    intake = Intake(
        kind.name,
        raw.file_name,
        raw.rows_in,
        _with_source(kind, good, raw.file_name),
        _set_aside(kind, raw, pl.concat([found, repeats])),
        notes,
    )
    _close_account(intake)
    return intake


def _without(rows: pl.DataFrame, found: pl.DataFrame) -> pl.DataFrame:
    """The rows no fault was found in."""
    if found.is_empty():
        return rows
    return rows.filter(~pl.col(SOURCE_ROW).is_in(found[SOURCE_ROW].unique().implode()))


def _named_in(rows: pl.DataFrame, found: pl.DataFrame) -> pl.DataFrame:
    """The rows some fault was found in."""
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
    notes = [f"Column {name} is not in the file; taken as empty." for name in missing]
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
    cells = later.select(
        SOURCE_ROW, pl.col("field").str.split(", "), _at=pl.int_range(pl.len())
    ).explode("field")
    named = cells.join(earlier, on=[SOURCE_ROW, "field"], how="semi")["_at"]
    return later.filter(~pl.int_range(pl.len()).is_in(named.implode()))


def _with_source(kind: RecordKind, rows: pl.DataFrame, source_file: str) -> pl.DataFrame:
    return rows.select(
        *kind.schema.column_names(), pl.lit(source_file).alias(SOURCE_FILE), SOURCE_ROW
    )


def _set_aside(kind: RecordKind, raw: RawFile | PlainCsv, found: pl.DataFrame) -> pl.DataFrame:
    faulty = raw.text_of(found[SOURCE_ROW])
    raw_rows = pl.DataFrame(
        {
            SOURCE_ROW: faulty[SOURCE_ROW],
            "raw_row": [
                json.dumps(row, ensure_ascii=False) for row in faulty.drop(SOURCE_ROW).to_dicts()
            ],
        },
        schema={SOURCE_ROW: pl.Int64, "raw_row": pl.String},
    )
    # The cell as it was written says more than the figure it was read as.
    # Column by column, since a file may itself have columns called 'field' or 'value'.
    cells = [
        faulty.select(SOURCE_ROW, pl.lit(name).alias("field"), pl.col(name).alias("written"))
        for name in sorted(set(found["field"].drop_nulls()) & set(raw.columns))
    ]
    written = pl.concat([pl.DataFrame(schema=_WRITTEN), *cells])
    found = found.join(
        written, on=[SOURCE_ROW, "field"], how="left", maintain_order="left"
    ).with_columns(value=pl.coalesce("written", "value"))
    torn = raw.torn.with_columns(field=pl.lit(None, pl.String), value=pl.lit(None, pl.String))
    rows = pl.concat([found.join(raw_rows, on=SOURCE_ROW, how="left"), torn], how="diagonal")
    rows = rows.sort(SOURCE_ROW, maintain_order=True).with_columns(
        kind=pl.lit(kind.name), source_file=pl.lit(raw.file_name)
    )
    return SetAside.validate(rows.select(SetAside.column_names()))


def _close_account(intake: Intake) -> None:
    if intake.rows_in != intake.rows_loaded + intake.rows_set_aside:
        raise RowAccountError(
            f"{intake.source_file}: {intake.rows_in} rows in, {intake.rows_loaded} loaded, "
            f"{intake.rows_set_aside} set aside. Nothing of the file was loaded; "
            f"please report this file."
        )
