"""Two phones and a desktop at once: an entry's way to the board, the list and the hull's page."""

import re
import shutil
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from playwright.sync_api import Browser, Page, expect

from pipelines import command_line, job_commands
from pipelines.command_line import main
from pipelines.dockside.journal import read_journal
from pipelines.home import JOURNAL, Home
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser
from tests.pipelines.dockside.test_forms_browser import PATIENCE_MS, kept, opened
from tests.pipelines.tiny_shop import WEEKS
from tests.studies.dockside_phones import HERE, free_port, server

__all__ = ["browser"]  # a fixture of this module's tests

pytestmark = needs_chromium
FIRST = WEEKS[0]
FAILED = "engine_id,inspected_at,measure,cylinder,state,value,unit,is_warm\n" + "".join(
    f"E1,2026-05-20T09:00:00Z,leak_down,{cylinder},measured,{value},%,yes\n"
    for cylinder, value in ((1, 5), (2, 30), (3, 5))
)
PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}


@pytest.fixture(scope="module")
def served(
    tiny_loaded: Home, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Home, str]]:
    """A shop with a list given out that asks for a leak to be found on A1, and its server.

    Asked for before the browser, whose loop keeps the graph's from running.
    """
    folder = tmp_path_factory.mktemp("way")
    home = Home(Path(shutil.copytree(tiny_loaded.folder, folder / "home")))
    (folder / "inspections.csv").write_text(FAILED)
    with pytest.MonkeyPatch.context() as clock:
        for commands in (command_line, job_commands):
            clock.setattr(commands, "_now", lambda: datetime.fromisoformat(f"{FIRST}T08:00:00Z"))
        for arguments in (["load", str(folder / "inspections.csv")], ["week"]):
            done = CliRunner().invoke(main, ["--home", str(home.folder), *arguments])
            assert done.exit_code == 0, done.output
    port = free_port()
    with server(home.folder, port):
        yield home, f"http://{HERE}:{port}"


def screen(browser: Browser, origin: str, size: dict[str, int]) -> tuple[Page, list[str]]:
    return opened(browser.new_context(viewport=size), origin)  # type: ignore[arg-type]


def test_a_fill_a_failed_test_and_a_job_done_reach_board_list_and_hull_page(
    served: tuple[Home, str], browser: Browser
) -> None:
    """A list served on the day of a failed test said nothing of it."""
    home, origin = served
    hand, at_hand = screen(browser, origin, PHONE)
    bench, at_bench = screen(browser, origin, PHONE)
    wall, at_wall = screen(browser, origin, DESKTOP)
    board = wall.locator("main")
    job = f"A1/find_the_leak/{FIRST}"
    wall.goto(f"{origin}/")
    expect(board).to_contain_text(job, timeout=PATIENCE_MS)
    assert "Leak-down failed on engine E2" not in board.inner_text()

    hand.goto(f"{origin}/write/fill?hull=A1")
    hand.get_by_label("Volume, l").fill("23.5")
    hand.get_by_role("button", name="Keep").click()
    bench.goto(f"{origin}/write/leak-down?hull=A2")
    bench.get_by_label("Unit").fill("%")
    for cylinder, value in enumerate(("8", "62", "9"), start=1):
        bench.get_by_label(f"Cylinder {cylinder}", exact=True).fill(value)
    bench.get_by_role("button", name="Keep").click()
    kept(hand)
    kept(bench)
    expect(board).to_contain_text("Leak-down failed on engine E2, cylinder 2", timeout=PATIENCE_MS)
    expect(board).to_contain_text("volume 23.5 l", timeout=PATIENCE_MS)

    bench.goto(f"{origin}/write/job?job={job}")
    bench.get_by_role("radio", name="Done", exact=True).click()
    bench.get_by_role("button", name="Keep").click()
    kept(bench)
    jobs = wall.locator("section", has=wall.get_by_role("heading", name="Open jobs"))
    expect(jobs.get_by_text(job)).to_have_count(0, timeout=PATIENCE_MS)
    expect(board).to_contain_text(f"Job done, {today(wall)}", timeout=PATIENCE_MS)

    beside = wall.locator("aside.since")
    wall.goto(f"{origin}/week/")
    expect(beside).to_contain_text("Do not rent")
    expect(beside).to_contain_text("A2: Leak-down failed on engine E2, cylinder 2")
    expect(beside).to_contain_text("as of the night of Sun 31 May 2026")
    expect(beside).to_contain_text("volume 23.5 l")
    for page, hull, words, others in (
        (wall, "A2", "cylinder 2, value 62 %", "volume 23.5 l"),
        (hand, "A1", "volume 23.5 l", "value 62"),
        (bench, "A1", job, "value 62"),
    ):
        page.goto(f"{origin}/hull/{hull}")
        beside = page.locator("aside.since")
        expect(beside).to_contain_text(words)
        expect(beside).not_to_contain_text(others)
        assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    path = home.dockside / JOURNAL
    made = [one.entry.kind for one in read_journal(path, 0, path.stat().st_size)]
    assert sorted(set(made)) == ["fills", "inspections", "jobs_done"]
    assert [*at_hand, *at_bench, *at_wall] == []
    for page in (hand, bench, wall):
        page.context.close()


def today(page: Page) -> str:
    """The day as the board writes it."""
    told = page.locator("main").get_by_text(re.compile(r"Fill, ")).first.inner_text()
    return told.partition("Fill, ")[2].partition(",")[0]
