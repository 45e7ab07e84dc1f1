"""The pages: nobody is left out, hostile text stays text, the same report is the same bytes."""

import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import PurePosixPath

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.decision.jobs.hull_state import job_short
from ringland.pages.fleet.fleet_page import week_jobs
from ringland.pages.site.report_page import build_site
from ringland.pages.site.site_frame import hull_pages
from ringland.pages.week.week_listing import WEEK_LIST_HEADINGS, week_list_lines
from ringland.risk.fleet_hazard import fit_fleet
from ringland.risk.shared_effects import SharedEffect, SharedEffects
from ringland.words import fixed_words as words
from ringland.words.number_words import money_text, price_text
from tests.decision.small_fleet import SETTINGS, SmallFleet, small_fleet
from tests.pages.small_proof import small_proof

HOSTILE = ("<script>alert(1)</script>", "../../etc/x", '"><img src=x onerror=alert(2)>', "</table>")
NAMED = ("a", "b", "c", *HOSTILE)
"""The first three hulls of the small fleet get no chance, so the hostile ones come after."""
SWAPPED = {
    "south": "south<b onclick=x()>",
    "E3": "E3</script><script>",
    "P3-3": "<a href='javascript:x()'>P3</a>",
    "stock": "{{ 7 * 7 }}<i>",
}
"""Texts of the records and what stands in their place: dock, engine, piston set, calibration."""


OWN_SCRIPTS = (
    "plotly.min.js",
    "charts.js",
    "folds.js",
    "sketches.js",
    "fleet.js",
    "slots.js",
    "what-if.js",
)


class Page(HTMLParser):
    """The tags, links, ids and text of a page."""

    def __init__(self, content: bytes) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.ids: list[str] = []
        self.handlers: list[str] = []
        self.scripts: list[dict[str, str | None]] = []
        self.text = ""
        self.feed(content.decode())

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        if tag == "script":
            self.scripts.append(dict(attrs))
        for name, value in attrs:
            if name in ("href", "src"):
                self.links.append(value or "")
            if name == "id":
                self.ids.append(value or "")
            if name.startswith("on"):
                self.handlers.append(name)

    def handle_data(self, data: str) -> None:
        self.text += data.replace("\N{NO-BREAK SPACE}", " ")


@pytest.fixture(scope="module")
def site() -> dict[str, bytes]:
    return small_site(small_fleet())


def small_site(fleet: SmallFleet) -> dict[str, bytes]:
    return build_site(fleet.report(), proof=small_proof(fleet))


@pytest.fixture(scope="module")
def hostile_site() -> dict[str, bytes]:
    fleet = small_fleet(names=NAMED)
    return small_site(
        replace(
            fleet,
            records={kind: hostile(frame) for kind, frame in fleet.records.items()},
            exposure=hostile(fleet.exposure),
            exposure_now=hostile(fleet.exposure_now),
            spells=hostile(fleet.spells),
            lives=hostile(fleet.lives),
            bench=hostile(fleet.bench),
        )
    )


def hostile(frame: pl.DataFrame) -> pl.DataFrame:
    """The frame with the texts of `SWAPPED` in place."""
    return frame.with_columns(pl.col(pl.String).replace(SWAPPED))


def pages_of(site: dict[str, bytes]) -> dict[str, Page]:
    return {path: Page(content) for path, content in site.items() if path.endswith(".html")}


def test_every_hull_in_service_is_on_the_fleet_page_and_has_its_own(site: dict[str, bytes]) -> None:
    fleet = Page(site["index.html"])
    for number in range(12):
        assert f"hulls/H{number:02d}.html" in fleet.links
        assert f"hulls/H{number:02d}.html" in site


def test_the_list_opens_with_every_job_of_the_week_and_who_it_is_for() -> None:
    """Found in use: what to do this week was told only hull by hull, 46 of them."""
    report = small_fleet().report()
    asked = {(what, sheet.hull_id) for sheet in report.hulls for what in sheet.call["do"]}

    jobs = week_jobs(report)

    labels = {job_short(what, report.catalogue): what for what, _ in asked}
    assert {(labels[job["label"]], hull) for job in jobs for hull in job["ids"]} == asked
    counts = [len(job["ids"]) for job in jobs]
    assert counts == sorted(counts, reverse=True)


