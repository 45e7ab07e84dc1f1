"""Every kind of page of the demo's site, as a browser and as axe-core judge it.

The site is made by the whole graph, so a new kind of page is among them without being named
here: one page is taken of each kind, and the largest of those that there are many of.
"""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.pages.report_in_browser import browser, draw_all
from tests.pages.test_plain_pages import faults, said_twice
from tests.pages.test_report_access import axe
from tests.pages.test_report_access import pytestmark as needs_chromium_and_npm
from tests.pipelines.demo_run import DemoRun

__all__ = ["axe", "browser"]  # fixtures of this module's tests

pytestmark = needs_chromium_and_npm

OF_WEIGHT = ("moderate", "serious", "critical")


def one_of_each_kind(site: Path) -> list[Path]:
    """The largest page of each folder whose names hold a figure, and every other page."""
    kinds: dict[str, Path] = {}
    for path in sorted(site.rglob("*.html")):
        is_one_of_many = any(letter.isdigit() for letter in path.stem)
        kind = str(path.relative_to(site).parent) + ("/*" if is_one_of_many else f"/{path.stem}")
        if kind not in kinds or path.stat().st_size > kinds[kind].stat().st_size:
            kinds[kind] = path
    return list(kinds.values())


def opened(page: Page, path: Path) -> None:
    page.goto(path.as_uri())
    page.wait_for_load_state("load")
    if "data-chart" in path.read_text():
        draw_all(page)


@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_axe_finds_no_fault_of_weight_on_any_kind_of_page(
    demo: DemoRun, browser: Browser, axe: str, width: int, scheme: str
) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 800},
        color_scheme=scheme,  # type: ignore[arg-type]  # Playwright types it as a literal
    )
    page = context.new_page()
    pages = one_of_each_kind(demo.site)
    found = []
    for path in pages:
        opened(page, path)
        page.evaluate(axe)
        result = page.evaluate("axe.run(document)")
        assert len(result["passes"]) > 10, path.name  # it did look
        found += [
            (str(path.relative_to(demo.site)), fault["impact"], fault["id"],
             fault["nodes"][0]["html"][:200])
            for fault in result["violations"]
            if fault["impact"] in OF_WEIGHT
        ]  # fmt: skip
    context.close()
    assert len(pages) >= 12
    assert found == []


def test_no_kind_of_page_is_wider_than_its_window_or_complains(
    demo: DemoRun, browser: Browser
) -> None:
    page = browser.new_page()
    faults: list[tuple[str, str]] = []
    now = ""
    page.on("console", lambda message: faults.append((now, message.text)))
    page.on("pageerror", lambda error: faults.append((now, str(error))))
    page.on("request", lambda sent: sent.url.startswith(("file://", "data:", "blob:"))
            or faults.append((now, sent.url)))  # fmt: skip
    for path in one_of_each_kind(demo.site):
        now = str(path.relative_to(demo.site))
        for width in (390, 768, 1280):
            page.set_viewport_size({"width": width, "height": 800})
            opened(page, path)
            wide, room = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
            if wide > room:
                faults.append((now, f"{wide} px in a window of {room}"))
    page.close()
    assert faults == []


PHONE = {"width": 390, "height": 844}
MOST_SCREENS = {
    "index.html": 10, "fuel/index.html": 6, "docks.html": 4, "settings.html": 4,
    "model-card.html": 4, "how-we-know.html": 4, "records/index.html": 5, "fuel-rules.html": 5,
    "behind-the-effects.html": 4,
}  # fmt: skip
"""Phone screens of a page as it opens; the list was 34, fuel 21, the settings 42."""
HULL_SCREENS = 5
LAPTOP = {"width": 1280, "height": 900}
LIST_SCREENS = 5.6


def test_on_a_phone_pages_are_short_and_the_first_hull_stands_in_the_first_screen(
    demo: DemoRun, browser: Browser
) -> None:
    page = browser.new_page(viewport=PHONE)  # type: ignore[arg-type]  # a dict is taken

    def screens(path: str) -> float:
        page.goto((demo.site / path).as_uri())
        height: float = page.evaluate("document.documentElement.scrollHeight")
        return height / PHONE["height"]

    hulls = sorted(demo.site.glob("hulls/*.html"), key=lambda path: path.stat().st_size)[-3:]
    most = MOST_SCREENS | {f"hulls/{path.name}": HULL_SCREENS for path in hulls}
    found = {path: screens(path) for path in most}
    screens("index.html")
    first = page.locator("table.hulls tbody tr").first.bounding_box()
    page.close()

    assert {path: n for path, n in found.items() if n > most[path]} == {}
    assert first is not None
    assert first["y"] + first["height"] < PHONE["height"]


def test_on_a_laptop_the_list_is_short_and_its_first_screen_tells_every_job(
    demo: DemoRun, browser: Browser
) -> None:
    """It was 14.7 screens, with the tables behind the list open."""
    page = browser.new_page(viewport=LAPTOP)  # type: ignore[arg-type]  # a dict is taken
    page.goto((demo.site / "index.html").as_uri())
    height: float = page.evaluate("document.documentElement.scrollHeight")
    jobs = page.locator(".week-jobs").bounding_box()
    page.close()

    assert height / LAPTOP["height"] < LIST_SCREENS
    assert jobs is not None
    assert jobs["y"] + jobs["height"] < LAPTOP["height"]


def test_what_an_operator_reads_of_the_demo_is_in_plain_words(demo: DemoRun) -> None:
    pages = {
        path: (demo.site / path).read_text(encoding="utf-8")
        for path in ("index.html", "fuel/index.html", "mail/digest.txt", "mail/digest.html")
    } | {
        str(one.relative_to(demo.site)): one.read_text(encoding="utf-8")
        for group in ("hulls/*.html", "causes/*.html", "docks.html", "fuel-rules.html")
        for one in demo.site.glob(group)
    }
    rows = re.findall(r"<tr[^>]*data-hull.*?</tr>", pages["index.html"], re.DOTALL)

    assert {path: found for path, page in pages.items() if (found := faults(page))} == {}
    assert [found for row in rows if (found := said_twice(row))] == []
