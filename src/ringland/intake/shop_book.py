"""An empty workbook for a shop that keeps no records yet: a sheet for each kind of record.

Every sheet, heading, unit and choice comes from the contracts, so a kind that is added gets its
sheet by itself.  The book loads as it is: its headings are the contract's columns with their
unit, its times are by the dock's clock, and an empty sheet is no record.
"""

from __future__ import annotations

import io
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime

import dataframely as dy
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name
from xlsxwriter.worksheet import Worksheet

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.written.book_headings import HELP_SHEET, LISTS_SHEET, heading

_ROWS = 2000
_NO_DATE = datetime(2000, 1, 1)  # a workbook's own date would change its bytes with the day
_US = {"l": "US gal", "money/l": "money/US gal", "l/h": "US gal/h", "m": "ft"}
UNITS = {"metric": dict[str, str](), "us": _US}
"""The unit of the book for a unit of the contract, by the shop's system of units."""
_Words = Sequence[str | float]
_OCTANES = ("octane_aki", "octane_ron", "octane_mon", "octane_unlabelled")
_HELP = (
    "Each sheet holds one kind of record, one record a row. Leave a sheet empty if you keep none.",
    "Times are by the clock of the dock, e.g. 2025-07-04 14:30. Figures are in the unit above.",
    "Red headings must be filled. A cell with a list takes one of its words.",
    "Fill docks first, then hulls and engines: later sheets name them. Save, then load the book:",
    "ringland load FOLDER",
    "Load the same book again whenever rows were added; rows that are on record count once.",
)


def shop_workbook(
    ids: Mapping[str, Collection[str]], octanes: Collection[float], units: Mapping[str, str]
) -> bytes:
    """The workbook (.xlsx); the same shop gives the same bytes.

    Args:
        ids: the ids on record by kind, for the lists of hulls, docks and engines.
        octanes: the octane numbers the shop has met, for the lists of grades.
        units: unit of the contract -> unit of the book, one of `UNITS`.
    """
    content = io.BytesIO()
    book = xlsxwriter.Workbook(content, {"in_memory": True, "strings_to_formulas": False})
    book.set_properties({"created": _NO_DATE})
    page = book.add_worksheet(HELP_SHEET)
    page.set_column(0, 0, 110)
    for number, line in enumerate(_HELP):
        page.write_string(number, 0, line)
    formats = {
        "needed": book.add_format({"bold": True, "bottom": 1, "font_color": "#9c0006"}),
        "other": book.add_format({"bold": True, "bottom": 1}),
        "time": book.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
        "text": book.add_format({"num_format": "@"}),
    }
    sheets = {name: book.add_worksheet(name) for name in RECORD_KINDS}
    lists = _Lists(book.add_worksheet(LISTS_SHEET))
    for name, kind in RECORD_KINDS.items():
        sheets[name].freeze_panes(1, 0)
        for at, (column, spec) in enumerate(kind.schema.columns().items()):
            unit = units.get(str((spec.metadata or {}).get("unit", "")))
            needed = "other" if spec.nullable else "needed"
            said = heading(column, spec, unit)
            sheets[name].write_string(0, at, said, formats[needed])
            sheets[name].write_comment(0, at, spec.description or column)
            form = formats["time"] if isinstance(spec, dy.Datetime) else None
            form = formats["text"] if isinstance(spec, dy.String) else form
            sheets[name].set_column(at, at, max(12, len(said) + 2), form)
            _offer(sheets[name], at, _choices(kind, column, spec, ids, octanes), lists)
    lists.sheet.hide()
    sheets["docks"].activate()
    book.close()
    return content.getvalue()


def _choices(
    kind: RecordKind,
    column: str,
    spec: dy.Column,
    ids: Mapping[str, Collection[str]],
    octanes: Collection[float],
) -> tuple[_Words, bool]:
    """The words a cell may hold, and whether no other is taken."""
    if allowed := (spec.metadata or {}).get("allowed"):
        return list(allowed), True
    if isinstance(spec, dy.Bool):
        return ["yes", "no"], True
    if column in kind.refers_to:
        return sorted(ids.get(kind.refers_to[column], ())), False
    if column in _OCTANES:
        return sorted({float(octane) for octane in octanes}), False
    return [], False


class _Lists:
    """The hidden sheet that holds the words of the lists, one list a column."""

    def __init__(self, sheet: Worksheet) -> None:
        self.sheet = sheet
        self.places: dict[tuple[str | float, ...], str] = {}

    def place(self, words: _Words) -> str:
        """The range that holds these words."""
        key = tuple(words)
        if key not in self.places:
            at = len(self.places)
            for row, word in enumerate(words):
                if isinstance(word, float):  # a number in the list fits a number in the cell
                    self.sheet.write_number(row, at, word)
                else:
                    self.sheet.write_string(row, at, word)
            letters = xl_col_to_name(at, col_abs=True)
            self.places[key] = f"='{LISTS_SHEET}'!{letters}$1:{letters}${len(words)}"
        return self.places[key]


def _offer(sheet: Worksheet, at: int, choices: tuple[_Words, bool], lists: _Lists) -> None:
    words, is_closed = choices
    if not words:
        return
    rule = {
        "validate": "list",
        "source": lists.place(words),
        "error_type": "stop" if is_closed else "information",
        "error_title": "Not in the list",
        "error_message": "One of the list's words."
        if is_closed
        else "Not on record yet. Look whether it is written rightly.",
    }
    sheet.data_validation(1, at, _ROWS, at, rule)
