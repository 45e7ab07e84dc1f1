"""Every form by the keyboard alone, and what a fill costs a hand in taps and keys."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from playwright.sync_api import Browser, Page, expect

from pipelines.home import Home
from ringland.dockside.forms import FORMS
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser
from tests.pipelines.dockside.shop_home import loaded_home
from tests.pipelines.dockside.test_forms_browser import (
    COUNT_TAPS,
    MOST_TAPS,
    PATIENCE_MS,
    PHONE,
    in_journal,
    kept,
    opened,
)
from tests.studies.dockside_phones import HERE, free_port, server

__all__ = ["browser"]  # a fixture of this module's tests

pytestmark = needs_chromium
MOST_TABS = 150
TODAY = datetime.now(UTC).strftime("%m%d%Y")
ANSWERS: dict[str, dict[str, str]] = {
    "fill": {"volume_l": "23.5", "source": "outside", "octane_aki": "91"},
    "delivery": {"dock_id": "north", "volume_l": "900", "octane_aki": "91"},
    "dip": {"dock_id": "north", "level_l": "400"},
    "hours": {"hull_id": "A1", "meter_h": "120", "meter_id": "M1"},
    "back": {"hull_id": "A1", "started_at": f"{TODAY}|120100A", "running_h": "0.2"},
    "leak-down": {"hull": "A2", "unit": "%", "value": "6"},
    "compression": {"hull": "A2", "unit": "psi", "value": "150"},
    "vacuum": {"hull": "A2", "unit": "inHg", "value": "29"},
    "hull-oil": {"engine_id": "E2", "value": "0", "unit": "ml"},
    "job": {"job_id": "A1/check/2026-08-17", "result": "done", "done_by": "Mia"},
    "release": {"hull_id": "A2", "what": "leak_down", "released_by": "Mia", "why": "seen to"},
    "failure": {"engine_id": "E2", "mode": "other", "how_found": "inspection"},
    "teardown": {"engine_id": "E2", "part": "piston", "finding": "scuffing", "state": "seen",
                 "cylinder": "1", "examined_by": "Mia"},
    "build": {"engine_id": "E2", "line": "ring_gap_top", "place": "1", "value": "0.4",
              "unit": "mm", "read_by": "Mia"},
    "correct": {"record_kind": "fills", "record_key": "A1; 2026-08-01T09:00:00Z",
                "change": "withdrawn", "reason": "written twice"},
}  # fmt: skip
"""What is typed, by form and column; `hull` is the picker of the hull an engine sits in."""
FOCUSED = """() => {
  const at = document.activeElement;
  return { id: at.id, name: at.name || at.dataset.column || at.id, type: at.type, tag: at.tagName,
    value: at.value, choices: at.tagName === "SELECT" ? [...at.options].map(one => one.value) : [],
    seen: at.matches(":focus-visible"), shown: at.offsetParent !== null };
}"""

KEY_S, POINT_S, MENTAL_S = 0.5, 1.1, 1.35
"""Card, Moran and Newell's keystroke-level model (CACM 23, 1980): a key of one who types signs
without practice, pointing at a target, making up one's mind before each.  Values from memory."""
MOST_S = 10.0


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Home, str]]:
    home, port = loaded_home(tmp_path_factory.mktemp("keys") / "home"), free_port()
    with server(home.folder, port):
        yield home, f"http://{HERE}:{port}"


@pytest.fixture(scope="module")
def page(browser: Browser, served: tuple[Home, str]) -> Iterator[Page]:
    context = browser.new_context(viewport=PHONE, locale="en-US", timezone_id="UTC")  # type: ignore[arg-type]
    page, _ = opened(context, served[1])
    yield page
    context.close()


def answer(page: Page, told: dict[str, object], wanted: str) -> None:
    """Answer the control that has the focus, by keys."""
    keys = page.keyboard
    if told["type"] == "radio":
        for _ in range(8):
            if page.evaluate("() => document.activeElement.value") == wanted:
                keys.press("Space")
                return
            keys.press("ArrowRight")
        pytest.fail(f"no button says {wanted}")
    if told["tag"] == "SELECT":
        choices = told["choices"]
        assert isinstance(choices, list)
        for _ in range(choices.index(wanted)):
            keys.press("ArrowDown")
    elif told["type"] == "datetime-local":
        day, _, time = wanted.partition("|")
        keys.type(day)
        keys.press("ArrowRight")
        keys.type(time)
    else:
        keys.type(wanted)


@pytest.mark.parametrize("form", FORMS)
def test_a_form_is_filled_in_and_kept_by_the_keyboard_alone(
    page: Page, served: tuple[Home, str], form: str
) -> None:
    home, origin = served
    before = len(in_journal(home)) if (home.dockside / "journal.jsonl").exists() else 0
    answers, answered = ANSWERS[form], set[str]()
    page.goto(f"{origin}/write/{form}" + ("?hull=A1" if form == "fill" else ""))

    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        told = page.evaluate(FOCUSED)
        by_itself = told["tag"] == "BODY" or told["type"] == "datetime-local"  # its parts show it
        assert told["seen"] or by_itself, told
        if told["id"] == "keep":
            break
        name = told["name"]
        once = told["type"] == "radio" and name in answered
        is_there = told["type"] != "radio" and told["value"] == answers.get(name)
        if name in answers and not once and not is_there:
            answer(page, told, answers[name])
        answered.add(name)
    else:
        pytest.fail("the keyboard never came to Keep")
    page.keyboard.press("Enter")

    kept(page)
    assert set(answers) <= answered
    expect(page.locator("body")).not_to_have_attribute("data-refused", "1", timeout=PATIENCE_MS)
    made = in_journal(home)[before:]
    assert {one.kind for one in made} == {FORMS[form].kind}
    assert len(made) == {"leak-down": 3, "compression": 3, "vacuum": 6}.get(form, 1)


def test_a_fill_of_a_scanned_hull_costs_a_hand_six_taps_and_ten_seconds_at_most(
    browser: Browser, served: tuple[Home, str]
) -> None:
    """Taps and keys are counted and priced; no clock of this machine says anything of a hand."""
    context = browser.new_context(viewport=PHONE, has_touch=True)  # type: ignore[arg-type]
    page, wrong = opened(context, served[1])
    page.add_init_script(COUNT_TAPS)
    page.goto(f"{served[1]}/write?hull=A1")  # as the code on the hull opens it
    taps, keys = 0, 0
    for step in ("Fill", "Volume, l", "Keep"):
        if step == "Fill":
            page.get_by_role("link", name=step, exact=True).tap()
            page.wait_for_url("**/write/fill?hull=A1")
            expect(page.get_by_label("Octane (AKI)")).to_have_value("91")
            taps += 1
        elif step == "Keep":
            page.get_by_role("button", name=step).tap()
        else:
            page.get_by_label(step).tap()
            for key in "24.5":
                page.keyboard.press(key)
                keys += 1
    kept(page)
    taps += page.evaluate("window.taps")
    context.close()

    made = in_journal(served[0])[-1]
    seconds = taps * (POINT_S + MENTAL_S) + keys * KEY_S
    assert made.cells["volume_l"] == "24.5"
    assert taps <= MOST_TAPS
    assert (taps, keys) == (3, 4)  # as the docs count them
    assert seconds <= MOST_S
    assert wrong == []
