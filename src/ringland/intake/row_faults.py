"""What is wrong with a typed row: its schema's rules, unknown references, repeated keys.

Each check hands back faults in the shape of `text_cast.FAULT_SCHEMA`, in sentences a
mechanic can act on.  A row may have several; a column is named once per row.
"""

from __future__ import annotations

import difflib
import types
from collections.abc import Collection, Mapping
from datetime import datetime
from functools import cache

import dataframely as dy
import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.written.raw_text import SOURCE_ROW
from ringland.intake.written.text_cast import FAULT_SCHEMA, faults, look
from ringland.words.doubt_words import NOTHING_TO_DO
from ringland.words.plain_words import sentence

_SHOWN_IDS = 5
_LONG_TABLE = 1_000_000  # hashing the keys of a shorter one takes less time than loading numba


def rule_faults(kind: RecordKind, typed: pl.DataFrame) -> pl.DataFrame:
    """Rows that break a rule of the kind's schema, by dataframely, in plain words.

    A rule over several columns is reported only where each of its columns is in order by
    itself: one slip of the pen gives one line.
    """
    if typed.is_empty():
        return pl.DataFrame(schema=FAULT_SCHEMA)
    schema = kind.schema
    failure = _with_row_number(schema).filter(typed).failure
    broken = failure.counts()
    if not broken:
        return pl.DataFrame(schema=FAULT_SCHEMA)
    details = failure.details()
    by_column, by_row = [], []
    # A figure that is not finite also lies beyond its bounds; the first line found is kept.
    for rule in sorted(broken, key=lambda rule: not rule.endswith(("|inf", "|nan"))):
        rows = details.filter(pl.col(rule) == "invalid")
        name, _, check = rule.partition("|")
        if check:
            by_column.append(_column_faults(schema, name, check, rows))
        else:
            by_row.append(_row_rule_faults(schema, name, rows))
    in_columns = pl.concat([pl.DataFrame(schema=FAULT_SCHEMA), *by_column]).unique(
        [SOURCE_ROW, "field"], keep="first", maintain_order=True
    )
    found = in_columns
    # The rule over fewest columns first: it names the slip most closely.
    for part, columns in sorted(by_row, key=lambda rule: len(rule[1])):
        named = [pl.col("field").str.split(", ").list.set_difference(columns).list.len() == 0]
        found = pl.concat([found, part.join(found.filter(named), on=SOURCE_ROW, how="anti")])
    return found


@cache
def _with_row_number(schema: type[dy.Schema]) -> type[dy.Schema]:
    return types.new_class(
        "WithRowNumber", (schema,), exec_body=lambda body: body.update({SOURCE_ROW: dy.Int64()})
    )


def all_rules_hold(kind: RecordKind, typed: pl.DataFrame) -> bool:
    """Whether `rule_faults` would find none: several times quicker to ask, and mostly so."""
    return typed.is_empty() or kind.schema.is_valid(typed.select(kind.schema.column_names()))


def _column_faults(
    schema: type[dy.Schema], name: str, check: str, rows: pl.DataFrame
) -> pl.DataFrame:
    column = schema.columns()[name]
    unit = str((column.metadata or {}).get("unit", ""))
    if check == "nullability":
        fault = pl.lit(f"{name} is empty.")
        remedy = f"Write it down: {column.description or name}."
    elif check in ("min", "max"):
        bound = getattr(column, check)
        limit = "must be at least" if check == "min" else "may be at most"
        value = shown(name, rows.schema[name])
        limit += f" {_limit(bound)} {unit}".rstrip()
        fault = sentence(f"{name} is {{}} but {limit}.", value)
        remedy = f"Check the figure{f' and its unit (expected: {unit})' if unit else ''}."
    elif check in ("inf", "nan"):
        fault = pl.lit(f"{name} is not a finite number.")
        remedy = "Write the figure, or leave it empty if it is not known."
    elif check == "check__allowed":
        fault = sentence(f"{name} is '{{}}', which is not one of the choices.", pl.col(name))
        remedy = f"Write one of: {', '.join((column.metadata or {})['allowed'])}."
    else:
        fault = pl.lit(f"{name} breaks the rule '{check}'.")
        remedy = f"It should be {column.description or name}."
    return faults(rows, name, fault, pl.lit(remedy))


def _row_rule_faults(
    schema: type[dy.Schema], rule: str, rows: pl.DataFrame
) -> tuple[pl.DataFrame, list[str]]:
    factory = getattr(schema, rule)
    used = factory.make(schema).expr.meta.root_names()
    columns = [name for name in schema.column_names() if name in used]
    words = (factory.validation_fn.__doc__ or rule.replace("_", " ")).strip().rstrip(".")
    found = faults(
        rows,
        ", ".join(columns),
        pl.lit(f"{words}."),
        pl.lit(f"Compare {' and '.join(columns)} with the paper record and put one right."),
    )
    values = [shown(name, rows.schema[name]) for name in columns]
    joined = rows.select(pl.concat_str(values, separator="; ").alias("value")).to_series()
    return found.with_columns(joined), columns


def shown(name: str, dtype: pl.DataType) -> pl.Expr:
    """A column's values as a user would write them; 'empty' for null."""
    if isinstance(dtype, pl.Datetime):  # not by way of Python, which ends with the year 9999
        text = pl.col(name).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
    elif dtype.is_numeric():
        text = pl.col(name).map_elements(_figure, return_dtype=pl.String)
    else:
        text = pl.col(name).cast(pl.String)
    return text.fill_null("empty")


