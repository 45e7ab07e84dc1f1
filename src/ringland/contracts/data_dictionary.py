"""The data dictionary: every table and column with its meaning, made from the contracts."""

from __future__ import annotations

import html
from collections.abc import Iterator
from datetime import datetime

import dataframely as dy
import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS, RecordKind

_TYPES = {
    dy.String: "text",
    dy.Float64: "number",
    dy.Int64: "whole number",
    dy.Bool: "yes or no",
    dy.Datetime: "instant (UTC, or with its offset)",
}
_HEADINGS = ("column", "what it is", "type and unit", "may be", "empty?")


class DataDictionary(dy.Schema):
    """One row per column of a record kind."""

    kind = dy.String()
    column = dy.String()
    about = dy.String(description="what the column says")
    type = dy.String()
    unit = dy.String(nullable=True)
    allowed = dy.String(nullable=True, description="the choices or bounds, in words")
    may_be_empty = dy.Bool()
    is_in_key = dy.Bool(description="part of what tells two rows apart")
    refers_to = dy.String(nullable=True, description="the record kind that must hold the id")
    known_from = dy.Bool(description="the instant from which the row is known")


def data_dictionary() -> pl.DataFrame:
    """A `DataDictionary` of all record kinds, in the order of loading and of the contracts."""
    rows = [row for kind in ALL_KINDS.values() for row in _columns(kind)]
    return DataDictionary.validate(pl.DataFrame(rows, schema=DataDictionary.create_empty().schema))


def _columns(kind: RecordKind) -> Iterator[dict[str, object]]:
    for name, column in kind.schema.columns().items():
        yield {
            "kind": kind.name,
            "column": name,
            "about": column.description or "",
            "type": _TYPES[type(column)],
            "unit": (column.metadata or {}).get("unit"),
            "allowed": _allowed(column),
            "may_be_empty": column.nullable,
            "is_in_key": name in kind.key,
            "refers_to": kind.refers_to.get(name),
            "known_from": name == kind.event_time,
        }


def _allowed(column: dy.Column) -> str | None:
    if choices := (column.metadata or {}).get("allowed"):
        return ", ".join(choices)
    low, high = getattr(column, "min", None), getattr(column, "max", None)
    if low is None or high is None:
        return None
    return f"{_bound(low)} to {_bound(high)}"


def _bound(value: float | datetime) -> str:
    return f"{value:%Y-%m-%d}" if isinstance(value, datetime) else f"{value:,g}"


def row_rules(kind: RecordKind) -> list[str]:
    """What must hold between the columns of a row, as faults in words."""
    rules = []
    for name in dir(kind.schema):
        rule = getattr(kind.schema, name, None)
        words = getattr(getattr(rule, "validation_fn", None), "__doc__", None)
        if words:
            rules.append(" ".join(words.split()).rstrip(".") + ".")
    return rules


def dictionary_html() -> str:
    """The dictionary as an HTML fragment: one section per record kind, no script, no link out."""
    rows = data_dictionary().to_dicts()
    parts = [_section(kind, [r for r in rows if r["kind"] == kind.name]) for kind in _kinds()]
    contents = " · ".join(f'<a href="#{kind.name}">{kind.name}</a>' for kind in _kinds())
    return f"<p>{contents}</p>\n" + "\n".join(parts)


def _kinds() -> list[RecordKind]:
    return list(ALL_KINDS.values())


def _section(kind: RecordKind, rows: list[dict[str, object]]) -> str:
    about = html.escape(" ".join((kind.schema.__doc__ or "").split()))
    head = "".join(f"<th>{heading}</th>" for heading in _HEADINGS)
    body = "\n".join(_line(row) for row in rows)
    key = ", ".join(kind.key)
    notes = [f"Two rows are the same record if they agree in {key}."]
    notes += [f"A row is set aside if: {rule}" for rule in row_rules(kind)]
    said = "".join(f"<li>{html.escape(note)}</li>" for note in notes)
    return (
        f'<section id="{kind.name}"><h2>{kind.name}</h2><p>{about}</p>\n'
        f"<table><thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody></table>\n"
        f"<ul>{said}</ul></section>"
    )


def _line(row: dict[str, object]) -> str:
    kind_of_value = str(row["type"]) + (f", {row['unit']}" if row["unit"] else "")
    about = str(row["about"])
    if row["refers_to"]:
        about += f" (one of the {row['refers_to']})"
    if row["known_from"]:
        about += "; the row is known from then"
    cells = (about, kind_of_value, str(row["allowed"] or ""), "yes" if row["may_be_empty"] else "")
    name = html.escape(str(row["column"]))
    name = f"<strong>{name}</strong>" if row["is_in_key"] else name
    return f"<tr><td>{name}</td>{''.join(f'<td>{html.escape(cell)}</td>' for cell in cells)}</tr>"