def test_every_link_leads_to_a_file_of_the_site(site: dict[str, bytes]) -> None:
    pages = pages_of(site)
    for path, page in pages.items():
        for whole in page.links:
            link, _, place = whole.partition("#")
            if not link:
                assert place in page.ids
                continue
            target = PurePosixPath(path).parent / link
            parts: list[str] = []
            for part in target.parts:
                parts = parts[:-1] if part == ".." else [*parts, part]
            found = "/".join(parts)
            assert found in site, f"{path} links to {link}"
            assert not place or place in pages[found].ids, f"{path} links to {whole}"


def test_no_page_names_an_address_of_the_network(site: dict[str, bytes]) -> None:
    for path, content in site.items():
        # compressed bytes of a workbook or a Parquet file hold any letters by chance
        if path != "plotly.min.js" and not path.endswith((".xlsx", ".parquet")):
            # "//" inside base64 is no address: one starts a quoted or bare word.
            assert not re.search(rb"https?:|[\"'(=\s]//[a-z]", content), path


def test_ids_of_a_page_are_its_own(site: dict[str, bytes]) -> None:
    for path, page in pages_of(site).items():
        assert len(page.ids) == len(set(page.ids)), path


def test_headings_go_down_one_level_at_a_time(site: dict[str, bytes]) -> None:
    for path, page in pages_of(site).items():
        levels = [int(tag[1]) for tag in page.tags if re.fullmatch(r"h[1-6]", tag)]
        assert levels[0] == 1, path
        assert levels.count(1) == 1, path
        assert all(after <= before + 1 for before, after in pairwise(levels)), path


def test_the_same_report_gives_the_same_bytes(site: dict[str, bytes]) -> None:
    again = small_site(small_fleet())

    assert {path for path in site if site[path] != again[path]} == set()
    assert list(site) == list(again)


def test_hostile_names_are_inert_in_pages_and_pictures(hostile_site: dict[str, bytes]) -> None:
    for path, page in pages_of(hostile_site).items():
        for script in page.scripts:
            assert "src" in script or script["type"] == "application/json", path
            assert script.get("src") is None or script["src"].removeprefix("../") in OWN_SCRIPTS
        assert not {"img", "b", "i", "iframe"} & set(page.tags), path
        assert page.handlers == [], path
        assert not [link for link in page.links if ":" in link], path
    fleet = Page(hostile_site["index.html"])
    for name in HOSTILE:
        assert name in fleet.text
    assert SWAPPED["south"] in fleet.text
    # Plotly reads tags in labels: it must get them escaped, in JSON that is escaped in turn.
    for content in (hostile_site["index.html"], hull_of(hostile_site, HOSTILE[0])):
        figure = re.search(rb'data-chart="[^>]*>(.*?)</script>', content, re.DOTALL)
        assert figure is not None
        assert b"<" not in figure[1]
        labels = json.loads(figure[1])
        assert "&lt;" in json.dumps(labels)
        assert "<script" not in json.dumps(labels)
        assert "<a " not in json.dumps(labels)


def hull_of(site: dict[str, bytes], hull_id: str) -> bytes:
    return site[hull_pages(NAMED)[hull_id]]


def test_hostile_hulls_get_plain_file_names_inside_the_site(hostile_site: dict[str, bytes]) -> None:
    names = [path for path in hostile_site if path.startswith("hulls/")]

    assert len(names) == 12
    for name in names:
        assert re.fullmatch(r"hulls/[A-Za-z0-9_-]+\.html", name)


@given(st.lists(st.text(min_size=1, max_size=60), min_size=1, max_size=30, unique=True))
@settings(derandomize=True, deadline=None)
def test_no_two_hulls_share_a_file_even_where_case_does_not_count(hull_ids: list[str]) -> None:
    pages = hull_pages(hull_ids)

    assert set(pages) == set(hull_ids)
    assert len({page.casefold() for page in pages.values()}) == len(hull_ids)
    for page in pages.values():
        assert re.fullmatch(r"hulls/[A-Za-z0-9][A-Za-z0-9_-]*\.html", page)


def test_names_differing_in_case_and_device_names_get_their_own_file() -> None:
    pages = hull_pages(["h1", "H1", "H2", "CON", "con"])

    assert pages["H2"] == "hulls/H2.html"
    assert pages["h1"].casefold() != pages["H1"].casefold()
    assert not re.fullmatch("hulls/con.html", pages["CON"], re.IGNORECASE)


