"""The entry forms on a phone of 390 px: taps, messages, what is kept out of reach, by whom."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, Page, expect

from pipelines.dockside.certificates import own_certificates
from pipelines.dockside.journal import read_journal
from pipelines.dockside.people import People
from pipelines.home import JOURNAL, Home
from ringland.dockside.entries import Entry
from ringland.dockside.forms import FORMS
from ringland.dockside.roles import OWNER
from tests.built_once import BuiltOnce
from tests.outside_tools import ARGUMENTS, CHROMIUM, needs_chromium, needs_npm
from tests.pages.report_in_browser import browser
from tests.pages.test_report_access import axe
from tests.pipelines.dockside.shop_home import loaded_home
from tests.studies.dockside_phones import HERE, free_port, server
from tests.studies.trusting_browser import trust

__all__ = ["axe", "browser"]  # fixtures of this module's tests

pytestmark = needs_chromium
PHONE = {"width": 390, "height": 844}
PATIENCE_MS = 60_000
OFFLINE = 30
OLGA, PASSWORD = "Olga", "a wet rope and a dry hand"
EVERYWHERE = "0.0.0.0"  # noqa: S104 - what a marina's server is told
MOST_TAPS = 6
COUNT_TAPS = """window.taps = 0;
addEventListener("pointerdown", () => { window.taps += 1; }, true);"""
LEAST_TARGET_PX = 44


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Home, str]]:
    home, port = loaded_home(tmp_path_factory.mktemp("forms") / "home"), free_port()
    with server(home.folder, port):
        yield home, f"http://{HERE}:{port}"


@dataclass(frozen=True)
class Secure:
    """A shop on the marina's network: its home, where phones find it, whom they must trust."""

    home: Home
    port: int
    authority: bytes

    @property
    def origin(self) -> str:
        return f"https://localhost:{self.port}"

    @contextmanager
    def serving(self) -> Iterator[None]:
        with server(self.home.folder, self.port, host=EVERYWHERE, authority=self.authority):
            yield


@pytest.fixture
def secure(tmp_path_factory: pytest.TempPathFactory) -> Secure:
    home = loaded_home(tmp_path_factory.mktemp("away") / "home")
    people, now = People(home.dockside), datetime.now(UTC)
    people.join(people.invite(OLGA, OWNER, now, None, None), PASSWORD, now)
    made = own_certificates(home.dockside, ["localhost"], now)
    return Secure(home, free_port(), made.authority.certificate)


@pytest.fixture
def phone(browser: Browser, served: tuple[Home, str]) -> Iterator[tuple[Page, list[str]]]:
    """A phone's page, and all it complains of or asks of another machine."""
    context = browser.new_context(viewport=PHONE)  # type: ignore[arg-type]  # a TypedDict
    page, wrong = opened(context, served[1])
    yield page, wrong
    context.close()


def opened(context: BrowserContext, origin: str) -> tuple[Page, list[str]]:
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    page.on("request", lambda one: None if one.url.startswith(origin) else wrong.append(one.url))
    return page, wrong


def in_journal(home: Home) -> list[Entry]:
    path = home.dockside / JOURNAL
    return [one.entry for one in read_journal(path, 0, path.stat().st_size)]


def kept(page: Page) -> None:
    """Wait until nothing is on the phone alone."""
    expect(page.locator("#said")).to_contain_text("ept on this phone", timeout=PATIENCE_MS)
    expect(page.locator("body")).to_have_attribute("data-waits", "0", timeout=PATIENCE_MS)


def test_a_fill_is_kept_in_at_most_six_taps(
    phone: tuple[Page, list[str]], served: tuple[Home, str]
) -> None:
    page, wrong = phone
    page.add_init_script(COUNT_TAPS)
    page.goto(f"{served[1]}/write?hull=A1")  # as the sheet's code opens it
    expect(page.locator("#begun-at")).to_have_text("Hull A1")
    page.get_by_role("link", name="Fill", exact=True).click()
    expect(page.get_by_label("Octane (AKI)")).to_have_value("91")  # the last one, offered
    page.get_by_label("Volume, l").click()
    page.keyboard.type("23.5")
    page.get_by_role("button", name="Keep").click()
    kept(page)

    made = in_journal(served[0])[-1]
    assert page.evaluate("window.taps") <= MOST_TAPS
    assert (made.kind, made.cells["hull_id"], made.cells["volume_l"]) == ("fills", "A1", "23.5")
    assert (made.cells["source"], made.cells["octane_aki"]) == ("outside", "91")
    assert wrong == []


