"""The site in headless Chromium, opened from disk at laptop and phone width."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from ringland.pages.site.proof_pages import PROOF_PAGES
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser, draw_all, open_finder, site_folder, unfold

__all__ = ["browser", "site_folder"]  # fixtures of this module's tests

pytestmark = needs_chromium


@pytest.fixture(params=[1280, 768, 390], ids=["laptop", "tablet", "phone"])
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
    draw_all(page)
    assert page.locator("#chart-fleet svg.main-svg").count() > 0
    assert_no_sideways_scroll(page)

    page.click("table.hulls >> text=H03")
    draw_all(page)
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


def test_a_week_in_which_no_hull_can_be_assessed_can_still_be_searched(
    page: Page, site_folder: Path
) -> None:
    """Found in use: without the button that folds hulls away the whole finder failed."""
    whole = (site_folder / "index.html").read_text()
    thin = re.sub(r'<button[^>]*id="fold".*?</button>', "", whole)
    assert thin != whole
    (site_folder / "thin.html").write_text(thin)

    page.goto((site_folder / "thin.html").as_uri())

    assert page.is_visible("#find")


@pytest.mark.parametrize("name", ["records/index.html", "hulls/H01.html", "hulls/H03.html"])
def test_record_pages_fit_the_screen_and_draw_their_picture(
    page: Page, site_folder: Path, name: str
) -> None:
    page.goto((site_folder / name).as_uri())
    unfold(page)
    if "chart-hours" in (site_folder / name).read_text():
        draw_all(page)
        assert page.locator("#chart-hours .point").count() == 3 + 1 + 1  # good, left out, mended
    assert_no_sideways_scroll(page)


@pytest.mark.parametrize("name", ["score.html", *PROOF_PAGES.values()])
def test_pages_of_proof_fit_the_screen_and_draw_their_pictures(
    page: Page, site_folder: Path, name: str
) -> None:
    page.goto((site_folder / name).as_uri())
    pictures = page.locator(".plot")
    if pictures.count():
        draw_all(page)
        assert page.locator(".plot svg.main-svg").count() >= pictures.count()
    for details in page.locator("details").all():
        details.evaluate("one => one.open = true")  # a table inside must not widen the page
    assert_no_sideways_scroll(page)


def test_how_we_know_draws_all_its_pictures(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "how-we-know.html").as_uri())
    draw_all(page)

    charts = page.locator(".plot")
    assert charts.count() == 4
    assert page.locator(".plot svg.main-svg").count() >= charts.count()
    assert_no_sideways_scroll(page)


def test_keyboard_reaches_the_finder_and_the_first_hull(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "index.html").as_uri())
    page.wait_for_selector("html[data-found=yes]")
    open_finder(page)
    reached = []
    for _ in range(15):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "document.activeElement.name || document.activeElement.textContent.trim()"
            )
        )

    groups = ["This week", "Fuel", "Was it right?", "How we know", "Records"]
    assert reached[:6] == ["Skip to the content", *groups]
    assert reached[9:13] == [
        "hull",
        "dock",
        "call",
        "sort",
    ]  # after jobs and what changed
    assert reached[14] == "H00"  # after the button to clear


def test_typing_a_hull_and_enter_opens_its_page(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "index.html").as_uri())
    page.wait_for_selector("html[data-found=yes]")
    open_finder(page)
    page.focus("input[name=hull]")
    page.keyboard.type("h 07")

    assert shown_hulls(page) == ["H07"]
    assert page.inner_text("#finder-count") == "1 of 12 hulls match"
    page.keyboard.press("Enter")
    page.wait_for_url("**/hulls/H07.html")


def test_filter_and_order_keep_hulls_that_cannot_be_assessed(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "index.html").as_uri())
    page.wait_for_selector("html[data-found=yes]")
    open_finder(page)
    page.select_option("select[name=dock]", "south")
    found = shown_hulls(page)

    assert set(found) == {f"H{number:02d}" for number in range(1, 12, 2)}
    assert "H01" in found  # it has no engine, and is listed all the same
    page.select_option("select[name=sort]", "hull")
    listed = [hull for hull in shown_hulls(page) if hull != "H01"]
    assert listed == sorted(listed)
    page.select_option("select[name=call]", "do_not_rent")  # without an engine it cannot go out
    assert "H01" in shown_hulls(page)
    page.select_option("select[name=dock]", "north")
    page.select_option("select[name=call]", "not_enough_record")
    assert shown_hulls(page) == ["H02"]
    assert page.evaluate("location.hash") == "#dock=north&call=not_enough_record&sort=hull"


def test_a_link_by_hash_finds_its_hull_even_where_it_was_folded(
    page: Page, site_folder: Path
) -> None:
    """One hull of the fleet is given nothing to do, as every one has something this week."""
    whole = (site_folder / "index.html").read_text(encoding="utf-8")
    idle = re.sub(r'(<tr[^>]*data-hull="H06"[^>]*data-need=")dock"', r'\1none"', whole)
    assert idle != whole
    list_page = site_folder / "idle.html"
    list_page.write_text(idle, encoding="utf-8")
    page.goto(list_page.as_uri())
    page.wait_for_selector("html[data-found=yes]")
    everyone = {f"H{number:02d}" for number in range(12)}
    assert page.locator("#fold").is_visible()
    folded = sorted(everyone - set(shown_hulls(page)))
    page.click("#fold")
    assert set(shown_hulls(page)) == everyone

    page.goto(list_page.as_uri() + f"#hull={folded[0]}")
    page.reload()
    page.wait_for_selector("html[data-found=yes]")
    assert shown_hulls(page) == [folded[0]]
    assert page.evaluate("document.activeElement.textContent") == folded[0]


def shown_hulls(page: Page) -> list[str]:
    """What the eye sees: on a phone the rows put away were shown all the same, by a style."""
    names: list[str] = page.locator("table.hulls tbody tr:visible th a").all_inner_texts()
    return names


def test_list_reads_without_scripts(browser: Browser, site_folder: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto((site_folder / "index.html").as_uri())

    assert page.locator("table.hulls tbody tr").count() == 12
    context.close()


def test_the_drawing_library_is_read_for_a_picture_in_view_and_not_before(
    browser: Browser, site_folder: Path
) -> None:
    """A hull's page took 1.6 s of a laptop's main thread before it answered anything."""
    page = browser.new_page(viewport={"width": 390, "height": 844})
    asked: list[str] = []
    page.on("request", lambda sent: asked.append(sent.url.rpartition("/")[2]))
    page.goto((site_folder / "hulls/H03.html").as_uri())
    page.click("#what-if-section > summary")
    page.locator("#what-if-actions input").first.check()
    page.wait_for_function("document.getElementById('what-if-outcome').textContent.length > 60")
    assert {"plotly.min.js", "sketches.js"} & set(asked) == set()

    page.click("details:has(> summary #record) > summary")
    page.wait_for_selector("#chart-timeline svg.main-svg")
    assert {"plotly.min.js", "sketches.js"} <= set(asked)
    page.close()


def test_paper_gets_every_fold_and_every_picture(browser: Browser, site_folder: Path) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto((site_folder / "index.html").as_uri())
    assert not page.is_visible("text=Bay load")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert page.is_visible("text=Bay load")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert not page.is_visible("text=Bay load")

    page.evaluate("window.print = () => { window.printed = true; }")
    page.keyboard.press("Control+p")
    page.wait_for_function("window.printed")
    page.wait_for_selector("#chart-fleet svg.main-svg", state="attached")
    page.close()
