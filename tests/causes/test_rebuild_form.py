from ringland.causes.rebuild_form import acceptance_workbook
from ringland.causes.rebuild_scope import RebuildSheet, can_close
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.intake import Intake, take_in
from ringland.intake.raw_text import read_raw
from tests.causes.test_rebuild_scope import GOOD, REBUILT, judged, sheet

Values = dict[tuple[str, int | None, str | None], float]


def loaded(content: bytes) -> Intake:
    raw = read_raw("inspections_rebuild.xlsx", content)
    return take_in(RECORD_KINDS["inspections"], raw, {"engines": ["E1"]})


def good_values(of: RebuildSheet) -> Values:
    by_measure = {measure: value for (measure, _), (value, _) in GOOD.items()}
    return {
        (line.measure, line.cylinder, line.port): by_measure[line.measure] for line in of.acceptance
    }


def closed_with(content: bytes) -> tuple[bool, tuple[str, ...]]:
    rows = loaded(content).loaded
    # the form leaves the barometer to the mechanic; the altitude of the bench is not on record
    rows = rows.with_columns(barometer_kpa=101.325)
    return can_close(sheet(after=rows.to_dicts()))


def test_the_filled_form_loads_and_closes_its_sheet() -> None:
    opened = sheet()
    content = acceptance_workbook(opened, REBUILT, good_values(opened), "mechanic A")
    intake = loaded(content)
    assert intake.rows_set_aside == 0
    assert intake.rows_loaded == len(opened.acceptance)
    assert closed_with(content) == (True, ())


def test_a_row_without_a_value_is_not_looked_at_and_keeps_the_sheet_open() -> None:
    opened = sheet()
    values = good_values(opened)
    del values[("valve_seal_vacuum", 2, "exhaust")]
    is_closed, obstacles = closed_with(acceptance_workbook(opened, REBUILT, values, "mechanic A"))
    assert not is_closed
    assert len(obstacles) == 1
    assert obstacles[0].startswith("Valve-seal vacuum, cylinder 2, exhaust: missing")


def test_an_empty_form_closes_nothing() -> None:
    opened = sheet()
    intake = loaded(acceptance_workbook(opened, REBUILT))
    assert set(intake.loaded["state"]) == {"not_looked_at"}
    is_closed, obstacles = can_close(sheet(after=intake.loaded.to_dicts()))
    assert not is_closed
    assert len(obstacles) == len(opened.acceptance)


def test_the_same_form_has_the_same_bytes() -> None:
    assert acceptance_workbook(sheet(), REBUILT) == acceptance_workbook(sheet(), REBUILT)


def test_the_units_offered_are_ones_the_readings_can_be_judged_in() -> None:
    opened = sheet()
    rows = loaded(acceptance_workbook(opened, REBUILT, good_values(opened), "A")).loaded
    frame = judged(rows.with_columns(barometer_kpa=101.325).to_dicts())
    assert set(frame["verdict"]) == {"pass"}
