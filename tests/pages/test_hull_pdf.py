"""One hull's sheet as a PDF: one page, its figures, inert text, the same bytes."""

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from ringland.pages.papers.hull_pdf import hull_pdf, sheet_data
from ringland.pages.week.week_report import WeekReport
from ringland.words.fixed_words import NEVER_CLEARANCE
from ringland.words.job_cautions import cautions_of
from ringland.words.manner import Manner, in_manner
from ringland.words.number_words import chance_text, price_text
from tests.decision.small_fleet import small_fleet
from tests.outside_tools import program

POINTS = {"a4": (595.276, 841.89), "us-letter": (612.0, 792.0)}
"""Sizes of ISO 216 A4 (210 x 297 mm) and ANSI Letter (8.5 x 11 in) in points of 1/72 in."""

HOSTILE = '#panic("x") \\ $1/0$ *b* <img src=x> #{ sys.inputs } `raw` @ref // /* end'


@pytest.fixture(scope="module")
def report() -> WeekReport:
    return small_fleet().report()


def told(pdf: bytes, folder: Path) -> tuple[str, int, tuple[float, float]]:
    """A PDF's text on one line, its pages and its paper, as poppler reads them."""
    file = folder / "sheet.pdf"
    file.write_bytes(pdf)
    text = by_poppler("pdftotext", "-raw", str(file), "-")
    facts = by_poppler("pdfinfo", str(file))
    about = dict(line.split(":", 1) for line in facts.splitlines() if ":" in line)
    size = about["Page size"].split()
    return " ".join(text.split()), int(about["Pages"]), (float(size[0]), float(size[2]))


def by_poppler(tool: str, *arguments: str) -> str:
    command = [program(tool, "poppler-utils"), *arguments]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return done.stdout


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_every_hull_fits_one_sheet_of_either_paper(
    report: WeekReport, paper: str, tmp_path: Path
) -> None:
    on_paper = replace(report, manner=Manner(paper=paper))
    for sheet in report.hulls[:4]:
        text, pages, size = told(hull_pdf(on_paper, sheet.hull_id), tmp_path)

        assert pages == 1
        assert size == pytest.approx(POINTS[paper], abs=0.01)  # poppler rounds to 1/1000 pt
        assert sheet.hull_id in text


def test_the_sheet_says_what_to_do_why_how_sure_and_at_what_cost(
    report: WeekReport, tmp_path: Path
) -> None:
    for sheet in report.hulls:
        if sheet.chance["chance_30d"] is None:
            continue
        text, _, _ = told(hull_pdf(report, sheet.hull_id), tmp_path)
        call, chance = sheet.call, sheet.chance

        assert " ".join(str(call["reason"]).split()) in text
        assert price_text(call["action_cost"], report.prices.currency) in text or (
            call["action"] == "nothing"
        )
        for name in ("chance_30d", "chance_30d_low", "chance_30d_high"):
            assert chance_text(chance[name]) in text
        assert NEVER_CLEARANCE in text
        for caution in cautions_of(call["do"]):
            assert caution in text
        break


def test_the_range_is_drawn_where_it_is_written(report: WeekReport) -> None:
    sheet = next(sheet for sheet in report.hulls if sheet.chance["chance_30d"] is not None)
    rows = sheet_data(report, sheet)["horizons"]

    for row in rows:
        assert 0 <= row["low"] <= row["at"] <= row["high"] <= 1
    own = sheet.chance
    week = next(row for row in rows if row["cells"][0] == "30 days")
    # all three on one scale from 0: their ratios are those of the chances
    assert week["low"] / week["at"] == pytest.approx(own["chance_30d_low"] / own["chance_30d"])
    assert week["high"] / week["at"] == pytest.approx(own["chance_30d_high"] / own["chance_30d"])


def test_a_long_record_still_fits_one_sheet(report: WeekReport, tmp_path: Path) -> None:
    sheet = report.hulls[0]
    long = replace(sheet, call={**sheet.call, "reason": "Fuel below need. " * 60})
    text, pages, _ = told(hull_pdf(replace(report, hulls=(long,)), sheet.hull_id), tmp_path)

    assert pages == 1
    assert text.count("Fuel below need.") >= 60


def test_text_of_a_record_is_set_as_it_stands_and_never_run(
    report: WeekReport, tmp_path: Path
) -> None:
    sheet = report.hulls[0]
    spoiled = replace(
        sheet,
        dock_id=HOSTILE,
        call={**sheet.call, "reason": HOSTILE},
        state={**sheet.state, "engine_id": HOSTILE},
    )
    text, pages, _ = told(hull_pdf(replace(report, hulls=(spoiled,)), sheet.hull_id), tmp_path)

    assert pages == 1
    assert text.count(HOSTILE) >= 2


def test_the_same_report_gives_the_same_pdf(report: WeekReport) -> None:
    hull = report.hulls[0].hull_id
    assert hull_pdf(report, hull) == hull_pdf(small_fleet().report(), hull)


def test_the_sheet_is_in_the_shops_manner(report: WeekReport, tmp_path: Path) -> None:
    there = Manner(units="us", number="1.234,5", money="after", date="2026-08-17")
    sheet = next(sheet for sheet in report.hulls if sheet.fuel)
    text, _, _ = told(hull_pdf(replace(report, manner=there), sheet.hull_id), tmp_path)
    with in_manner(there):
        assert chance_text(sheet.chance["chance_30d"]) in text


def test_a_hull_without_a_page_has_no_sheet(report: WeekReport) -> None:
    with pytest.raises(ValueError, match="H99 has no page"):
        hull_pdf(report, "H99")
