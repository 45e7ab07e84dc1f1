"""The fuel pages in headless Chromium, opened from disk at laptop and phone width."""

from pathlib import Path

import pytest
from playwright.sync_api import Page

from tests.pages.small_fuel import site_with_fuel
from tests.pages.test_report_browser import (
    assert_no_sideways_scroll,
    browser,
    page,
    pytestmark,
)

__all__ = ["browser", "page", "pytestmark"]


@pytest.fixture(scope="module")
def fuel_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    for path, content in site_with_fuel().items():
        file = folder / path
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(content)
    return folder


def test_fuel_page_draws_each_dock_and_leads_to_a_tank_and_back(
    page: Page, fuel_folder: Path
) -> None:
    page.goto((fuel_folder / "index.html").as_uri())
    page.click("nav >> text=Fuel")
    page.wait_for_selector("html[data-drawn=yes]")
    assert page.inner_text("h1") == "Fuel, dock by dock"
    assert page.locator(".plot svg.main-svg").count() >= page.locator(".plot").count() == 2
    assert_no_sideways_scroll(page)

    page.click("#hulls ~ table >> text=H03")
    page.wait_for_selector("#chart-tank svg.main-svg")
    assert page.inner_text("h1").startswith("H03")
    assert page.locator("#chart-tank .point").count() > 10
    assert_no_sideways_scroll(page)

    page.click("text=This week's sheet of H03")
    page.wait_for_selector("#chart-timeline svg.main-svg")
