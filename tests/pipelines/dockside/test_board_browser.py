"""Two phones and a wall at once: what is written on one stands on the others by itself."""

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from pipelines.dockside.people import People
from pipelines.home import Home
from ringland.dockside.roles import DOCK_HAND, MECHANIC
from tests.dockside.small_shop import entry
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser
from tests.pipelines.dockside.asking import as_json
from tests.pipelines.dockside.shop_home import loaded_home
from tests.studies.dockside_phones import HERE, free_port, server

__all__ = ["browser"]  # a fixture of this module's tests

pytestmark = needs_chromium
PASSWORD = "a wet rope and a dry hand"  # noqa: S105 - of nobody
PATIENCE_MS = 60_000
SEND = """async entries => {
  const { token } = await (await fetch("/token")).json();
  const answer = await fetch("/entries", { method: "POST", body: JSON.stringify({ entries }),
    headers: { "content-type": "application/json", "x-dockside-token": token } });
  return (await answer.json()).answers.map(one => one.outcome);
}"""


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Home, str]]:
    home, port = loaded_home(tmp_path_factory.mktemp("board") / "home"), free_port()
    with server(home.folder, port):
        yield home, f"http://{HERE}:{port}"


def joined(
    browser: Browser, served: tuple[Home, str], role: str, dock: str | None, width: int
) -> tuple[Page, list[str]]:
    """A browser of its own that took its invitation up, and all it complains of or asks for."""
    home, origin = served
    name = f"{role} {width}"
    secret = People(home.dockside).invite(name, role, datetime.now(UTC), None, dock)
    page = browser.new_context(viewport={"width": width, "height": 844}).new_page()
    page.set_default_timeout(PATIENCE_MS)
    wrong: list[str] = []
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("request", lambda one: None if one.url.startswith(origin) else wrong.append(one.url))
    page.goto(f"{origin}/join/{secret}")
    page.get_by_label("A password of your own").fill(PASSWORD)
    page.get_by_label("A password of your own").press("Enter")
    page.wait_for_url(f"{origin}/")
    return page, wrong


def fill(hull: str, **more: str) -> dict[str, Any]:
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    cells = {"hull_id": hull, "filled_at": now, "volume_l": "30", "source": "outside"} | more
    return as_json(entry("fills", cells))


def test_weak_fuel_written_on_one_phone_stands_on_the_wall_and_not_on_anothers(
    browser: Browser, served: tuple[Home, str]
) -> None:
    wall, at_wall = joined(browser, served, MECHANIC, None, 1920)
    hand, at_hand = joined(browser, served, DOCK_HAND, "north", 390)
    other, at_other = joined(browser, served, DOCK_HAND, "south", 391)
    raised = {"engine_id": "E3", "in_force_at": "2026-07-01T00:00:00Z", "calibration": "raised",
              "octane_need_aki": "93"}  # fmt: skip
    expect(wall.locator("main")).to_contain_text("B1", timeout=PATIENCE_MS)
    assert wall.evaluate(SEND, [as_json(entry("calibrations", raised))]) == ["kept"]

    weak = fill("A1", octane_aki="87")
    assert hand.evaluate(SEND, [weak, fill("B1")]) == ["kept", "refused"]
    assert hand.evaluate(SEND, [weak]) == ["known"]

    for page in (wall, hand):
        expect(page.locator("main")).to_contain_text("87.0 AKI was filled", timeout=PATIENCE_MS)
    assert "A1" not in other.locator("main").inner_text()
    assert hand.evaluate("document.documentElement.scrollWidth") <= 390
    assert [*at_wall, *at_hand, *at_other] == []
    for page in (wall, hand, other):
        page.context.close()
