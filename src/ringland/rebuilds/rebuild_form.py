"""The build sheet as a spreadsheet that the intake loads.

One row per line of the sheet, in working order and in the BuildReadings contract, with the
check's words and the maker's limits beside it.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any, Protocol

import xlsxwriter

from ringland.bench.build_sheet import BuildSheet
from ringland.contracts.build_records import BuildReadings

_SHOWN = ("stage", "words", "limits")
"""Columns to read from, not part of the record; the intake says that it leaves them out."""
_TYPED = ("value", "unit", "answer", "reference_value", "barometer_kpa", "barometer_is", "method",
          "read_by", "waived_by", "waived_because", "read_at")  # fmt: skip
Filled = Mapping[tuple[str, str | None], Mapping[str, Any]]
"""What is already known of a line, by check and place."""


class EngineToAccept(Protocol):
    """A rebuild sheet, or the report that holds one."""

    @property
    def engine_id(self) -> str:
        """The engine's serial."""

    @property
    def build(self) -> BuildSheet:
        """What it must pass, line by line."""


def acceptance_workbook(sheet: EngineToAccept, filled: Filled | None = None) -> bytes:
    """The build sheet of one engine as an XLSX file.

    Args:
        sheet: the rebuild sheet whose lines are asked for.
        filled: cells to fill in beforehand, by check and place.
    """
    filled = filled or {}
    columns = [*_SHOWN, *BuildReadings.column_names()]
    at = {name: number for number, name in enumerate(columns)}
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False}) as book:
        book.set_properties({"created": datetime(2000, 1, 1, tzinfo=UTC)})  # same form, same bytes
        page = book.add_worksheet("build_readings")
        head = book.add_format({"bold": True, "bottom": 1, "bg_color": "#EEF2F3"})
        entry = book.add_format({"bg_color": "#FDF2D6"})
        for name, number in at.items():
            page.write_string(0, number, name, head)
        for number, line in enumerate(sheet.build.lines, start=1):
            known = filled.get((line.check.key, line.place), {})
            fixed = {
                "stage": line.check.stage,
                "words": line.check.words,
                "limits": line.target,
                "engine_id": sheet.engine_id,
                "line": line.check.key,
                "place": line.place,
            }
            for name, text in fixed.items():
                page.write(number, at[name], text)
            for name in _TYPED:
                usual = line.check.unit if name == "unit" else None
                page.write(number, at[name], known.get(name, usual), entry)
        last = len(sheet.build.lines)
        page.data_validation(
            1, at["barometer_is"], last, at["barometer_is"],
            {"validate": "list", "source": ["station", "sea_level"]},
        )  # fmt: skip
        page.set_column(0, len(columns) - 1, 16)
        page.set_column(at["words"], at["limits"], 40)
        page.freeze_panes(1, at["limits"])
    return out.getvalue()
