"""The fleet page of 500 hulls: found, filtered, ordered, linked and walked by keyboard alone.

How fast it answers is timed in `tests/benchmarks/test_site_speed.py`.
"""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from ringland.pages.site.report_page import build_site
from tests.built_once import BuiltOnce, write_site
from tests.decision.small_fleet import small_fleet
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser, open_finder

__all__ = ["browser"]  # fixture of this module's tests

pytestmark = needs_chromium

N_HULLS = 500


@pytest.fixture(scope="session")
def fleet_page(built_once: BuiltOnce) -> str:
    """The address of the page on disk, with the hulls' own pages beside it."""
    folder = built_once(
        "big-fleet", lambda folder: write_site(folder, build_site(small_fleet(N_HULLS).report()))
    )
    return (folder / "index.html").as_uri()


@pytest.fixture(params=[1280, 390], ids=["laptop", "phone"])
def page(request: pytest.FixtureRequest, browser: Browser, fleet_page: str) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": request.param, "height": 800})
    faults: list[str] = []
    page.on("console", lambda message: faults.append(message.text))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(fleet_page)
    page.wait_for_selector("html[data-found=yes]")
    yield page
    page.close()
    assert faults == []


def shown(page: Page) -> list[str]:
    names: list[str] = page.locator("table.hulls tbody tr:visible th a").all_inner_texts()
    return names


def test_one_of_500_is_found_by_its_name_and_opened_by_keyboard_alone(page: Page) -> None:
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.name") == "hull":
            break
        if page.evaluate("document.activeElement.closest('#find:not([open])') !== null"):
            page.keyboard.press("Enter")
    page.keyboard.type("h321")

    assert shown(page) == ["H321"]
    assert page.inner_text("#finder-count") == f"1 of {N_HULLS} hulls match"
    page.keyboard.press("Enter")
    page.wait_for_url("**/hulls/H321.html")


def test_filters_and_orders_hold_all_500_and_can_be_sent_as_a_link(
    page: Page, fleet_page: str
) -> None:
    open_finder(page)
    page.select_option("select[name=dock]", "north")
    north = shown(page)
    page.select_option("select[name=dock]", "south")
    south = shown(page)
    assert len(north) + len(south) == N_HULLS
    assert set(north) & set(south) == set()

    page.select_option("select[name=sort]", "chance")
    chances = page.eval_on_selector_all(
        "table.hulls tbody tr:not(.away)[data-chance]",
        "rows => rows.map(row => row.dataset.chance).filter(text => text !== '').map(Number)",
    )
    assert chances == sorted(chances, reverse=True)
    assert len(chances) > 200
    link = page.evaluate("location.hash")
    assert link == "#dock=south&sort=chance"

    page.goto("about:blank")
    page.goto(fleet_page + link)
    page.wait_for_selector("html[data-found=yes]")
    assert set(shown(page)) == set(south)


def test_a_list_of_500_is_folded_to_what_needs_doing(page: Page) -> None:
    assert page.locator("#fold").is_visible()
    assert len(shown(page)) < N_HULLS
    page.click("#fold")
    assert len(shown(page)) == N_HULLS
    wide, room = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert wide <= room
