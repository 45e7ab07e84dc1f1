"""The invented demo fleet: every failed engine gets its report; rebuilds are compared."""

import json
import re
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from playwright.sync_api import sync_playwright

from ringland.bench.bench_limits import default_bench_limits
from ringland.bench.bench_station import station_pressures
from ringland.bench.bench_tests import judge_bench_tests
from ringland.causes.cause_table import default_cause_table
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.decision.actions.action_prices import prices
from ringland.exposure.exposure_spells import spells
from ringland.exposure.octane_margin import session_exposure
from ringland.fuel.session_fuel import session_fuel
from ringland.history.engine_history import piston_lives
from ringland.history.hour_meter import engine_sessions
from ringland.history.known_then import known_by
from ringland.intake.intake import take_in
from ringland.intake.written.raw_text import read_raw
from ringland.pages.causes.cause_pages import build_cause_site, cause_page, report_name
from ringland.rebuilds.rebuild_comparison import (
    RebuildComparison,
    builds_after_rebuild,
    compare_rebuilds,
)
from ringland.reports.cause_case import ShopRecord
from ringland.reports.cause_report import CauseReport, cause_reports
from ringland.settings.assumptions import load_assumptions
from tests.outside_tools import ARGUMENTS, CHROMIUM, needs

DEMO = Path(__file__).parents[2] / "synthetic_data" / "demo"
AS_OF = datetime(2026, 10, 5, tzinfo=UTC)
ASSUMPTIONS = load_assumptions()


@pytest.fixture(scope="module")
def shop() -> ShopRecord:
    loaded: dict[str, pl.DataFrame] = {}
    known: dict[str, set[str]] = {}
    for name, kind in RECORD_KINDS.items():
        file = DEMO / f"{name}.csv"
        frame = take_in(kind, read_raw(file.name, file.read_bytes()), known).loaded
        loaded[name] = frame.select(kind.schema.column_names())
        if len(kind.key) == 1:
            known[name] = set(frame[kind.key[0]])
    records = known_by(loaded, AS_OF)
    sessions, _ = engine_sessions(records, ASSUMPTIONS)
    ledger = session_fuel(records, sessions, ASSUMPTIONS, AS_OF)
    limits = default_bench_limits()
    station = station_pressures(
        records["inspections"], records["installations"], records["hulls"], records["docks"]
    )
    return ShopRecord(
        as_of=AS_OF,
        is_demo=True,
        records=records,
        lives=piston_lives(records, sessions, AS_OF),
        exposure=session_exposure(ledger.sessions, sessions, ASSUMPTIONS),
        bench=judge_bench_tests(records["inspections"], records["engines"], station, limits),
        effects=(),
        prices=prices(records["costs"], AS_OF.year, ASSUMPTIONS),
        table=default_cause_table(),
        limits=limits,
        assumptions=ASSUMPTIONS,
        photos={},
        versions={"ringland": "test"},
    )


@pytest.fixture(scope="module")
def reports(shop: ShopRecord) -> tuple[CauseReport, ...]:
    return cause_reports(shop)


@pytest.fixture(scope="module")
def comparison(shop: ShopRecord) -> RebuildComparison:
    builds, _ = builds_after_rebuild(shop.lives, shop.records["rebuilds"], ASSUMPTIONS)
    stretches = spells(shop.exposure, shop.lives, ASSUMPTIONS)
    return compare_rebuilds(builds, stretches, ASSUMPTIONS, np.random.default_rng(5))


def test_every_failed_engine_has_its_page_and_its_pdf(
    shop: ShopRecord, reports: tuple[CauseReport, ...], comparison: RebuildComparison
) -> None:
    site = build_cause_site(shop, reports, comparison)
    failures = shop.records["failures"].height
    assert failures > 20
    assert len({report_name(report) for report in reports}) == failures
    newest = sorted(reports, key=lambda one: one.found_at)
    for report in newest[-int(ASSUMPTIONS.number("report.cause_files")) :]:
        assert site[f"causes/{report_name(report)}.pdf"].startswith(b"%PDF")
    for report in reports:
        assert b"Invented demo data" in site[f"causes/{report_name(report)}.html"]
    assert b"Invented demo data" in site["causes/rebuilds.html"]


@pytest.mark.browser
@needs(CHROMIUM, "chromium")
def test_a_report_is_eight_phone_screens_and_whole_on_paper(
    reports: tuple[CauseReport, ...], tmp_path: Path
) -> None:
    """Reports were forty phone screens (39,000 px) long: all tables open, every passing line."""
    (tmp_path / "causes").mkdir()
    folder = files("ringland.pages")
    for room, name, place in (("frame", "ringland.css", "."), ("causes", "evidence.css", "causes")):
        (tmp_path / place / name).write_bytes(folder.joinpath(room, name).read_bytes())
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        page = browser.new_page(viewport={"width": 390, "height": 844})
        pages = {report_name(made): cause_page(made) for made in reports}
        for name in sorted(pages, key=lambda name: len(pages[name]))[-8:]:
            file = tmp_path / "causes" / f"{name}.html"
            file.write_bytes(pages[name])
            page.goto(file.as_uri())
            assert page.evaluate("document.documentElement.scrollHeight") <= 8 * 844, file.name
        longest = max(reports, key=lambda one: len(one.acceptance))
        file.write_bytes(pages[report_name(longest)])
        page.goto(file.as_uri())
        page.emulate_media(media="print")
        shown = page.locator("main").inner_text()
        hidden = page.locator(".long").first.locator("summary").is_hidden()
        browser.close()
    assert hidden
    cells = [longest.measured[0][5], longest.acceptance[-1][1], longest.causes[0].support[0]]
    assert [cell for cell in cells if cell not in shown] == []
    assert longest.signatures[0].split(":")[0] in shown