def _figure(value: float) -> str:
    return f"{value:,.10g}" if isinstance(value, float) else f"{value:,}"


def _limit(bound: float | datetime) -> str:
    return f"{bound:%Y-%m-%d}" if isinstance(bound, datetime) else _figure(bound)


def reference_faults(
    kind: RecordKind, typed: pl.DataFrame, known: Mapping[str, Collection[str]]
) -> pl.DataFrame:
    """Rows that name a hull, engine or dock that is not on record; null names nothing."""
    found = [pl.DataFrame(schema=FAULT_SCHEMA)]
    for name, other in kind.refers_to.items():
        ids = pl.Series(sorted(known.get(other, ())), dtype=pl.String)
        named = typed[name].unique().drop_nulls()  # few, however many rows name them
        strange = named.filter(~named.is_in(ids.implode()))
        if strange.is_empty():
            continue
        rows = typed.filter(pl.col(name).is_in(strange.implode()))
        remedies = {
            unknown: _nearest(unknown, other, ids.to_list()) for unknown in rows[name].unique()
        }
        found.append(
            faults(
                rows,
                name,
                sentence(f"{name} '{{}}' is not on record among the {other}.", pl.col(name)),
                pl.col(name).replace_strict(remedies, return_dtype=pl.String),
            )
        )
    return pl.concat(found)


def _nearest(unknown: str, other: str, ids: list[str]) -> str:
    if not ids:
        return f"Load the {other} first; none are on record."
    alike = [known for known in ids if look(known) == look(unknown)]
    near = alike or difflib.get_close_matches(unknown, ids, n=1)
    if near:
        return f"Did you mean '{near[0]}'? Otherwise add '{unknown}' to the {other} first."
    listed = ", ".join(ids[:_SHOWN_IDS]) + (", ..." if len(ids) > _SHOWN_IDS else "")
    return f"Add it to the {other} first, or write one on record: {listed}."


def repeat_faults(kind: RecordKind, typed: pl.DataFrame) -> pl.DataFrame:
    """Rows whose key an earlier row has already; the earlier row stays.

    Two nulls in a key are equal.  A repeat that differs only in `recorded_at` says
    nothing new.
    """
    key = list(kind.key)
    if _has_rising_keys(kind, typed):
        return pl.DataFrame(schema=FAULT_SCHEMA)
    # Counting hashes is several times faster than comparing keys; a chance collision only
    # leads to the exact comparison below.
    if typed.select(pl.struct(key).hash()).to_series().n_unique() == typed.height:
        return pl.DataFrame(schema=FAULT_SCHEMA)
    repeated = typed.filter(pl.struct(key).is_duplicated())
    first = pl.all().first().over(key, mapping_strategy="group_to_rows")
    values = [name for name in kind.schema.column_names() if name not in (*key, "recorded_at")]
    earlier = repeated.select(first.name.suffix("_first"))
    repeated = pl.concat([repeated, earlier], how="horizontal").filter(
        pl.col(SOURCE_ROW) != pl.col(f"{SOURCE_ROW}_first")
    )
    return differences(repeated, key, values, "row {} of this file", f"{SOURCE_ROW}_first")


def _has_rising_keys(kind: RecordKind, typed: pl.DataFrame) -> bool:
    """Whether a long table is a log in order of time, as most are, and so repeats no key."""
    if typed.height < _LONG_TABLE or len(kind.key) != 2:
        return False
    names, instants = typed.select(kind.key)
    if names.dtype != pl.String or not isinstance(instants.dtype, pl.Datetime):
        return False
    from ringland.intake.key_order import rises_within  # noqa: PLC0415 - compiled

    return not (names.has_nulls() or instants.has_nulls()) and rises_within(names, instants)


def differences(
    rows: pl.DataFrame, key: list[str], values: list[str], place: str, place_column: str
) -> pl.DataFrame:
    """Faults of rows that repeat a key: the same again, or another value.

    `rows` hold the values of the earlier row in columns ending in '_first'; `place` says
    where the earlier row stands, with {} for `place_column`.
    """
    unlike = [
        pl.when(pl.col(name).ne_missing(pl.col(f"{name}_first"))).then(pl.lit(name))
        for name in values
    ]
    named = rows.with_columns(
        pl.concat_str(unlike or [pl.lit(None, pl.String)], separator=", ", ignore_nulls=True).alias(
            "_unlike"
        )
    )
    where = sentence(place, pl.col(place_column))
    same = pl.col("_unlike") == ""
    about = ", ".join(key)
    return faults(
        named,
        about,
        pl.when(same)
        .then(sentence("Same as {}.", where))
        .otherwise(sentence("Same " + about + " as {}, but another {}.", where, pl.col("_unlike"))),
        pl.when(same)
        .then(pl.lit(NOTHING_TO_DO))
        .otherwise(
            pl.lit(
                "The earlier row is kept. If this one is true, correct the earlier one in a "
                "file 'corrections'; then leave this one out."
            )
        ),
    ).with_columns(
        value=rows.select(
            pl.concat_str([shown(name, rows.schema[name]) for name in key], separator="; ")
        ).to_series()
    )