def test_a_failed_leak_down_reaches_the_board(
    phone: tuple[Page, list[str]], served: tuple[Home, str]
) -> None:
    page, wrong = phone
    page.goto(f"{served[1]}/write/leak-down?hull=A2")
    assert page.locator(".reading:visible").count() == 3  # its engine's cylinders
    page.get_by_label("Unit").fill("%")
    for cylinder, value in enumerate(("8", "62", "9"), start=1):
        page.get_by_label(f"Cylinder {cylinder}", exact=True).fill(value)
    page.get_by_role("button", name="Keep").click()
    kept(page)
    page.goto(f"{served[1]}/")

    alert = page.locator("li.do_not_rent", has_text="Leak-down failed on engine E2").first
    expect(alert).to_be_visible(timeout=PATIENCE_MS)
    assert wrong == []


def test_a_job_done_is_kept_with_who_did_it(
    phone: tuple[Page, list[str]], served: tuple[Home, str]
) -> None:
    page, wrong = phone
    page.goto(f"{served[1]}/write/job?job=A1/drain_refill/2026-08-17")
    page.get_by_role("radio", name="Done", exact=True).click()
    page.get_by_role("button", name="Keep").click()
    kept(page)

    made = in_journal(served[0])[-1]
    assert (made.kind, made.cells["result"]) == ("jobs_done", "done")
    assert made.cells["done_by"] == page.locator("meta[name=dockside-person]").get_attribute(
        "content"
    )
    assert wrong == []


def test_the_grade_offered_for_one_source_is_not_written_of_the_other(
    phone: tuple[Page, list[str]], served: tuple[Home, str]
) -> None:
    page, _ = phone
    page.goto(f"{served[1]}/write/fill?hull=A1")
    page.get_by_role("radio", name="Dock", exact=True).click()

    expect(page.get_by_label("Octane (AKI)")).to_have_value("")
    expect(page.get_by_label("From dock")).to_have_value("north")


def test_a_fault_is_told_at_its_field_while_typing(
    phone: tuple[Page, list[str]], served: tuple[Home, str]
) -> None:
    page, _ = phone
    page.goto(f"{served[1]}/write/fill?hull=A1")
    page.get_by_label("Volume, l").fill("4000")

    fault = page.locator("[data-field=volume_l] .fault")
    expect(fault).to_contain_text("4,000", timeout=PATIENCE_MS)


def test_a_refused_entry_comes_back_with_its_message(
    phone: tuple[Page, list[str]], served: tuple[Home, str]
) -> None:
    page, _ = phone
    page.goto(f"{served[1]}/write/fill?hull=A1")
    page.get_by_label("Hull", exact=False).first.fill("A9")
    page.get_by_label("Volume, l").fill("20")
    page.get_by_role("button", name="Keep").click()
    expect(page.locator("body")).to_have_attribute("data-refused", "1", timeout=PATIENCE_MS)
    page.goto(f"{served[1]}/write")
    expect(page.locator("li.refused .fault")).to_contain_text("A9")
    page.get_by_role("link", name="Put it right").click()

    expect(page.get_by_label("Volume, l")).to_have_value("20")
    expect(page.locator("[data-field=hull_id] .fault")).to_contain_text("A9")


def test_a_mistake_is_put_right_from_the_phone_that_made_it(
    phone: tuple[Page, list[str]], served: tuple[Home, str]
) -> None:
    page, wrong = phone
    page.goto(f"{served[1]}/write/fill?hull=A2")
    page.get_by_role("radio", name="Outside", exact=True).click()
    page.get_by_label("Volume, l").fill("64")
    page.get_by_role("button", name="Keep").click()
    kept(page)
    page.goto(f"{served[1]}/write")
    page.locator("li.held", has_text="64").get_by_role("link", name="Put it right").click()
    page.get_by_role("radio", name="Corrected", exact=True).click()
    page.get_by_label("What in it is wrong").fill("volume_l")
    page.get_by_label("What it should say").fill("46")
    page.get_by_label("Reason").fill("read upside down")
    page.get_by_role("button", name="Keep").click()
    kept(page)
    expect(page.locator("body")).to_have_attribute("data-refused", "0")

    *_, first, second = in_journal(served[0])
    assert first.cells["volume_l"] == "64"
    assert (second.kind, second.cells["new_value"]) == ("corrections", "46")
    assert second.cells["record_key"].startswith("A2; ")
    page.goto(f"{served[1]}/")
    told = page.locator("li", has_text="Put a mistake right").first
    expect(told).to_contain_text("read upside down", timeout=PATIENCE_MS)
    expect(told).to_contain_text("A2")
    assert wrong == []


def test_a_form_works_by_keyboard_alone(
    phone: tuple[Page, list[str]], served: tuple[Home, str]
) -> None:
    page, _ = phone
    page.goto(f"{served[1]}/write/hours?hull=A1")
    page.get_by_label("Hours shown").focus()
    for keys in ("12.4", "Tab", "M1", "Enter"):
        (page.keyboard.press if keys in ("Tab", "Enter") else page.keyboard.type)(keys)
    kept(page)

    assert in_journal(served[0])[-1].cells["meter_h"] == "12.4"


