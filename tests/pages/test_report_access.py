"""The pages judged by axe-core (npm, 4.14.1), an outside reader of the accessibility rules.

Its source comes from the package registry into a temporary folder; nothing of it is kept.
"""

import subprocess
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from ringland.pages.site.proof_pages import PROOF_PAGES
from tests.built_once import BuiltOnce
from tests.outside_tools import needs_chromium, needs_npm
from tests.pages.report_in_browser import browser, draw_all, site_folder

__all__ = ["browser", "site_folder"]  # fixtures of this module's tests

AXE = "axe-core@4.14.1"  # pinned, so that a new rule does not change an old page's verdict
PAGES = (
    "index.html",
    "hulls/H03.html",
    "hulls/H01.html",
    "how-we-know.html",
    "settings.html",
    "score.html",
    "records/index.html",
    *PROOF_PAGES.values(),
    "mail/digest.html",
)

RULES = {
    (390, "light"): {},
    (1280, "light"): {"rules": {"color-contrast": {"enabled": False}}},
    (390, "dark"): {"runOnly": ["cat.color"]},
    (1280, "dark"): {"runOnly": ["cat.color"]},
}
"""Every rule once by width; those of colour, the one thing that differs then, by night."""
LEAST = {"light": 11, "dark": 1}
"""Rules that must have found something to pass."""

pytestmark = [
    *needs_chromium,
    needs_npm,
]


@pytest.fixture(scope="session")
def axe(built_once: BuiltOnce) -> str:
    def fetch(folder: Path) -> None:
        subprocess.run(
            ["npm", "install", "--no-audit", "--no-fund", "--no-save", "--no-package-lock", AXE],
            cwd=folder,
            check=True,
            capture_output=True,
            timeout=120,
        )

    folder = built_once("axe", fetch)
    return (folder / "node_modules" / "axe-core" / "axe.min.js").read_text()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_no_fault_of_weight(
    browser: Browser, site_folder: Path, axe: str, width: int, scheme: str
) -> None:
    context = browser.new_context(
        viewport={"width": width, "height": 800},
        color_scheme=scheme,  # type: ignore[arg-type]  # Playwright types it as a literal
    )
    page = context.new_page()
    found = []
    for name in PAGES:
        page.goto((site_folder / name).as_uri())
        page.wait_for_load_state("load")
        if "data-chart" in (site_folder / name).read_text():
            draw_all(page)
        page.evaluate(axe)
        result = page.evaluate("rules => axe.run(document, rules)", RULES[width, scheme])
        assert len(result["passes"]) >= LEAST[scheme], name  # it did look
        found += [
            (name, fault["impact"], fault["id"], fault["nodes"][0]["html"])
            for fault in result["violations"]
            if fault["impact"] in ("moderate", "serious", "critical")
        ]
    context.close()
    assert found == []
