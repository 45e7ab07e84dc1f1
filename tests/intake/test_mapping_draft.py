"""A draft shows what it guessed, asks what it cannot know, and works once it is answered."""

import tomllib

import polars as pl
import pytest

from ringland.intake.intake import Intake, take_in
from ringland.intake.mapping.column_evidence import figure_writings
from ringland.intake.mapping.column_mapping import parse_mapping
from ringland.intake.mapping.date_forms import date_forms
from ringland.intake.mapping.mapped_rows import read_mapped
from ringland.intake.mapping.mapping_draft import draft_mapping
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.mapping.source_look import look_at
from ringland.intake.written.raw_text import RecordFileError
from ringland.intake.written.sheet_tables import heading_rows
from tests.history.record_rows import KNOWN
from tests.intake.test_awkward_files import FIXTURES, workbook

RENTALS = b"""Date,Out,In,Craft,Hrs run,WOT %
25/07/2025,09:00,10:00,H01,0.8,35
26/07/2025,13:30,14:30,H02,0.9,120
"""


def draft_of(name: str, content: bytes) -> str:
    return draft_mapping(name, look_at(name, content))


def answered(draft: str, **answers: str) -> str:
    """The draft with the answers a user puts in for its questions, line by line."""
    lines = []
    for line in draft.splitlines():
        name = line.split(" =")[0]
        asked = '"?"' in line and name in answers
        lines.append(line.replace('"?"', answers[name]) if asked else line)
    return "\n".join(lines)


def load(name: str, content: bytes, mapping: str) -> dict[str, Intake]:
    tables = read_mapped(name, content, parse_mapping("draft.toml", mapping))
    return {t.kind.name: take_in(t.kind, t.raw, KNOWN, t.found) for t in tables}


def test_a_rental_log_loads_through_its_draft_once_the_questions_are_answered() -> None:
    draft = draft_of("rentals june.csv", RENTALS)

    assert 'started_at = ["date", "out"]' in draft
    assert 'date_formats = ["%d/%m/%Y %H:%M"]' in draft
    mapping = answered(draft, time_zone='"America/Chicago"', full_throttle_share='"%"')
    sessions = load("rentals june.csv", RENTALS, mapping)["sessions"]
    assert sessions.loaded.select("hull_id", "running_h", "full_throttle_share").rows() == [
        ("H01", 0.8, 0.35)
    ]
    assert sessions.loaded["started_at"].dt.hour().to_list() == [14]  # 9:00 CDT is 14:00 UTC
    assert sessions.set_aside["fault"].to_list() == [
        "full_throttle_share is 1.2 but may be at most 1 share."
    ]


def test_a_draft_that_still_asks_is_refused_with_the_entry() -> None:
    draft = draft_of("rentals june.csv", RENTALS)

    with pytest.raises(MappingError, match=r"draft\.toml, source\.time_zone: The question"):
        parse_mapping("draft.toml", draft)


def test_day_or_month_first_is_asked_when_the_dates_fit_both() -> None:
    draft = draft_of(
        "rides.csv", b"Craft,Start,End,Hours\nH01,04/07/2025 9:00,04/07/2025 10:00,1\n"
    )

    said = tomllib.loads(draft)
    assert said["source"]["date_formats"] == "?"
    assert "# What stands first, day, month or year? More than one fits" in draft
    assert '# day first: date_formats = ["%d/%m/%Y %H:%M"]' in draft
    assert '# month first: date_formats = ["%m/%d/%Y %H:%M"]' in draft


def test_gallons_and_an_octane_without_a_scale_are_not_guessed() -> None:
    draft = draft_of("pump_export.txt", (FIXTURES / "pump_export.txt").read_bytes())

    said = tomllib.loads(draft)["table"][0]
    assert said["kind"] == "fills"
    assert said["columns"]["volume_l"] == {"column": "gallons", "unit": "?"}
    assert said["columns"]["octane_unlabelled"] == "grade"
    assert "octane_aki" not in said["columns"]


