"""The what-if in the page against the pipeline's own functions, and one sheet of paper a hull."""

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from playwright.sync_api import Browser, Page

from ringland.decision.action_catalogue import NOTHING, Action, Catalogue
from ringland.decision.catalogue_file import default_catalogue
from ringland.decision.option_outcome import World, outcomes_by_option
from ringland.decision.week_tables import WeekTables
from ringland.pages.site.report_page import build_site
from ringland.pages.week.what_if import choices, fuel_grade
from ringland.risk.failure_risk import HORIZONS_D, chance_with_range, cumulative_hazard
from ringland.risk.fleet_hazard import BOUNDS, FleetFits, with_bound
from ringland.words.manner import Manner, in_manner
from ringland.words.number_words import chance_text, money_text
from tests.decision.small_fleet import NEED_AKI, SETTINGS, small_fleet
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser, site_folder

__all__ = ["browser", "site_folder"]  # fixtures of this module's tests

pytestmark = needs_chromium

HULLS = ("H03", "H05", "H09")
"""Two on fuel below need, one of them with the raised calibration, one on fuel that meets it."""

GRADE_CASES = ((None, 0.0), (87.0, 0.0), (90.0, 0.07), (93.0, 0.15))


@pytest.fixture
def page(browser: Browser, site_folder: Path) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    yield page
    page.close()


@cache
def fitted() -> tuple[FleetFits, WeekTables]:
    fits = small_fleet().fits()
    return fits, small_fleet().tables(fits)


def in_page(page: Page, actions: tuple[str, ...], grade: tuple[float | None, float]) -> dict:
    """What the page's own functions give for the hull it shows."""
    return page.evaluate(
        """([names, aki, extra]) => {
            const hull = JSON.parse(document.getElementById("what-if-figures").textContent);
            const actions = RINGLAND_FLEET.actions.filter(a => names.includes(a.name));
            if (aki !== null) actions.unshift(ringlandWhatIf.gradeAction(hull, aki, extra));
            return ringlandWhatIf.whatIf(hull, actions);
        }""",
        [list(actions), *grade],
    )


def in_pipeline(hull_id: str, actions: tuple[Action, ...]) -> dict[str, float]:
    """The same from `outcomes_by_option` and the quantiles of its draws, one hull at a time."""
    fits, tables = fitted()
    told = tables.running.filter(pl.col("hull_id") == hull_id)
    every = {action.name: action for action in actions}
    catalogue = Catalogue(every, {"asked": tuple(every)} if len(every) > 1 else {})
    option = "asked" if len(every) > 1 else next(iter(every))
    world = World(
        lambda start, stop, sets: cumulative_hazard(fits, start, stop, sets),
        catalogue,
        tables.prices,
        SETTINGS.number("exposure.trailing_h"),
    )
    tail = (1 - SETTINGS.number("survival.confidence")) / 2
    found = {
        bound: outcomes_by_option(
            with_bound(told, bound), world, HORIZONS_D["30d"], SETTINGS
        ).by_option[option]
        for bound in ("as_recorded", *BOUNDS)
    }
    middle = found["as_recorded"].chance[:, 0].mean()
    return {
        "chance": middle,
        "cost": found["as_recorded"].cost[:, 0].mean(),
        "sure": found["as_recorded"].sure[0],
        "low": min(*(np.quantile(o.chance[:, 0], tail) for o in found.values()), middle),
        "high": max(*(np.quantile(o.chance[:, 0], 1 - tail) for o in found.values()), middle),
    }


@pytest.mark.parametrize("hull_id", HULLS)
def test_what_if_in_the_page_equals_the_pipeline(
    page: Page, site_folder: Path, hull_id: str
) -> None:
    page.goto((site_folder / f"hulls/{hull_id}.html").as_uri())
    page.wait_for_selector("#what-if-section:not([hidden])")
    offered = choices(default_catalogue(SETTINGS))
    names = [action.name for action in offered]
    picked = [(), *((name,) for name in names), *combinations(names[:5], 2), tuple(names[:4])]
    checked = 0
    for some in picked:
        for aki, extra in GRADE_CASES if len(some) < 2 else GRADE_CASES[::2]:
            actions = tuple(action for action in offered if action.name in some)
            if aki is not None:
                actions = (fuel_grade(aki, NEED_AKI, extra), *actions)
            if not actions:
                continue
            want = in_pipeline(hull_id, actions)
            got = in_page(page, some, (aki, extra))
            for name, value in want.items():
                # Both sum the same 200 doubles; only the order of sums and libm differ.
                assert got[name] == pytest.approx(value, rel=1e-9, abs=1e-9), (some, aki, name)
            checked += 1
    assert checked > 30


def test_as_it_stands_the_what_if_is_the_chance_of_the_page(page: Page, site_folder: Path) -> None:
    fits, tables = fitted()
    for hull_id in HULLS:
        page.goto((site_folder / f"hulls/{hull_id}.html").as_uri())
        page.wait_for_selector("#what-if-section:not([hidden])")
        told = tables.running.filter(pl.col("hull_id") == hull_id)
        hours = told["use_h_d"].to_numpy() * HORIZONS_D["30d"]
        want = [float(part[0]) for part in chance_with_range(fits, told, hours, SETTINGS)]
        got = in_page(page, (), (None, 0.0))

        assert [got["chance"], got["low"], got["high"]] == pytest.approx(want, rel=1e-9)
        row = tables.chances.filter(pl.col("hull_id") == hull_id)
        assert got["chance"] == pytest.approx(row["chance_30d"].item(), rel=1e-9)


