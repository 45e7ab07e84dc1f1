"""The shop's pages in headless Chromium, opened from disk at laptop and phone width."""

from importlib.resources import files
from pathlib import Path

import pytest
from playwright.sync_api import sync_playwright

from tests.outside_tools import ARGUMENTS, CHROMIUM, needs_chromium
from tests.reports.test_cause_report import HOSTILE, shop, whole_site

pytestmark = needs_chromium


@pytest.mark.parametrize("width", [390, 1280])
def test_the_pages_open_from_disk_without_fault_or_overflow(tmp_path: Path, width: int) -> None:
    site = whole_site(shop(complaint=HOSTILE, photo="a.png"))
    for name, content in site.items():
        file = tmp_path / name
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(content)
    look = files("ringland.pages").joinpath("frame", "ringland.css")
    (tmp_path / "ringland.css").write_bytes(look.read_bytes())
    faults: list[str] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": width, "height": 900})
        page.on("console", lambda message: faults.append(message.text))
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("dialog", lambda dialog: faults.append(dialog.message))
        page.on(
            "request",
            lambda request: (
                None if request.url.startswith(("file:", "data:")) else faults.append(request.url)
            ),
        )
        page.goto((tmp_path / "causes" / "index.html").as_uri())
        for name in (n for n in site if n.endswith(".html")):
            page.goto((tmp_path / name).as_uri())
            assert page.evaluate("document.documentElement.scrollWidth") <= width, name
            assert page.locator("h1").count() == 1
            broken = page.evaluate(
                "Array.from(document.images).filter((i) => !i.complete || !i.naturalWidth).length"
            )
            assert broken == 0, name
        page.goto((tmp_path / "causes" / "index.html").as_uri())
        page.get_by_role("link", name="E-P0").click()
        assert page.get_by_role("heading", name="6. Causes, ranked").is_visible()
        browser.close()
    assert faults == []
