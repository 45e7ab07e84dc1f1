"""From a file's text to typed rows, and every other row set aside with fault and remedy.

The one promise of this module: rows in = rows loaded + rows set aside, checked on every
file.  Nothing is repaired and nothing dropped; a row is loaded whole or kept as text.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import polars as pl

from ringland.shop_records.plain_words import sentence
from ringland.shop_records.raw_text import SOURCE_ROW, RawFile, RecordFileError
from ringland.shop_records.record_kinds import RecordKind
from ringland.shop_records.row_faults import (
    all_rules_hold,
    differences,
    reference_faults,
    repeat_faults,
    rule_faults,
)
from ringland.shop_records.tables import SetAside
from ringland.shop_records.text_cast import cast_text

SOURCE_FILE = "source_file"
SOURCE = (SOURCE_FILE, SOURCE_ROW)
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
    notes = _column_notes(kind, raw)
    text = raw.frame
    typed, found = cast_text(kind.schema, text)
    if unreadable is not None:
        found = pl.concat([unreadable, _not_yet_named(found, unreadable)])
    good = _without(typed, found)
    if all_rules_hold(kind, good):  # then only rows already at fault may break one more
        doubtful = typed.filter(pl.col(SOURCE_ROW).is_in(found[SOURCE_ROW].unique().implode()))
    else:
        doubtful = typed
    later = pl.concat(
        [
            _not_yet_named(rule_faults(kind, doubtful), found),
            reference_faults(kind, typed, known),
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


def _column_notes(kind: RecordKind, raw: RawFile) -> tuple[str, ...]:
    columns = kind.schema.columns()
    missing = [name for name in columns if name not in raw.frame.columns]
    if needed := [name for name in missing if not columns[name].nullable]:
        raise RecordFileError(
            raw.file_name,
            f"The file lacks {', '.join(needed)}; it has "
            f"{', '.join(name for name in raw.frame.columns if name != SOURCE_ROW)}.",
            f"Add the missing columns, or load the file as another kind than {kind.name}.",
            row=1,
        )
    notes = [f"Column {name} is not in the file; taken as empty." for name in missing]
    unused = [name for name in raw.frame.columns if name not in columns and name != SOURCE_ROW]
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


def _set_aside(kind: RecordKind, raw: RawFile, found: pl.DataFrame) -> pl.DataFrame:
    faulty = raw.frame.join(found, on=SOURCE_ROW, how="semi")
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
        for name in sorted(set(found["field"].drop_nulls()) & set(raw.frame.columns))
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


class NewRows(NamedTuple):
    """Rows of a file against those on record: rows in = the sum of the three parts."""

    new: pl.DataFrame
    already_there: pl.DataFrame
    """The row on record says the same; or one of the two knows an end the other does not."""
    conflicts_set_aside: pl.DataFrame
    """A `SetAside`: same key, other values; the row on record stays."""


def split_new(kind: RecordKind, loaded: pl.DataFrame, already_loaded: pl.DataFrame) -> NewRows:
    """The rows not on record yet, apart from those that are and those that contradict it.

    Both frames are `Intake.loaded` of this kind.  Two nulls in a key are equal;
    `recorded_at` does not count as a difference.  A row whose end has come since (see
    `RecordKind.ends`) is already there; `now_ended` tells which.
    """
    new, met = _meet(kind, loaded, already_loaded)
    conflicts = met.filter(~_agrees(kind))
    parts = NewRows(
        new, met.filter(_agrees(kind)).select(loaded.columns), _conflicts(kind, conflicts)
    )
    if loaded.height != new.height + parts.already_there.height + conflicts.height:
        raise RowAccountError(f"{kind.name}: the rows new and on record do not add up.")
    return parts


def now_ended(kind: RecordKind, loaded: pl.DataFrame, already_loaded: pl.DataFrame) -> pl.DataFrame:
    """Rows on record without an end that have got one: put these in the place of those.

    `recorded_at` stays as on record: the row was known then, and its end is known from the
    end itself.
    """
    if not _told_later(kind):
        return loaded.clear()
    _, met = _meet(kind, loaded, already_loaded)
    got_end = pl.any_horizontal(
        pl.lit(value=False),
        *(
            pl.col(name).is_not_null() & pl.col(f"{name}_first").is_null()
            for name in _told_later(kind)
        ),
    )
    kept = [pl.coalesce(f"{name}_first", name).alias(name) for name in _told_later(kind)]
    return (
        met.filter(_agrees(kind) & got_end)
        .with_columns(*kept, recorded_at=pl.col("recorded_at_first"))
        .select(loaded.columns)
    )


def _meet(
    kind: RecordKind, loaded: pl.DataFrame, already_loaded: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame]:
    key = list(kind.key)
    first = {name: f"{name}_first" for name in already_loaded.columns if name not in key}
    held = already_loaded.rename(first)
    new = loaded.join(held, on=key, how="anti", nulls_equal=True, maintain_order="left")
    met = loaded.join(held, on=key, how="inner", nulls_equal=True, maintain_order="left")
    return new, met


def _values(kind: RecordKind) -> list[str]:
    return [name for name in kind.schema.column_names() if name not in (*kind.key, "recorded_at")]


def _told_later(kind: RecordKind) -> list[str]:
    return [*kind.ends, *kind.told_with]


def _agrees(kind: RecordKind) -> pl.Expr:
    """Whether two rows of one key say the same, but for an end that only one of them knows."""
    later = _told_later(kind)
    lasting = [_is_same(name) for name in _values(kind) if name not in later]
    ends = [
        _is_same(name) | pl.col(name).is_null() | pl.col(f"{name}_first").is_null()
        for name in later
    ]
    return pl.all_horizontal(pl.lit(value=True), *lasting, *ends)


def _is_same(name: str) -> pl.Expr:
    return pl.col(name).eq_missing(pl.col(f"{name}_first"))


def _conflicts(kind: RecordKind, rows: pl.DataFrame) -> pl.DataFrame:
    if rows.is_empty():
        return SetAside.create_empty()
    place = sentence("row {} of {}", f"{SOURCE_ROW}_first", f"{SOURCE_FILE}_first")
    found = differences(
        rows.with_columns(_place=place), list(kind.key), _values(kind), "{}", "_place"
    )
    written = [
        json.dumps(row, ensure_ascii=False, default=lambda instant: instant.isoformat())
        for row in rows.select(kind.schema.column_names()).to_dicts()
    ]
    found = found.with_columns(
        rows[SOURCE_FILE], kind=pl.lit(kind.name), raw_row=pl.Series(written, dtype=pl.String)
    )
    return SetAside.validate(found.select(SetAside.column_names()))
