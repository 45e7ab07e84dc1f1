"""A whole site in another shop's manner: nothing is left in the project's own."""

import html
import re
from dataclasses import replace

import pytest

from ringland.pages.site.report_page import build_site
from ringland.words.manner import Manner, in_manner
from tests.decision.small_fleet import small_fleet
from tests.pages.small_fuel import fuel_of

THERE = Manner(
    units="us",
    date="2026-08-17",
    clock="2:05 pm",
    number="1 234,5",
    money="after",
    currency_sign="\N{EURO SIGN}",
    time_zone="America/New_York",
)
LEFT_OVER = {
    "a decimal point": r"(?<![\w./-])\d+\.\d+(?![\w.])",
    "a comma between thousands": r"\b\d{1,3},\d{3}\b",
    "litres": r"\d l\b|\blitres?\b",
    "the project's form of a day": r"\b(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{1,2} [A-Z][a-z]{2} \d{4}",
    "UTC": r"\bUTC\b",
    "a 24-hour clock": r"\b\d\d:\d\d\b(?! [ap]m)",
}
AS_STORED = ("data-dictionary.html", "settings.html")
"""Pages that show the record files' and the settings file's own form."""


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    """What a reader sees of each page, and the mail's text."""
    with in_manner(THERE):
        report = replace(small_fleet().report(), manner=THERE)
    site = build_site(report, fuel=fuel_of(small_fleet()))
    return {
        path: seen(content.decode())
        for path, content in site.items()
        if path.endswith((".html", "digest.txt")) and path not in AS_STORED
    }


def seen(page: str) -> str:
    page = re.sub(r"<(script|style)[^>]*>.*?</\1>", " ", page, flags=re.DOTALL)
    text = html.unescape(re.sub(r"<[^>]+>", " ", page))
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


@pytest.mark.parametrize("what", LEFT_OVER)
def test_no_page_keeps_figures_in_the_projects_own_manner(pages: dict[str, str], what: str) -> None:
    found = {
        path: [text[max(0, hit.start() - 40) : hit.end() + 20] for hit in hits]
        for path, text in pages.items()
        if (hits := list(re.finditer(LEFT_OVER[what], text)))
    }
    assert not found


def test_pages_show_gallons_days_and_money_in_the_shops_manner(pages: dict[str, str]) -> None:
    hull, fleet = pages["hulls/H03.html"], pages["index.html"]

    assert re.search(r"\d gal\b", hull)
    assert "2026-08-" in hull
    assert re.search(r"\d \N{EURO SIGN}", fleet)
    # 3 August 2026, 06:00 UTC, is two in the morning on the US east coast in summer (UTC-4)
    assert "2026-08-03, 2:00 am EDT" in fleet
