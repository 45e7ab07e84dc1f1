"""The fuel pages in headless Chromium, opened from disk at laptop and phone width."""

from pathlib import Path

from playwright.sync_api import Page

from tests.pages.report_in_browser import draw_all, fuel_folder
from tests.pages.test_report_browser import (
    assert_no_sideways_scroll,
    browser,
    page,
    pytestmark,
)

__all__ = ["browser", "fuel_folder", "page", "pytestmark"]


def test_fuel_page_draws_each_dock_and_leads_to_a_tank_and_back(
    page: Page, fuel_folder: Path
) -> None:
    page.goto((fuel_folder / "index.html").as_uri())
    page.click("nav >> text=Fuel")
    draw_all(page)
    assert page.inner_text("h1") == "Fuel, dock by dock"
    assert page.locator(".plot svg.main-svg").count() >= page.locator(".plot").count() == 2
    assert_no_sideways_scroll(page)

    page.click("details:has(#hulls) table >> text=H03")
    page.wait_for_selector("#chart-tank svg.main-svg")  # the link opened the fold
    assert page.inner_text("h1").startswith("H03")
    assert page.locator("#chart-tank .point").count() > 10
    assert_no_sideways_scroll(page)

    draw_all(page)
    page.click("text=All docks")
    assert page.inner_text("h1") == "Fuel, dock by dock"
