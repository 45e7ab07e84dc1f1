"""The number of lift slots picked on the fleet page shows the planner's own plan."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page

from ringland.pages.fleet.slot_lines import slot_rows
from ringland.pages.site.report_page import build_site
from tests.decision.small_fleet import small_fleet
from tests.pages.report_in_browser import site_folder, unfold
from tests.pages.test_report_browser import (
    assert_no_sideways_scroll,
    browser,
    page,
    pytestmark,
)

__all__ = ["browser", "page", "pytestmark", "site_folder"]


def test_the_slots_picked_show_cost_and_hulls_of_that_plan(page: Page, site_folder: Path) -> None:
    report = small_fleet().report()
    rows = slot_rows(report.decisions, report.catalogue, report.prices.currency)
    trials = {trial.lift_slots: trial for trial in report.decisions.slots}
    assert len(rows) > 3
    page.goto((site_folder / "index.html").as_uri())
    unfold(page)
    shown = page.locator("#slots li:not([hidden])")

    assert shown.count() == 1
    assert "as the week stands" in shown.inner_text()
    for row in rows:
        page.select_option("#slots select", str(row["slots"]))
        assert shown.count() == 1
        cost = float(shown.get_attribute("data-cost") or "nan")
        assert cost == pytest.approx(trials[row["slots"]].total_cost, rel=1e-9)
        text = shown.inner_text().replace("\N{NO-BREAK SPACE}", " ")
        assert row["cost_line"] in text
        links = shown.locator("a").all_inner_texts()
        assert links == [hull for hull, _ in (*row["comes_in"], *row["goes_out"])]
    assert_no_sideways_scroll(page)


def test_slots_are_picked_by_keyboard_alone(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "index.html").as_uri())
    unfold(page)
    page.focus("#slots select")
    before = page.locator("#slots li:not([hidden])").inner_text()
    page.keyboard.press("ArrowDown")
    after = page.locator("#slots li:not([hidden])").inner_text()

    assert re.match(r"\d+ lift slots?:", after)
    assert after != before


def test_every_line_is_there_without_scripts_and_on_paper(page: Page, site_folder: Path) -> None:
    text = (site_folder / "index.html").read_text()
    lines = re.findall(r'<li data-slots="(\d+)" data-cost="[^"]+">', text)

    assert len(lines) == len(small_fleet().report().decisions.slots)


def test_a_plan_without_slot_trials_says_nothing() -> None:
    report = small_fleet().report()
    bare = replace(report.decisions, slots=())

    assert slot_rows(bare, report.catalogue, "USD") == []


def test_where_no_slot_changes_anything_the_page_says_so_in_one_line() -> None:
    report = small_fleet().report()
    now = next(trial for trial in report.decisions.slots
               if trial.lift_slots == report.decisions.plan.room["lift slots"])  # fmt: skip
    same = tuple(replace(now, lift_slots=trial.lift_slots) for trial in report.decisions.slots)
    changed = replace(report, decisions=replace(report.decisions, slots=same))
    page = build_site(changed)["index.html"].decode()

    assert "Nothing this week: with 0 to" in page
    assert '<select name="slots"' not in page