def test_the_form_tells_what_a_choice_gives_and_goes_back(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "hulls/H03.html").as_uri())
    page.wait_for_selector("#what-if-section:not([hidden])")
    as_it_stands = page.inner_text("#what-if-outcome")
    assert as_it_stands.startswith("As it stands: chance in 30 days")

    page.select_option("select[name=grade]", index=page.locator("[name=grade] option").count() - 1)
    page.check("input[name=restrict_throttle]")
    said = page.inner_text("#what-if-outcome")
    assert re.search(r"Chance in 30 days .+ instead of .+ Paid for sure .+ expected cost", said)
    page.click("#what-if button[type=reset]")
    page.wait_for_function(
        "text => document.getElementById('what-if-outcome').innerText === text", arg=as_it_stands
    )


def test_the_answer_to_a_grade_counts_with_the_price_the_form_then_shows(
    page: Page, site_folder: Path
) -> None:
    """The price step was set after the answer, which so spoke of the choice before."""
    page.goto((site_folder / "hulls/H03.html").as_uri())
    page.wait_for_selector("#what-if-section:not([hidden])")
    grades = page.locator("[name=grade] option").evaluate_all("all => all.map(one => one.value)")
    dearest, prices = grades[-1], []
    for grade in (dearest, grades[1], dearest, ""):
        page.select_option("select[name=grade]", grade)
        said = page.inner_text("#what-if-outcome")
        prices.append(page.input_value("input[name=extra]"))
        page.evaluate("document.getElementById('what-if').dispatchEvent(new Event('input'))")
        assert said == page.inner_text("#what-if-outcome"), grade
    assert [float(price) > 0 for price in prices] == [True, False, True, False]


def test_a_step_not_meant_for_a_hull_is_not_offered_on_its_page(
    page: Page, site_folder: Path
) -> None:
    running = fitted()[1].running
    for hull_id in HULLS:
        page.goto((site_folder / f"hulls/{hull_id}.html").as_uri())
        page.wait_for_selector("#what-if-section:not([hidden])")
        is_raised = running.filter(pl.col("hull_id") == hull_id)["is_raised_calibration"].item()
        assert page.locator("input[name=mild_calibration]").count() == int(is_raised)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_hull_prints_on_one_sheet(page: Page, site_folder: Path, paper: str) -> None:
    for file in sorted((site_folder / "hulls").glob("*.html")):
        page.goto(file.as_uri())
        page.wait_for_load_state("load")
        if "data-chart" in file.read_text():
            page.wait_for_selector("html[data-drawn=yes]")
        pdf = page.pdf(format=paper)
        pages = re.findall(rb"/Type\s*/Page\b", pdf)
        assert len(pages) == 1, f"{file.name} on {paper}"


def test_the_embedded_draws_are_the_fits_own(site_folder: Path) -> None:
    script = (site_folder / "what-if-fleet.js").read_text()
    figures = json.loads(script.removeprefix("window.RINGLAND_FLEET = ").removesuffix(";\n"))
    fits, tables = fitted()

    assert [mode["names"] for mode in figures["modes"]] == [
        list(mode.covariates) for mode in fits.at_stake
    ]
    assert figures["unplanned"] == tables.prices.unplanned
    assert NOTHING not in [action["name"] for action in figures["actions"]]


@pytest.mark.parametrize(
    "chosen",
    [
        Manner(),
        Manner(units="us", currency_sign="$"),
        Manner(number="1.234,5", money="after"),
        Manner(number="1 234,5"),
        Manner(number="1234.5", currency_sign="EUR"),
    ],
)
def test_the_page_writes_money_and_chances_as_the_pipeline_does(
    browser: Browser, tmp_path: Path, chosen: Manner
) -> None:
    report = replace(small_fleet().report(), manner=chosen)
    for path, content in build_site(report).items():
        (tmp_path / path).parent.mkdir(exist_ok=True)
        (tmp_path / path).write_bytes(content)
    page = browser.new_page()
    page.goto((tmp_path / "hulls" / "H03.html").as_uri())
    amounts = [0, 3, 4.9, 183, 999, 12_649, 1_234_567, -40, -12_649]
    chances = [0.0, 0.0004, 0.0123, 0.094, 0.234, 0.9999]
    written = page.evaluate(
        """([amounts, chances]) => [amounts.map(ringlandWhatIf.money),
            chances.map(ringlandWhatIf.percent)]""",
        [amounts, chances],
    )
    with in_manner(chosen):
        expected = [
            [money_text(amount, report.prices.currency) for amount in amounts],
            [chance_text(chance).replace(" %", "\N{NO-BREAK SPACE}%") for chance in chances],
        ]
    page.close()
    assert written == expected


def test_a_price_a_gallon_costs_what_the_same_price_a_litre_costs(
    browser: Browser, tmp_path: Path
) -> None:
    costs = []
    for units, extra in (("metric", "0.10"), ("us", "0.3785411784")):  # 1 US gal = 3.785411784 l
        folder = tmp_path / units
        report = replace(small_fleet().report(), manner=Manner(units=units))
        for path, content in build_site(report).items():
            (folder / path).parent.mkdir(exist_ok=True, parents=True)
            (folder / path).write_bytes(content)
        page = browser.new_page()
        page.goto((folder / "hulls" / "H03.html").as_uri())
        page.locator("#what-if select").select_option(
            index=1
        )  # any grade: the price is what counts
        page.locator("#what-if input[name=extra]").fill(extra)
        costs.append(page.locator("#what-if-outcome").inner_text())
        label = page.locator("label:has(input[name=extra])").inner_text()
        assert ("a gallon" if units == "us" else "a litre") in label
        page.close()
    assert costs[0] == costs[1]
