"""What a hull's page costs a slow laptop before it answers, against reading the library at once.

Main-thread CPU (Chromium's thread ticks, so that other work on the machine hardly counts) from
opening the page to the what-if's first answer.  On the demo's TW-41, 2026-11-28, against the page
of commit 7ba2be3 in the same run: 0.052 s instead of 1.19 s (median of five), 1/23; again on
7b59292: 0.050 instead of 1.08, 1/22.
"""

import re
import statistics
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser, site_folder

__all__ = ["browser", "site_folder"]  # fixtures of this module's tests

pytestmark = [pytest.mark.benchmark, *needs_chromium]

RUNS = 5
CHOOSE = """() => {
  document.getElementById("what-if-section").open = true;
  document.querySelector("#what-if-actions input").click();
}"""
ANSWERED = "document.getElementById('what-if-outcome').textContent.includes('instead of')"


def test_a_hulls_page_answers_for_a_fifth_of_what_drawing_first_cost(
    browser: Browser, site_folder: Path
) -> None:
    page = site_folder / "hulls" / "H03.html"
    first = page.with_name("drawn-first.html")
    first.write_text(drawing_first(page.read_text()))
    now, before = [], []
    for _ in range(RUNS):
        now.append(cpu_to_answer(browser, page))
        before.append(cpu_to_answer(browser, first))
    took, cost = statistics.median(now), statistics.median(before)
    ratio = took / cost
    print(f"\n{took:.3f} s instead of {cost:.3f} s: {ratio:.3f}")

    assert ratio < 0.2


def drawing_first(page: str) -> str:
    """The page as it was: library, forms and pictures before it is ready."""
    later = re.search(r' data-later="([^"]*)"', page)
    assert later is not None
    scripts = "".join(f'<script defer src="{source}"></script>\n' for source in later[1].split())
    draw = (
        "<script>document.addEventListener('DOMContentLoaded',"
        " function () { window.ringlandDrawAll(); });</script>"
    )
    return page.replace(later[0], "").replace("</head>", f"{scripts}{draw}</head>")


def cpu_to_answer(browser: Browser, page_file: Path) -> float:
    """Seconds of the page's main thread from opening it to the answer to a choice."""
    page = browser.new_page(viewport={"width": 390, "height": 844})
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})
    page.goto(page_file.as_uri(), wait_until="load")
    page.evaluate(CHOOSE)
    page.wait_for_function(ANSWERED)
    told = session.send("Performance.getMetrics")["metrics"]
    page.close()
    return float(next(one["value"] for one in told if one["name"] == "TaskDuration"))
