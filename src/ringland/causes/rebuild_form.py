"""The acceptance readings of a rebuild as a spreadsheet that the intake loads.

One row per reading of the rebuild sheet, in the Inspections contract, with target and
limit beside it.  A row without a value says 'not_looked_at' by itself.
"""

from __future__ import annotations

import io
from datetime import UTC, datetime

import xlsxwriter
from xlsxwriter.utility import xl_rowcol_to_cell

from ringland.causes.rebuild_scope import RebuildSheet
from ringland.contracts.records import Inspections

UNITS = {
    "valve_seal_vacuum": "inHg",
    "ring_end_gap": "mm",
    "bore_taper": "mm",
    "deck_flatness": "mm",
    "bearing_clearance": "mm",
    "compression": "psi",
    "leak_down": "%",
}
"""The unit offered for each reading; the mechanic may write another."""

_SHOWN = ("target", "limit")
"""Columns to read from, not part of the record; the intake says that it leaves them out."""


def acceptance_workbook(
    sheet: RebuildSheet,
    rebuilt_at: datetime | None,
    values: dict[tuple[str, int | None, str | None], float] | None = None,
    signed_by: str = "",
) -> bytes:
    """The acceptance form of one rebuild as an XLSX file.

    Args:
        sheet: the rebuild sheet whose readings are asked for.
        rebuilt_at: when the rebuild was finished, as in its record; ties the readings to it.
            None: not yet on record, to be typed in.
        values: readings already taken, by measure, cylinder and port.
        signed_by: who signs, if known beforehand.
    """
    values = values or {}
    columns = [*Inspections.column_names(), *_SHOWN]
    at = {name: number for number, name in enumerate(columns)}
    instant = rebuilt_at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ") if rebuilt_at else None
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False}) as book:
        book.set_properties({"created": datetime(2000, 1, 1, tzinfo=UTC)})  # same form, same bytes
        page = book.add_worksheet("inspections")
        head = book.add_format({"bold": True, "bottom": 1, "bg_color": "#EEF2F3"})
        entry = book.add_format({"bg_color": "#FDF2D6"})
        for name, number in at.items():
            page.write_string(0, number, name, head)
        for number, line in enumerate(sheet.acceptance, start=1):
            value = values.get((line.measure, line.cylinder, line.port))
            fixed = {
                "engine_id": sheet.engine_id,
                "inspected_at": instant,
                "rebuilt_at": instant,
                "measure": line.measure,
                "cylinder": line.cylinder,
                "port": line.port,
                "target": line.target,
                "limit": line.limit,
            }
            for name, text in fixed.items():
                is_typed = text is None and name in ("inspected_at", "rebuilt_at")
                page.write(number, at[name], text, entry if is_typed else None)
            for name, typed in {
                "value": value,
                "unit": UNITS[line.measure],
                "reference_value": None,
                "barometer_kpa": None,
                "is_warm": None,
                "signed_by": signed_by or None,
                "accepted_because": None,
            }.items():
                page.write(number, at[name], typed, entry)
            cell = xl_rowcol_to_cell(number, at["value"])
            state = "not_looked_at" if value is None else "measured"
            formula = f'=IF({cell}="","not_looked_at","measured")'
            page.write_formula(number, at["state"], formula, None, state)
        page.data_validation(
            1, at["is_warm"], len(sheet.acceptance), at["is_warm"],
            {"validate": "list", "source": ["yes", "no"]},
        )  # fmt: skip
        page.set_column(0, len(columns) - 1, 16)
        page.set_column(at["target"], at["limit"], 40)
        page.freeze_panes(1, 0)
    return out.getvalue()
