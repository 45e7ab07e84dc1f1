"""What the fuel at hand asks of a hull is said alike wherever the week is read."""

import html
import io
import re

import polars as pl
import pytest

from ringland.pages.digest.week_digest import digest_text
from ringland.pages.papers.hull_pdf import sheet_data
from ringland.pages.week.fuel_advice_words import age_rule_line
from ringland.pages.week.week_listing import week_list_lines
from ringland.pages.week.week_report import WeekReport
from tests.decision.small_fleet import SETTINGS, small_fleet
from tests.pages.small_fuel import site_with_fuel

LOW, WELL = "H05", "H04"
"""A hull of the dock whose tank holds 88.0, and one of the dock with 91.5; both need 91."""

SITE = site_with_fuel()


@pytest.fixture(scope="module")
def report() -> WeekReport:
    return small_fleet().report()


def read(path: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^<>]*>", " ", SITE[path].decode())).split())


def test_a_hull_page_warns_of_the_docks_tank_and_says_what_to_do_with_its_own() -> None:
    """A hull that needed 91 read 'fill with 91 or better' beside a dock tank below it."""
    assert "Do not fill from south's tank: it holds 88.0 AKI (87.5 to 88.5)" in read(
        f"hulls/{LOW}.html"
    )
    assert "below its need: drain it and refill" in read(f"hulls/{LOW}.html")
    assert "Do not fill" not in read(f"hulls/{WELL}.html")


def test_list_terminal_mail_paper_and_tables_say_the_same_of_its_fuel(report: WeekReport) -> None:
    """'Rent as normal' stood beside 'drain it and refill before the next rental'."""
    state = (
        "Do not rent until its tank is drained and refilled with 91 AKI or better, filled outside"
    )
    (line,) = (line for line in week_list_lines(report) if line[1] == LOW)
    (sheet,) = (sheet for sheet in report.hulls if sheet.hull_id == LOW)
    row = re.search(rf'<tr[^>]*data-hull="{LOW}".*?</tr>', SITE["index.html"].decode(), re.DOTALL)
    table = pl.read_csv(io.BytesIO(SITE["tables/hulls.csv"])).filter(pl.col("hull") == LOW)
    mail = " ".join(digest_text(report).split())
    steps = " ".join(text for _, text in sheet_data(report, sheet)["steps"])

    assert line[3] == state
    assert row is not None
    assert state in row[0]
    assert table["state"].to_list() == [state]
    assert f"{LOW} (south): {state};" in mail
    assert sheet_data(report, sheet)["call"] == state
    assert "drain it and refill before the next rental" in steps
    assert "Do not fill from south's tank" in steps


def test_a_hull_with_its_fuel_to_put_right_is_not_folded_with_those_that_need_nothing() -> None:
    rows = dict(re.findall(r'data-hull="(\w+)".*?data-need="(\w+)"', SITE["index.html"].decode()))
    assert rows[LOW] != "none"


@pytest.mark.parametrize("path", ["index.html", "fuel/index.html", f"hulls/{LOW}.html"])
def test_the_age_rule_is_said_once_on_a_page_and_no_other_beside_it(path: str) -> None:
    """A page said 'none older than two weeks' beside 'drain what stood longer than 28 days'."""
    text = read(path)

    assert text.count(age_rule_line(SETTINGS)) == 1
    assert "two weeks" not in text
