"""The last eight weeks as they are drawn in a hull's page on a phone."""

import shutil
from datetime import date, timedelta
from pathlib import Path

from playwright.sync_api import Browser, expect

from ringland.dockside.hull_trends import WEEKS, WeekOfHull
from ringland.dockside.trend_section import trend_section
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser, site_folder

__all__ = ["browser", "site_folder"]  # fixtures of this module's tests

pytestmark = needs_chromium
NEWEST, WIDTH, PATIENCE_MS = date(2026, 8, 17), 390, 60_000


def eight_weeks() -> list[WeekOfHull]:
    """Two weeks without a list, then a chance that rises to a hull not to be rented."""
    weeks = []
    for back in reversed(range(WEEKS)):
        monday, chance = NEWEST - back * timedelta(weeks=1), 0.02 * (WEEKS - back)
        call = "do_not_rent" if back == 0 else "no_open_job"
        known = WeekOfHull(monday, call, chance, chance / 2, chance * 2)
        weeks.append(WeekOfHull(monday, None, why="no list kept") if back >= WEEKS - 2 else known)
    return weeks


def test_the_weeks_are_drawn_with_their_marks_and_told_in_figures(
    browser: Browser, site_folder: Path, tmp_path: Path
) -> None:
    site = Path(shutil.copytree(site_folder, tmp_path / "site"))
    file = next(iter(sorted((site / "hulls").glob("*.html"))))
    section = trend_section(eight_weeks(), can_draw=True)
    before, end, after = file.read_text("utf-8").rpartition("</main>")
    file.write_text(f"{before}{section}{end}{after}", "utf-8")
    page = browser.new_page(viewport={"width": WIDTH, "height": 844})
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("request", lambda one: None if one.url.startswith("file:") else wrong.append(one.url))

    page.goto(file.as_uri())
    trend = page.get_by_role("region", name="The last eight weeks")
    trend.scroll_into_view_if_needed()

    points = trend.locator("#chart-trend .scatterlayer .point")
    expect(points).to_have_count(WEEKS - 2, timeout=PATIENCE_MS)
    expect(trend.locator("#chart-trend")).to_contain_text("chance of a failure in 30 days, %")
    box = trend.locator("#chart-trend .main-svg").first.bounding_box()
    assert box is not None
    assert 0 < box["width"] <= WIDTH
    trend.get_by_text("The same in figures").click()
    rows = trend.get_by_role("row")
    expect(rows).to_have_count(1 + WEEKS)
    expect(rows.nth(1)).to_contain_text("16")
    expect(rows.nth(WEEKS)).to_contain_text("no list kept")
    assert wrong == []
    page.close()
