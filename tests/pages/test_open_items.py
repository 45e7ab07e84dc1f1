"""What stands open beside a call, by hand, and that everything which shows the call shows it."""

from dataclasses import replace
from typing import Any

import polars as pl

from ringland.contracts.record_tables import OpenSheets, StandingFailures
from ringland.pages.papers.hull_pdf import sheet_data
from ringland.pages.site.report_page import build_site
from ringland.pages.week.open_items import open_items
from ringland.pages.week.week_report import week_list_lines
from tests.decision.small_fleet import frame, small_fleet
from tests.history.record_rows import at, records

AS_OF = at("08-03 06:00")
REBUILT = at("05-02 12:00")
SHEETS = frame(
    OpenSheets,
    [
        {"engine_id": engine, "rebuilt_at": REBUILT, "open_lines": count}
        | {"first_open": "Valve-seal vacuum, cylinder 1, intake: missing"}
        for engine, count in (("E5", 6), ("E6", 1))
    ],
)
NO_FAILURE = StandingFailures.create_empty()
LINE = (
    "Rebuild of Fri 2 May 2025 not accepted: 6 lines of its sheet open, the first "
    "Valve-seal vacuum, cylinder 1, intake: missing."
)


def release(**fields: Any) -> dict[str, pl.DataFrame]:
    usual = {"released_at": at("06-01 08:00"), "released_by": "H. Quist", "why": "head not off"}
    return records(releases=[usual | fields])


def test_an_open_rebuild_sheet_is_told_with_why_in_one_line() -> None:
    made = open_items(NO_FAILURE, SHEETS, records(), AS_OF)

    assert [item.line for item in made["E5"]] == [LINE]
    assert (
        made["E5"][0].remedy
        == "Measure and sign what is open of its rebuild, or release it by name."
    )
    assert "1 line of its sheet open, Valve-seal" in made["E6"][0].line


def test_a_sheet_released_by_name_says_by_whom_and_why() -> None:
    held = open_items(NO_FAILURE, SHEETS, release(engine_id="E5", what="rebuild_sheet"), AS_OF)
    other = open_items(NO_FAILURE, SHEETS, release(engine_id="E5", what="leak_down"), AS_OF)
    before = release(engine_id="E5", what="all_open", released_at=at("05-01 08:00"))

    assert [(item.line, item.is_released, item.remedy) for item in held["E5"]] == [
        (f"{LINE} Released by H. Quist on Sun 1 Jun 2025: head not off.", True, "")
    ]
    assert not held["E6"][0].is_released
    assert not other["E5"][0].is_released
    assert not open_items(NO_FAILURE, SHEETS, before, AS_OF)["E5"][0].is_released


def test_whatever_shows_the_call_shows_what_stands_open_beside_it() -> None:
    """Engines ran on rebuilds that could not be closed; neither list nor page said so."""
    report = small_fleet().report()
    items = open_items(NO_FAILURE, SHEETS, records(), AS_OF)["E5"]
    sheets = tuple(
        replace(sheet, open_items=items if sheet.hull_id == "H05" else ()) for sheet in report.hulls
    )
    report = replace(report, hulls=sheets)
    site = {path: body.decode() for path, body in build_site(report).items()
            if path.endswith((".html", ".txt", ".csv"))}  # fmt: skip
    row = next(part for part in site["index.html"].split("<tr") if 'data-hull="H05"' in part)
    own = next(sheet for sheet in report.hulls if sheet.hull_id == "H05")

    assert LINE in row
    assert site["index.html"].count(LINE) == 1
    assert LINE in site["hulls/H05.html"]
    assert f"Do:</strong> {items[0].remedy}" in site["hulls/H05.html"]
    assert LINE in " ".join(site["mail/digest.txt"].split())
    assert LINE in site["tables/hulls.csv"]
    assert any(LINE in text for _, text in sheet_data(report, own)["steps"])
    assert [line[1] for line in week_list_lines(report) if "rebuild sheet is open" in line[6]] == [
        "H05"
    ]
