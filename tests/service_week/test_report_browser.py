"""The site in headless Chromium, opened from disk at laptop and phone width."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from ringland.service_week.report_page import build_site
from tests.service_week.small_fleet import small_fleet

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(
        CHROMIUM is None and os.environ.get("RINGLAND_REQUIRE_TOOLS") != "1",
        reason="Chromium is not installed: apt-get install chromium",
    ),
]


@pytest.fixture(scope="module")
def site_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("site")
    for path, content in build_site(small_fleet().report()).items():
        file = folder / path
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(content)
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture(params=[1280, 390], ids=["laptop", "phone"])
def page(request: pytest.FixtureRequest, browser: Browser) -> Iterator[Page]:
    """A page that fails its test on any console message, error or request off the disk."""
    page = browser.new_page(viewport={"width": request.param, "height": 800})
    faults: list[str] = []
    page.on("console", lambda message: faults.append(message.text))
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.on(
        "request",
        lambda sent: None if sent.url.startswith("file://") else faults.append(sent.url),
    )
    yield page
    page.close()
    assert faults == []


def assert_no_sideways_scroll(page: Page) -> None:
    width, room = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
    assert width <= room


def test_fleet_page_leads_to_a_hull_and_its_picture(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "index.html").as_uri())
    page.wait_for_selector("#chart-fleet svg.main-svg")
    assert_no_sideways_scroll(page)

    page.click("text=H03")
    page.wait_for_selector("#chart-timeline svg.main-svg")
    assert page.inner_text("h1").startswith("H03")
    assert page.locator("#chart-timeline .point").count() > 50
    assert_no_sideways_scroll(page)
    picture = page.locator("#chart-timeline svg.main-svg").first.bounding_box()
    viewport = page.viewport_size
    assert picture is not None
    assert viewport is not None
    assert 0 <= picture["x"] < picture["x"] + picture["width"] <= viewport["width"]

    page.click("text=This week")
    assert page.inner_text("h1") == "This week's list"


def test_how_we_know_draws_all_its_pictures(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "how-we-know.html").as_uri())
    page.wait_for_selector("html[data-drawn=yes]")

    charts = page.locator(".plot")
    assert charts.count() == 4
    assert page.locator(".plot svg.main-svg").count() >= charts.count()
    assert_no_sideways_scroll(page)


def test_keyboard_reaches_the_first_hull(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "index.html").as_uri())
    reached = []
    for _ in range(4):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.textContent"))

    assert reached == ["Skip to the content", "This week", "How we know", "H00"]


def test_list_reads_without_scripts(browser: Browser, site_folder: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((site_folder / "index.html").as_uri())

    assert page.locator("table.list tbody tr").count() == 12
    context.close()
