"""The build sheet as a spreadsheet, filled in and loaded again."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.intake import Intake, take_in
from ringland.intake.written.raw_text import read_raw
from ringland.rebuilds.rebuild_form import acceptance_workbook
from ringland.rebuilds.rebuild_scope import can_close
from tests.bench.build_rows import READ, good_rows
from tests.rebuilds.test_rebuild_scope import sheet

TYPED = ("value", "unit", "answer", "barometer_kpa", "barometer_is", "method", "read_by")


def loaded(content: bytes) -> Intake:
    raw = read_raw("build_readings_E1.xlsx", content)
    return take_in(RECORD_KINDS["build_readings"], raw, {"engines": ["E1"]})


def good() -> dict[tuple[str, str | None], Mapping[str, Any]]:
    return {
        (row["line"], row["place"]): {name: row[name] for name in TYPED}
        | {"read_at": f"{READ:%Y-%m-%dT%H:%M:%SZ}"}
        for row in good_rows("full", 2)
    }


def closed_with(content: bytes) -> tuple[bool, tuple[str, ...]]:
    rows = loaded(content).loaded
    columns = RECORD_KINDS["build_readings"].schema.column_names()
    return can_close(sheet(built=rows.select(columns)))


def test_the_filled_form_loads_and_closes_its_sheet() -> None:
    content = acceptance_workbook(sheet(), good())
    intake = loaded(content)
    assert intake.rows_set_aside == 0
    assert intake.rows_loaded == len(sheet().build.lines)
    assert closed_with(content) == (True, ())


def test_a_line_left_empty_keeps_the_sheet_open() -> None:
    filled = good()
    filled["valve_vacuum", "2 exhaust"] = {"read_at": f"{READ:%Y-%m-%dT%H:%M:%SZ}"}
    is_closed, obstacles = closed_with(acceptance_workbook(sheet(), filled))
    assert not is_closed
    assert obstacles == ("Valve-seal vacuum, 2 exhaust: missing, nothing measured",)


def test_the_same_form_has_the_same_bytes() -> None:
    assert acceptance_workbook(sheet()) == acceptance_workbook(sheet())


def test_the_form_offers_each_reading_a_unit_it_can_be_judged_in() -> None:
    rows = loaded(acceptance_workbook(sheet(), good())).loaded
    assert rows.filter(pl.col("value").is_not_null())["unit"].null_count() == 0