def test_every_row_of_every_teardown_is_in_a_report(
    shop: ShopRecord, reports: tuple[CauseReport, ...]
) -> None:
    shown = {(r.engine_id, row[0], row[1]) for r in reports for row in r.found}
    entered = set(shop.records["teardowns"].select("engine_id", "part", "finding").iter_rows())
    assert entered <= shown


def test_no_demo_finding_is_unknown_to_the_cause_table(reports: tuple[CauseReport, ...]) -> None:
    assert not [note for r in reports for note in r.found_notes if "Not in the cause table" in note]


def test_no_headline_accuses_the_fuel_against_test_record_or_the_shops_own_word(
    shop: ShopRecord, reports: tuple[CauseReport, ...]
) -> None:
    """Three reports named 'fuel below need' at about 90 % or more.

    Two against a fuel sample and a record that met the need, the third while the shop itself
    had settled on the calibration.
    """
    fuel = "'Knock: fuel below need'"
    settled = {
        (row["engine_id"], row["found_at"]): row["confirmed_cause"]
        for row in shop.records["failures"].iter_rows(named=True)
    }
    asked = 0
    for made in reports:
        sample = [
            row[-1].split(",")[0]
            for row in made.found
            if row[1] == "fuel sample below the need of the calibration"
        ]
        record = next((c.record for c in made.causes if c.name == "Knock: fuel below need"), "")
        word = settled[made.engine_id, made.found_at]
        if "not seen" in sample or record.startswith("against") or word not in (None, "knock_fuel"):
            asked += 1
            assert fuel not in " ".join(made.summary), made.engine_id
        if word not in (None, "knock_fuel"):
            assert not any("The findings put 'Knock: fuel" in line for line in made.summary)
    assert asked >= 5


def test_no_headline_names_a_cause_that_its_own_test_or_the_record_speaks_against(
    reports: tuple[CauseReport, ...],
) -> None:
    for made in reports:
        named = re.findall(r"(?:speak most|speak) for '([^']+)'", made.summary[1])
        for cause in made.causes:
            if named and cause.name == named[0] and "not established" not in made.summary[1]:
                assert not cause.record.startswith("against"), made.engine_id
                assert cause.chance.startswith(("about", "over")), made.engine_id


def test_no_weight_of_a_report_stands_on_the_other_side_than_the_tables(
    shop: ShopRecord, reports: tuple[CauseReport, ...]
) -> None:
    """'Damage in one cylinder only (strong; from memory)' stood for fuel in 12 reports.

    The table says against; the settled cases had turned the sign and the mark did not follow.
    """
    table = {finding.words: finding for finding in shop.table.findings.values()}
    moved = 0
    for made in reports:
        for cause in made.causes:
            key = next((k for k, c in shop.table.causes.items() if c.name == cause.name), None)
            for side, lines in ((1, cause.support), (-1, cause.contradiction)):
                for line in lines:
                    moved += "moved by this shop's settled cases: seen in" in line
                    words, rest = re.split(r": (?=seen \(|not seen \()", line, maxsplit=1)
                    state = 1 if rest.startswith("seen") else -1
                    if key:
                        assert table[words].weight(key) * state * side > 0, line
    assert moved > 20


def test_no_report_names_another_driver_than_the_truths_main_part_above_60_percent(
    reports: tuple[CauseReport, ...],
) -> None:
    """Of the invented fleet the truth is known: which part of the hazard was the largest."""
    main = {
        "octane_below_need": "Knock: fuel below need",
        "raised_calibration": "Knock: calibration asks for more than the fuel gives",
    }
    truth = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["failures"]
    true_cause = {
        (one["engine_id"], (one["found_at"] or "")[:10]): one["true_cause"] for one in truth
    }
    drivers, told = set(main.values()), 0
    for made in reports:
        cause = true_cause.get((made.engine_id, f"{made.found_at:%Y-%m-%d}"))
        if made.mode != "ring_land_fracture" or cause is None:
            continue
        told += 1
        for ranked in made.causes:
            percent = re.search(r"(\d+) %", ranked.chance)
            if percent and ranked.name in drivers - {main.get(cause)}:
                assert int(percent[1]) <= 60, (made.engine_id, ranked.name, ranked.chance)
    assert told > 15


def test_no_report_contradicts_its_own_record_section(reports: tuple[CauseReport, ...]) -> None:
    for made in reports:
        against = [cause.name for cause in made.causes if cause.record.startswith("against")]
        named = re.findall(r"'([^']+)'", made.summary[1])
        assert not set(against) & set(named), made.engine_id
        assert not [line for line in made.summary if "two lines of evidence disagree" in line]


def test_the_rebuild_comparison_finds_what_was_built_in_no_effect_of_scope(
    comparison: RebuildComparison,
) -> None:
    # the demo's truth holds no effect of the scope or the head test on a set's life
    truth = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))["scenario"]
    assert not [name for name in truth["ring_land"] if "full" in name or "head" in name]
    assert comparison.ratios.height >= 2
    for row in comparison.ratios.iter_rows(named=True):
        assert row["low"] <= 1.0 <= row["high"], row
