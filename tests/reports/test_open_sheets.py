"""Which engines run on a rebuild whose build sheet is open, by hand."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from ringland.reports.cause_case import ShopRecord, failure_sheets
from ringland.reports.cause_report import cause_reports
from ringland.reports.open_sheets import open_sheets, sheet_waivers
from tests.bench.build_rows import book, good_rows, readings
from tests.causes.cause_rows import OPENED
from tests.reports.test_cause_report import frame, shop

REBUILT = OPENED + timedelta(days=9)


def sheet_of(rebuilt_at: datetime, **first: Any) -> list[dict[str, Any]]:
    """A passing row for every line of the engine's sheet, the first changed if asked."""
    rows = [
        row | {"engine_id": "E-P0", "read_at": rebuilt_at - timedelta(hours=4)}
        for row in good_rows(cylinders=2)
    ]
    rows[0] |= first
    return rows


def rebuilt(*rebuilds: datetime, built: list[dict[str, Any]], failed: bool = True) -> ShopRecord:
    made = shop()
    rows = [{"engine_id": "E-P0", "rebuilt_at": at, "scope": "full"} for at in rebuilds]
    records = {
        **made.records,
        "rebuilds": frame("rebuilds", *rows),
        "build_readings": readings(built),
        "build_limits": book(),
    }
    if not failed:
        records["failures"] = frame("failures")
    return replace(made, records=records)


def still_open(of: ShopRecord) -> list[tuple[Any, ...]]:
    return open_sheets(of, failure_sheets(of)).rows()


def test_a_failures_sheet_is_the_one_its_report_shows() -> None:
    of = rebuilt(REBUILT, built=sheet_of(REBUILT, signed_by=None))

    assert [tuple(sheet) for sheet in failure_sheets(of)] == [
        (report.engine_id, report.found_at, report.rebuilt_at, report.build)
        for report in cause_reports(of)
    ]


def first_line() -> str:
    return still_open(rebuilt(REBUILT, built=sheet_of(REBUILT)[1:]))[0][3].partition(":")[0]


def test_a_rebuild_with_every_line_passed_and_signed_is_accepted() -> None:
    assert still_open(rebuilt(REBUILT, built=sheet_of(REBUILT))) == []


def test_one_missing_or_unsigned_line_keeps_the_sheet_open() -> None:
    unsigned = sheet_of(REBUILT, read_by=None)

    assert still_open(rebuilt(REBUILT, built=sheet_of(REBUILT)[1:])) == [
        ("E-P0", REBUILT, 1, f"{first_line()}: missing")
    ]
    assert still_open(rebuilt(REBUILT, built=unsigned))[0][2:] == (1, f"{first_line()}: not signed")


def test_a_failure_without_a_rebuild_is_no_open_sheet() -> None:
    assert still_open(rebuilt(built=[])) == []


def test_a_planned_rebuild_is_asked_for_its_lines_too() -> None:
    """A planned top end with an untested head stood on no sheet at all."""
    assert still_open(rebuilt(REBUILT, built=sheet_of(REBUILT), failed=False)) == []
    assert still_open(rebuilt(REBUILT, built=sheet_of(REBUILT)[4:], failed=False))[0][1:3] == (
        REBUILT,
        4,
    )
    before = sheet_of(REBUILT - timedelta(days=90))  # of an earlier build
    assert still_open(rebuilt(REBUILT, built=before, failed=False))[0][2] == len(before)


def test_an_engine_of_unknown_cylinders_is_not_accepted_unasked() -> None:
    of = rebuilt(REBUILT, built=sheet_of(REBUILT))
    unknown = of.records["engines"].with_columns(cylinders=pl.lit(None, pl.Int64))
    made = still_open(replace(of, records={**of.records, "engines": unknown}))

    assert made == [("E-P0", REBUILT, 1, "number of cylinders not known")]


def test_of_two_open_sheets_the_newest_is_told() -> None:
    later = REBUILT + timedelta(days=200)
    of = rebuilt(REBUILT, later, built=sheet_of(REBUILT)[1:])

    assert still_open(replace(of, as_of=later + timedelta(days=9)))[0][1] == later


def let_go(of: ShopRecord) -> list[tuple[Any, ...]]:
    return sheet_waivers(of, failure_sheets(of)).rows()


WAIVED = {"waived_by": "H. Quist", "waived_because": "Figure not in the book, asked the maker"}


def test_a_line_let_go_by_name_stays_until_a_later_sheet_passes_it() -> None:
    """A waiver stood on the report only; list and hull page showed an accepted rebuild."""
    first = first_line()
    waived = sheet_of(REBUILT, value=None, answer=None, **WAIVED)
    said = "missing, let go by H. Quist: Figure not in the book, asked the maker"
    later = REBUILT + timedelta(days=200)
    passed = replace(rebuilt(REBUILT, later, built=waived + sheet_of(later)), as_of=later)

    assert let_go(rebuilt(REBUILT, built=waived)) == [("E-P0", first, REBUILT, said)]
    assert let_go(rebuilt(REBUILT, built=waived, failed=False)) == [("E-P0", first, REBUILT, said)]
    assert still_open(rebuilt(REBUILT, built=waived)) == []
    assert let_go(passed) == []


def test_a_line_let_go_with_no_sentence_is_open_and_not_let_go() -> None:
    short = sheet_of(REBUILT, value=None, answer=None, waived_by="H. Quist", waived_because="ok")

    assert let_go(rebuilt(REBUILT, built=short)) == []
    assert still_open(rebuilt(REBUILT, built=short))[0][2] == 1