def test_demo_is_said_on_every_page_and_only_of_demo_data(site: dict[str, bytes]) -> None:
    fleet = small_fleet()
    real = build_site(fleet.report(is_demo=False), proof=small_proof(fleet))
    for path in pages_of(site):
        assert words.DEMO_LABEL in Page(site[path]).text, path
        assert words.DEMO_LABEL not in Page(real[path]).text, path


def test_every_page_says_as_of_when_and_that_a_low_chance_clears_nothing(
    site: dict[str, bytes],
) -> None:
    for path, page in pages_of(site).items():
        assert "Mon 3 Aug 2026, 06:00 UTC" in page.text, path
        assert words.NEVER_CLEARANCE in page.text, path


def test_hull_page_answers_what_why_how_sure_and_what_it_costs(site: dict[str, bytes]) -> None:
    report = small_fleet().report()
    sheet = next(sheet for sheet in report.hulls if sheet.hull_id == "H03")
    text = Page(site["hulls/H03.html"]).text

    for what in sheet.call["do"]:
        assert report.catalogue.label(what) in text
    assert str(sheet.call["reason"]) in text
    money = report.prices.currency
    assert f"Leaving it costs{money_text(sheet.call['cost_of_waiting'], money)}" in text
    if sheet.call["action_cost"]:
        assert f"Doing it costs{price_text(sheet.call['action_cost'], money)}" in text
    assert "95 % range" in text
    assert "8 failures" in text or "failures among 36 piston sets" in text
    for driver in sheet.drivers:
        assert words.FACTOR_LABELS[driver["factor"]] in text


def test_how_we_know_shows_counts_accounting_and_every_assumption(site: dict[str, bytes]) -> None:
    report = small_fleet().report()
    text = Page(site["how-we-know.html"]).text
    settings_text = Page(site["settings.html"]).text

    for name in report.assumptions:
        assert name in settings_text
    for fit in report.fits.modes:
        assert f"{fit.n_failures} failure" in text
    for figure in ("120", "118", "2"):
        assert figure in text
    for mode in report.evidence.mode_counts["mode"]:
        assert words.MODE_LABELS[mode] in text


def test_how_we_know_lays_our_effects_beside_other_operators(site: dict[str, bytes]) -> None:
    fleet = small_fleet()
    shared = SharedEffects(
        "us", "2026-07-06", 12, 310, 1200,
        (SharedEffect("shortfall_25h_on", 1.0, 0.5, 0.06, 0.08),),
    )  # fmt: skip
    fits = fit_fleet(fleet.spells, SETTINGS, np.random.default_rng(5), shared)
    alone = fleet.report(fits=fits)
    report = replace(alone, evidence=replace(alone.evidence, shared=shared))
    text = Page(build_site(report)["how-we-know.html"]).text

    fit = fits.ring_land
    assert f"Ours: {fit.n_failures} ring-land fractures among {fit.n_sets} piston sets." in text
    assert "Others: 12 operators of our network with 310 ring-land fractures among 1" in text
    assert "on record by Mon 6 Jul 2026; no record left any of them" in text
    assert "1.65 (1.36 to 2.01)" in text  # exp(0.5), and by 1.96 of a deviation of 0.1
    effects = report.evidence.effects.filter(factor="shortfall_25h_on")
    for model in (words.COX_MODEL, words.PRIOR_MODEL):
        row = effects.row(by_predicate=pl.col("model") == model, named=True)
        assert f"{row['hazard_ratio']:.2f} ({row['low']:.2f} to {row['high']:.2f})" in text
    assert "Our record beside" not in Page(site["how-we-know.html"]).text


def test_docks_that_sold_one_grade_are_named_on_both_pages(site: dict[str, bytes]) -> None:
    for path in ("index.html", "how-we-know.html"):
        text = Page(site[path]).text
        assert "the hulls burned one grade" in text, path
        assert "cannot be separated from an effect of the dock" in " ".join(text.split()), path


def test_terminal_list_has_every_hull_and_the_calls_of_the_page(site: dict[str, bytes]) -> None:
    lines = week_list_lines(small_fleet().report())
    fleet = Page(site["index.html"]).text

    assert sorted(line[1] for line in lines) == [f"H{number:02d}" for number in range(12)]
    for line in lines:
        assert len(line) == len(WEEK_LIST_HEADINGS)
        assert line[3] in fleet
        if line[4] != "not known":
            assert line[4] in fleet
