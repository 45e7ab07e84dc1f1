"""The small fleet's site on disk and a headless Chromium, for the tests that open pages."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

from ringland.pages.site.report_page import build_site
from tests.decision.small_fleet import small_fleet
from tests.outside_tools import ARGUMENTS, CHROMIUM
from tests.pages.small_proof import small_proof
from tests.pages.small_score import history
from tests.pages.small_state import small_state


@pytest.fixture(scope="module")
def site_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The site of the small fleet, as its operator gets it."""
    folder = tmp_path_factory.mktemp("site")
    fleet = small_fleet()
    report = fleet.report()
    site = build_site(
        report,
        what_ifs=fleet.what_ifs(report),
        score=history(40, followed_d=90),
        proof=small_proof(fleet),
        records=small_state(fleet),
    )
    for path, content in site.items():
        file = folder / path
        file.parent.mkdir(exist_ok=True)
        file.write_bytes(content)
    return folder


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """A Chromium that asks nothing of the network."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()
