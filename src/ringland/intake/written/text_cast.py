"""Text to numbers, instants and yes/no, with the reason where that cannot be done.

A decimal comma, a unit behind the figure or an instant without time zone is never
guessed at: the cell is reported and its row set aside.
"""

from __future__ import annotations

from collections.abc import Callable

import dataframely as dy
import polars as pl

from ringland.intake.written.raw_text import SOURCE_ROW
from ringland.words.plain_words import sentence

FAULT_SCHEMA = {
    SOURCE_ROW: pl.Int64,
    "field": pl.String,
    "fault": pl.String,
    "remedy": pl.String,
    "value": pl.String,
}
"""One row per fault found: the row, the column, what is wrong, what to do, the text."""

YES_NO = {"yes": True, "true": True, "1": True, "no": False, "false": False, "0": False}
_USUAL_INSTANT = "%Y-%m-%dT%H:%M:%SZ"
# '%#z' takes Z, +02:00, +0200 and +02; tried only on cells the usual form does not fit
_OTHER_INSTANTS = ("%Y-%m-%dT%H:%M:%S%.f%#z", "%Y-%m-%dT%H:%M%#z")
_WITHOUT_ZONE = r"^\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?)?$"


def faults(rows: pl.DataFrame, field: str, fault: pl.Expr, remedy: pl.Expr) -> pl.DataFrame:
    """The fault table of these rows; `value` is the text of `field` where it is one column."""
    value = pl.col(field) if field in rows.columns else pl.lit(None, dtype=pl.String)
    return rows.select(
        pl.col(SOURCE_ROW),
        pl.lit(field).alias("field"),
        fault.alias("fault"),
        remedy.alias("remedy"),
        value.cast(pl.String).alias("value"),
    )


def cast_text(schema: type[dy.Schema], text: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The typed columns of `schema` with `source_row`, and the cells that could not be cast.

    Such a cell is null in the typed frame; so is a column the file does not have.
    """
    typed: list[pl.Series] = []
    found = [pl.DataFrame(schema=FAULT_SCHEMA)]
    for name, column in schema.columns().items():
        if name not in text.columns:
            typed.append(pl.Series(name, [], dtype=column.dtype).extend_constant(None, len(text)))
            continue
        cells = text[name]
        cast, explain = _way_to_cast(column)
        series = cast(cells)
        typed.append(series)
        if series.null_count() > cells.null_count():
            bad = text.filter(cells.is_not_null() & series.is_null())
            found.append(faults(bad, name, *explain(name)))
    return pl.DataFrame([*typed, text[SOURCE_ROW]]), pl.concat(found)


Caster = Callable[[pl.Series], pl.Series]
Explainer = Callable[[str], tuple[pl.Expr, pl.Expr]]


def _way_to_cast(column: dy.Column) -> tuple[Caster, Explainer]:
    if isinstance(column, dy.Datetime):
        return cast_instants, _not_an_instant
    if isinstance(column, dy.Bool):
        return _yes_no, _not_yes_or_no
    if isinstance(column, dy.Int64):
        return _whole_numbers, _not_a_whole_number
    if isinstance(column, dy.Float64):
        return _numbers, _not_a_number
    return _as_written, _not_a_number


def _as_written(cells: pl.Series) -> pl.Series:
    return cells


def _numbers(cells: pl.Series) -> pl.Series:
    return cells.cast(pl.Float64, strict=False)


def _whole_numbers(cells: pl.Series) -> pl.Series:
    numbers = _numbers(cells)  # a workbook writes a whole number as 4.0
    return numbers.set(numbers != numbers.floor(), None).cast(pl.Int64, strict=False)


def _yes_no(cells: pl.Series) -> pl.Series:
    return cells.str.to_lowercase().replace_strict(YES_NO, default=None, return_dtype=pl.Boolean)


def cast_instants(cells: pl.Series) -> pl.Series:
    """The instants of ISO 8601 texts with an offset; null where a cell is none."""
    instants = cells.str.to_datetime(_USUAL_INSTANT, strict=False, time_unit="us", cache=False)
    instants = instants.dt.replace_time_zone("UTC")
    left = cells.is_not_null() & instants.is_null()
    if not left.any():
        return instants
    others = cells.filter(left).str.replace(" ", "T", literal=True)
    parsed = pl.Series(others.name, [None] * len(others), dtype=instants.dtype)
    for form in _OTHER_INSTANTS:
        read = others.str.to_datetime(form, strict=False, time_unit="us", time_zone="UTC")
        parsed = parsed.fill_null(read)
    return instants.scatter(left.arg_true(), parsed)


def _cell(name: str) -> pl.Expr:
    return pl.col(name).str.slice(0, 60)  # a whole swallowed paragraph helps nobody


def _not_a_number(name: str) -> tuple[pl.Expr, pl.Expr]:
    return (
        sentence(f"{name} is '{{}}', which is not a number.", _cell(name)),
        pl.lit("Write the figure alone with a decimal point, e.g. 12.5; no unit, no comma."),
    )


def _not_a_whole_number(name: str) -> tuple[pl.Expr, pl.Expr]:
    return (
        sentence(f"{name} is '{{}}', which is not a whole number.", _cell(name)),
        pl.lit("Write a whole number in digits, e.g. 4."),
    )


def _not_yes_or_no(name: str) -> tuple[pl.Expr, pl.Expr]:
    return (
        sentence(f"{name} is '{{}}', which is neither yes nor no.", _cell(name)),
        pl.lit("Write yes or no; leave it empty if nobody wrote it down."),
    )


def _not_an_instant(name: str) -> tuple[pl.Expr, pl.Expr]:
    no_zone = pl.col(name).str.contains(_WITHOUT_ZONE)
    return (
        pl.when(no_zone)
        .then(sentence(f"{name} is '{{}}', which has no time zone.", _cell(name)))
        .otherwise(sentence(f"{name} is '{{}}', which is not an instant.", _cell(name))),
        pl.when(no_zone)
        .then(pl.lit("End it with Z for UTC, or with the offset, e.g. 2025-07-04T14:30:00-05:00."))
        .otherwise(pl.lit("Write date, time and offset, e.g. 2025-07-04T14:30:00-05:00.")),
    )


def look(text: str) -> str:
    """How an id looks in handwriting: 'H-0l' as 'H01'."""
    kept = "".join(letter for letter in text if letter.isalnum())
    return kept.replace("l", "I").upper().translate(str.maketrans("IOSBZ", "10582"))