def test_words_that_are_no_choice_of_ours_are_asked_one_by_one() -> None:
    content = b"Engine,Found,Failure mode,Found by\nE1,2025-07-04T09:00:00Z,broken ring,bench\n"

    said = tomllib.loads(draft_of("failures.csv", content))["table"][0]

    assert said["columns"]["mode"] == {"column": "failure mode", "codes": {"broken ring": "?"}}


def test_a_workbook_is_drafted_sheet_by_sheet_with_its_merged_headings() -> None:
    draft = draft_of("season.xlsx", workbook())

    tables = tomllib.loads(draft)["table"]
    assert [(table["kind"], table["sheet"]) for table in tables] == [
        ("fills", "Fuel"),
        ("hour_readings", "Meters"),
    ]
    assert tables[0]["header_rows"] == [2, 3]


def test_a_file_in_words_nobody_listed_is_asked_for_its_kind() -> None:
    draft = draft_of("dock_log.csv", (FIXTURES / "dock_log.csv").read_bytes())

    said = tomllib.loads(draft)
    assert said["source"]["encoding"] == "cp1252"
    assert said["source"]["delimiter"] == ";"
    assert said["table"][0]["kind"] == "?"


def test_a_heading_that_would_break_the_file_is_quoted() -> None:
    content = b'Craft "x"\\n,"When\nread",Hours\nH01,2025-07-04T09:00:00Z,12.5\n'

    tomllib.loads(draft_of("meters.csv", content))


def test_a_file_without_headings_is_refused() -> None:
    with pytest.raises(RecordFileError, match="No row looks like headings"):
        draft_of("numbers.csv", b"1,2\n3,4\n")


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ([["a", "b"], ["1", "2"]], (1,)),
        ([["title", ""], ["", ""], ["a", "b"], ["1", "2"]], (3,)),
        (
            [["Craft", "", "Fuel", ""], ["no", "filled", "l", "price"], ["H1", "1", "2", "3"]],
            (1, 2),
        ),
        ([["1", "2"]], ()),
    ],
)
def test_the_heading_rows_are_found(rows: list[list[str]], expected: tuple[int, ...]) -> None:
    assert heading_rows(rows) == expected


@pytest.mark.parametrize(
    ("cells", "form"),
    [
        (["31/12/2025 9:05", "1/2/2025 23:59"], "%d/%m/%Y %H:%M"),
        (["12/31/25 9:05 PM"], "%m/%d/%y %I:%M %p"),
        (["45842.5", "45843"], "serial"),
        (["4 Jul 2025"], "%d %b %Y"),
    ],
)
def test_the_form_of_a_date_is_found(cells: list[str], form: str) -> None:
    assert form in date_forms(pl.Series(cells))


def test_a_figure_that_can_be_read_two_ways_keeps_both() -> None:
    assert {w.decimal for w in figure_writings(pl.Series(["1,234"]))} == {".", ","}
    assert {w.decimal for w in figure_writings(pl.Series(["1,234", "12,5"]))} != {"."}


def test_a_control_character_in_a_cell_is_shown_by_its_code_and_the_draft_stays_readable() -> None:
    """The first cells stood in the draft's comments with their ESC, which TOML does not allow."""
    rentals = RENTALS.replace(b"H0", b"H\x1b[2J\x7f\xe2\x80\xae0").replace(b"Craft", b"Craft\x7f")

    draft = draft_of("rentals\x1b[2J.csv", rentals)

    assert not set(draft) & set("\x1b\x7f\u202e")
    assert "H\\x1b[2J\\x7f\\x202e01" in draft
    read = tomllib.loads(draft)
    assert read["source"]["files"] == ["rentals\x1b[2J.csv"]
    assert "craft\x7f" in str(read["table"]).encode().decode("unicode_escape")
