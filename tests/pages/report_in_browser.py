"""The small fleet's site on disk and a headless Chromium, for the tests that open pages."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from ringland.pages.site.report_page import build_site
from tests.built_once import BuiltOnce, write_site
from tests.decision.small_fleet import small_fleet
from tests.outside_tools import ARGUMENTS, CHROMIUM
from tests.pages.small_fuel import site_with_fuel
from tests.pages.small_proof import small_proof
from tests.pages.small_score import history
from tests.pages.small_state import small_state


@pytest.fixture(scope="session")
def site_folder(built_once: BuiltOnce) -> Path:
    """The site of the small fleet."""

    def make(folder: Path) -> None:
        fleet = small_fleet()
        report = fleet.report()
        site = build_site(
            report,
            what_ifs=fleet.what_ifs(report),
            score=history(40, followed_d=90),
            proof=small_proof(fleet),
            records=small_state(fleet),
        )
        write_site(folder, site)

    return built_once("small-site", make)


@pytest.fixture(scope="session")
def fuel_folder(built_once: BuiltOnce) -> Path:
    """The site of the small fleet with its fuel pages."""
    return built_once("fuel-site", lambda folder: write_site(folder, site_with_fuel()))


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A Chromium that asks nothing of the network."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


def unfold(page: Page) -> None:
    """Open every fold of the page."""
    page.eval_on_selector_all("details", "all => all.forEach(one => { one.open = true; })")


def draw_all(page: Page) -> None:
    """Open every fold and let every picture come into view, so that it is drawn."""
    unfold(page)
    page.evaluate("window.ringlandDrawAll()")
    page.wait_for_selector("html[data-drawn=yes]", state="attached")


def open_finder(page: Page) -> None:
    """Open the search over the list, which is folded on a phone."""
    page.eval_on_selector("#find", "find => { find.open = true; }")
