"""What was written down since an instant, in words: for the board, and beside a list that is older.

A list and its pages stay as they were given out.  What a record of late adds stands beside
them, and where an alert is more careful than the list, the alert holds.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from html import escape
from typing import Any

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RecordKind
from ringland.dockside.alerts import Alert
from ringland.dockside.forms import FORMS, LABELS, Form, words_of
from ringland.dockside.ground import Ground
from ringland.dockside.kept_parts import KeptParts
from ringland.dockside.roles import Scope
from ringland.history.known_then import known_at
from ringland.words.fixed_words import MEASURE_LABELS
from ringland.words.number_words import instant_text, known_text, quantity_text

SHOWN, FOLDED = 3, 40
"""So many records are told of beside a list, and so many more in a fold; the others are counted."""
_AS_OF = "The list and its pages are as of {at}."
_SINCE = "Since then:"
_OLDER = "This page is of an older list."
_NOTHING = "Nothing was written down since."
_MORE = "{count} more records"
_NOT_SHOWN = "and {count} before these"
_CAREFUL = "Do not rent"
_PLAIN = {"recorded_at", "source_file", "source_row"}


@dataclass(frozen=True)
class Told:
    """One thing written down: when it happened, of which hull or dock, and in words."""

    at: datetime
    hull_id: str | None
    dock_id: str | None
    words: str


def told_since(
    ground: Ground, since: datetime, now: datetime, kept: KeptParts | None = None
) -> list[Told]:
    """What became known after an instant, newest first, of all hulls and docks.

    Records of one kind, subject and time (a test's cylinders) are told of in one line.

    Args:
        ground: the records, those that wait among them.
        since: what was known by then is left out.
        now: what happens later is left out.
        kept: parts worked out before of records that may be the same; None: there are none.
    """
    hulls, kept = _hull_by_engine(ground), kept or KeptParts()

    def told(kind: RecordKind) -> list[Told]:
        rows = (ground.records if kind is CORRECTIONS else ground.entered)[kind.name]
        known = known_at(kind)
        return _of_kind(kind, rows.filter((known > since) & (known <= now)), hulls)

    found: list[Told] = []
    for kind in ALL_KINDS.values():
        if kind.event_time is None and kind is not CORRECTIONS:
            continue
        of_kind = partial(told, kind)
        found += kept.of(f"told; {kind.name}", ground, (kind.name, "installations"), now, of_kind)
    return sorted(found, key=lambda one: (one.at, one.words), reverse=True)


def is_in(one: Told, scope: Scope) -> bool:
    """Whether somebody with a scope may be told of it."""
    if one.hull_id is not None:
        return scope.holds("hulls", one.hull_id)
    if one.dock_id is not None:
        return scope.holds("docks", one.dock_id)
    return scope.sees_all


def _hull_by_engine(ground: Ground) -> dict[str, str]:
    last = ground.entered["installations"].sort("installed_at").unique("engine_id", keep="last")
    return dict(last.select("engine_id", "hull_id").iter_rows())


def _of_kind(kind: RecordKind, rows: pl.DataFrame, hulls: dict[str, str]) -> list[Told]:
    heads: dict[tuple[Any, ...], list[str]] = {}
    told = {name: column.metadata or {} for name, column in kind.schema.columns().items()}
    for row in rows.iter_rows(named=True):
        form = _form_of(kind, row)
        at = row[kind.event_time] if kind.event_time else row["recorded_at"]
        hull = row.get("hull_id") or hulls.get(row.get("engine_id") or "") or row.get("to_hull_id")
        if row.get("job_id"):
            hull = hull or row["job_id"].split("/")[0]
        if kind is CORRECTIONS:
            hull = _hull_of_correction(row, hulls)
        dock = row.get("dock_id") or row.get("source_dock_id")
        title = form.title if form else kind.name.replace("_", " ").capitalize()
        if row.get("measure") and form is None:
            title = MEASURE_LABELS[row["measure"]]
        details = _details(kind, form, row, told)
        heads.setdefault((at, hull, dock, title), []).append(details)
    return [
        Told(at, hull, dock, f"{title}, {instant_text(at)}: {'; '.join(filter(None, details))}")
        for (at, hull, dock, title), details in heads.items()
    ]


def _form_of(kind: RecordKind, row: dict[str, Any]) -> Form | None:
    for form in FORMS.values():
        if form.kind == kind.name and all(
            row.get(name) == cell for name, cell in form.given.items() if name != "state"
        ):
            return form
    return None


def _hull_of_correction(row: dict[str, Any], hulls: dict[str, str]) -> str | None:
    kind = ALL_KINDS.get(row["record_kind"])
    first = str(row["record_key"]).partition(";")[0].strip()
    if kind is None:
        return None
    return {"hull_id": first, "engine_id": hulls.get(first)}.get(kind.key[0])


def _details(
    kind: RecordKind, form: Form | None, row: dict[str, Any], told: Mapping[str, Any]
) -> str:
    """The cells that say what happened; beside whose and when, which the line says already."""
    shown = (*form.each, *form.read, *form.asked) if form else tuple(told)
    given = set(form.given) if form else set()
    names = [
        name
        for name in dict.fromkeys(shown)
        if name not in _PLAIN | given | {"hull_id", "dock_id", "engine_id", kind.event_time}
        and row.get(name) is not None
    ]
    cells = {name: _cell(name, row[name], told[name]) for name in names}
    if "value" in cells and "unit" in cells:
        cells["value"] = f"{cells['value']} {row['unit']}"
        del cells["unit"]
    return ", ".join(cells.values())


def _cell(name: str, value: Any, told: Any) -> str:
    label = LABELS.get(name) or name.removesuffix("_at").replace("_", " ").capitalize()
    label = label[0].lower() + label[1:]
    if isinstance(value, bool):
        return label if value else f"not {label}"
    if isinstance(value, datetime):
        return f"{label} {instant_text(value)}"
    if isinstance(value, float):
        unit = str(told.get("unit", ""))
        stored = unit if unit in ("l", "h", "mm", "l/h") else ""
        return f"{label} {quantity_text(value, stored, 1) if stored else f'{value:g}'}"
    if told.get("allowed"):
        return f"{label} {words_of(str(value)).lower()}"
    return f"{label} {value}"


def beside_the_list(
    as_of: datetime | None, told: Sequence[Told], alerts: Sequence[Alert], *, of_one_hull: bool
) -> str:
    """What stands beside a page of a list as HTML: what it does not know, the careful first.

    Args:
        as_of: up to when the list knew the records; None: there is a newer list.
        told: of the hulls that the page may show, newest first.
        alerts: that hold, of the same.
        of_one_hull: whether the page is one hull's, whose name need not be said.
    """
    is_off = "off" if alerts else "on"
    lines = [f"<p>{_OLDER}</p>"]
    if as_of is not None:
        says = _AS_OF.format(at=known_text(as_of))
        lines = [f"<p>{escape(says)} {_SINCE if told else _NOTHING}</p>"]
    careful = [_line(None if of_one_hull else one.hull_id, one.words) for one in reversed(alerts)]
    if careful:
        lines.insert(0, f"<p><strong>{_CAREFUL}</strong></p><ul>{''.join(careful)}</ul>")
    shown = [_line(None if of_one_hull else one.hull_id, one.words) for one in told]
    if shown:
        lines.append(f"<ul>{''.join(shown[:SHOWN])}</ul>")
    if more := shown[SHOWN:]:
        rest = len(more) - FOLDED
        more = more[:FOLDED] + ([f"<li>{_NOT_SHOWN.format(count=rest)}</li>"] if rest > 0 else [])
        says = _MORE.format(count=len(shown) - SHOWN)
        lines.append(f"<details><summary>{says}</summary><ul>{''.join(more)}</ul></details>")
    inside = "\n".join(lines)
    return f'<aside class="since {is_off}" aria-label="Since this list">\n{inside}\n</aside>\n'


def _line(hull: str | None, words: str) -> str:
    head = f"<strong>{escape(hull)}</strong>: " if hull else ""
    return f"<li>{head}{escape(words)}</li>"