def test_thirty_entries_made_out_of_reach_arrive_once_and_in_order_after_close_and_open(
    browser: Browser, secure: Secure, tmp_path: Path
) -> None:
    """Over the shop's own authority, which the browser was told to trust, no error ignored."""
    trusting = trust(tmp_path / "trust", secure.authority)
    home, origin = secure.home, secure.origin

    def phone_again() -> BrowserContext:
        return browser.browser_type.launch_persistent_context(
            tmp_path / "phone",
            executable_path=CHROMIUM,
            args=ARGUMENTS,
            viewport=PHONE,  # type: ignore[arg-type]
            env={**os.environ, **trusting},
        )

    with secure.serving():
        stranger = browser.new_page()
        with pytest.raises(Error, match="ERR_CERT_AUTHORITY_INVALID"):
            stranger.goto(f"{origin}/sign-in")
        stranger.close()
        context = phone_again()
        page, _ = opened(context, origin)
        page.goto(f"{origin}/sign-in")
        page.get_by_label("Name").fill(OLGA)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(f"{origin}/")
        page.goto(f"{origin}/write")
        expect(page.locator("body")).to_have_attribute("data-held", "yes", timeout=PATIENCE_MS)
    page.goto(f"{origin}/write/fill?hull=A1")
    for number in range(OFFLINE):
        page.get_by_label("Hull", exact=False).first.fill("A1")
        page.get_by_label("Volume, l").fill(str(10 + number))
        page.get_by_role("button", name="Keep").click()
        waits = str(number + 1)
        expect(page.locator("body")).to_have_attribute("data-waits", waits, timeout=PATIENCE_MS)
    context.close()
    context = phone_again()
    page, _ = opened(context, origin)
    page.goto(f"{origin}/write")
    expect(page.locator("#kept")).to_contain_text("30 on this phone only")
    with secure.serving():
        expect(page.locator("#entries li.held")).to_have_count(OFFLINE, timeout=PATIENCE_MS)
    context.close()
    litres = [float(one.cells["volume_l"]) for one in in_journal(home)]

    assert litres == [float(10 + number) for number in range(OFFLINE)]


LOOKS = (("light", 390, None), ("light", 1280, None), ("dark", 390, ["color-contrast"]),
         ("dark", 1280, ["color-contrast"]))  # fmt: skip
"""Scheme, width, and the rules that may differ from the look before; None: all there are."""
PAGES = ("/people", "/people/audit", "/sign-in")


@needs_npm
def test_every_form_and_page_of_people_is_clean_to_axe_and_large_enough_to_hit(
    browser: Browser, served: tuple[Home, str], axe: str, built_once: BuiltOnce
) -> None:
    """Each at a phone's width and a desktop's, light and dark."""
    del built_once
    context = browser.new_context(bypass_csp=True)
    page, _ = opened(context, served[1])
    found: list[object] = []
    forms = [f"/write{name}?hull=A1" for name in ("", *(f"/{form}" for form in FORMS))]
    for path in (*forms, *PAGES):
        page.goto(f"{served[1]}{path}")
        page.evaluate(axe)
        for scheme, width, rules in LOOKS:
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            page.set_viewport_size({"width": width, "height": 844})
            only = {"runOnly": {"type": "rule", "values": rules}} if rules else {}
            result = page.evaluate("only => axe.run(document, only)", only)
            assert result["passes"], (path, scheme, width)  # it did look
            found += [
                (path, scheme, width, one["id"], one["nodes"][0]["html"])
                for one in result["violations"]
            ]
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        sizes = page.eval_on_selector_all(
            "main input:not([type=hidden]), main select, main button, main a, main summary",
            "all => all.filter(one => one.offsetParent)"
            ".map(one => one.getBoundingClientRect().height)",
        )
        assert min(sizes) >= LEAST_TARGET_PX, path
    context.close()

    assert found == []


@needs_npm
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_board_is_clean_to_axe_on_a_phone_and_a_desktop(
    browser: Browser, served: tuple[Home, str], axe: str, scheme: str
) -> None:
    context = browser.new_context(color_scheme=scheme, bypass_csp=True)  # type: ignore[arg-type]
    page, _ = opened(context, served[1])
    found: list[object] = []
    for width in (390, 1280):
        page.set_viewport_size({"width": width, "height": 844})
        page.goto(f"{served[1]}/")
        page.evaluate(axe)
        result = page.evaluate("axe.run(document)")
        found += [(width, one["id"], one["nodes"][0]["html"]) for one in result["violations"]]
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()

    assert found == []
