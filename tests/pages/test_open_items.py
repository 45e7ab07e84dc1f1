"""What stands open against a hull, by hand, and that everything which shows its state shows it."""

import html
from dataclasses import replace
from datetime import timedelta
from typing import Any

import polars as pl

from ringland.bench.standing_tests import with_releases
from ringland.contracts.record_columns import REBUILD_SHEET
from ringland.contracts.record_tables import OpenSheets, SheetWaivers, StandingFailures
from ringland.decision.actions.standing_rules import Standing
from ringland.decision.jobs.bench_lines import release_lines, sheet_line
from ringland.pages.papers.hull_pdf import sheet_data
from ringland.pages.papers.week_bundle import customer_copy
from ringland.pages.site.report_page import build_site
from ringland.pages.week.week_listing import week_list_lines
from ringland.pages.week.week_report import WeekReport
from tests.decision.small_fleet import frame, small_fleet
from tests.history.record_rows import at, records

AS_OF = at("08-03 06:00")
REBUILT = at("05-02 12:00")
SHEETS = frame(
    OpenSheets,
    [
        {"engine_id": engine, "rebuilt_at": REBUILT, "open_lines": count}
        | {"first_open": "Valve-seal vacuum, cylinder 1, intake: missing"}
        for engine, count in (("E6", 6), ("E8", 1))
    ],
)
NO_FAILURE = StandingFailures.create_empty()
LINE = (
    "Rebuild of Fri 2 May 2025 not accepted: 6 lines of its sheet open, the first "
    "Valve-seal vacuum, cylinder 1, intake: missing."
)


def held(**release: Any) -> pl.DataFrame:
    """The sheets, with a release on record."""
    usual = {"released_at": at("06-01 08:00"), "released_by": "H. Quist", "why": "head not off"}
    known = records(releases=[usual | release]) if release else records()
    return with_releases(SHEETS, known, AS_OF, since="rebuilt_at", what=pl.lit(REBUILD_SHEET))


def released(**release: Any) -> set[str]:
    rows = held(**release).filter(pl.col("released_by").is_not_null())
    return set(rows["engine_id"])


def report_with(sheets: pl.DataFrame) -> WeekReport:
    """The small fleet's, the calibration of H06 read a week ago: nothing else is asked of it."""
    fleet, day = small_fleet(), AS_OF - timedelta(days=7)
    read = pl.DataFrame(
        {"hull_id": ["H06"], "action": ["read_calibration"], "begun_at": [day], "last_at": [day],
         "is_rule": [False]}
    )  # fmt: skip
    tables = replace(fleet.tables(fleet.fits()), sheets=sheets)
    return fleet.report(tables=tables, standing=Standing.validate(read, cast=True))


def test_an_open_rebuild_sheet_is_told_with_why_in_one_line() -> None:
    told = {row["engine_id"]: sheet_line(row) for row in SHEETS.iter_rows(named=True)}

    assert told["E6"] == LINE
    assert "1 line of its sheet open, Valve-seal" in told["E8"]


def test_a_sheet_released_by_name_says_by_whom_and_why() -> None:
    lines = release_lines(NO_FAILURE, held(engine_id="E6", what="rebuild_sheet"))

    assert lines == {"E6": [f"{LINE} Released by H. Quist on Sun 1 Jun 2025: head not off."]}
    assert released(engine_id="E6", what="leak_down") == set()
    assert released(engine_id="E6", what="all_open", released_at=at("05-01 08:00")) == set()


def test_one_signature_takes_over_all_sheets_of_before_a_shops_first_list() -> None:
    """A shop that began with years of records was grounded for papers that did not exist then."""
    assert released(engine_id=None, what="rebuild_sheet") == {"E6", "E8"}
    assert released(engine_id=None, what="all_open") == {"E6", "E8"}
    # what is rebuilt after that day is not taken over
    assert released(engine_id=None, what="all_open", released_at=REBUILT.replace(day=1)) == set()


def test_an_open_rebuild_sheet_keeps_its_hull_from_rent_wherever_the_week_is_read() -> None:
    """Engines ran on rebuilds that could not be closed; neither list nor page said so."""
    report = report_with(held())
    site = {path: html.unescape(body.decode()) for path, body in build_site(report).items()
            if path.endswith((".html", ".txt", ".csv"))}  # fmt: skip
    row = next(part for part in site["index.html"].split("<tr") if 'data-hull="H06"' in part)
    own = next(sheet for sheet in report.hulls if sheet.hull_id == "H06")
    state = "Do not rent until its rebuild sheet is measured and signed"
    mail = " ".join(site["mail/digest.txt"].split())

    assert own.call["says"] == state
    assert "Rent" not in own.call["reason"]
    (line,) = (line for line in week_list_lines(report) if line[1] == "H06")
    assert (line[3], line[6]) == (state, "measure and sign the rebuild sheet")
    for text in (row, site["hulls/H06.html"], mail, site["tables/hulls.csv"],
                 html.unescape(customer_copy(report, "H06").decode())):  # fmt: skip
        assert state in text
        assert LINE in text
    assert "<strong>Measure and sign what is open of its rebuild" in site["hulls/H06.html"]
    assert (sheet_data(report, own)["call"], sheet_data(report, own)["reason"]) == (state, LINE)


def test_a_released_sheet_binds_no_longer_and_stays_in_sight() -> None:
    report = report_with(held(engine_id=None, what="rebuild_sheet"))
    own = next(sheet for sheet in report.hulls if sheet.hull_id == "H06")
    (line,) = (line for line in week_list_lines(report) if line[1] == "H06")

    assert own.call["says"] == "No open job known"
    assert "Released by H. Quist" in own.released[0]
    assert line[6] == "nothing; something let go by name"
    assert "Released by H. Quist" in build_site(report)["index.html"].decode()


def test_a_line_let_go_stays_on_list_page_sheet_mail_table_and_customers_copy() -> None:
    """A waiver stood on the cause report only; every later page showed an accepted rebuild."""
    waivers = frame(
        SheetWaivers,
        [
            {"engine_id": "E6", "line": line, "rebuilt_at": REBUILT}
            | {"waiver": "missing, let go by H. Quist: The maker gives no figure for it."}
            for line in ("Ring 1 end gap, 2", "Crank run-out")
        ],
    )
    said = (
        "Let go on the sheet of its rebuild of Fri 2 May 2025: Ring 1 end gap, 2: missing, let go "
        "by H. Quist: The maker gives no figure for it; Crank run-out: missing, let go by H. "
        "Quist: The maker gives no figure for it."
    )
    report = small_fleet().report(waivers=waivers)
    own = next(sheet for sheet in report.hulls if sheet.hull_id == "H06")
    site = {path: html.unescape(body.decode()) for path, body in build_site(report).items()
            if path.endswith((".html", ".txt", ".csv"))}  # fmt: skip

    assert own.released == (said,)
    for text in (site["index.html"], site["hulls/H06.html"], site["tables/hulls.csv"],
                 " ".join(site["mail/digest.txt"].split()),
                 html.unescape(customer_copy(report, "H06").decode()),
                 str(sheet_data(report, own))):  # fmt: skip
        assert said in text
