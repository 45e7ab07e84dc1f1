"""The what-if in the page against the library's answers, and one sheet of paper a hull."""

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from playwright.sync_api import Browser, Page

from ringland.contracts.decision_tables import AS_OF_LATE
from ringland.pages.hull.hull_words import WHAT_IF_ANSWERS
from ringland.pages.hull.what_if_form import CHANCES
from ringland.pages.site.report_page import build_site
from ringland.pages.week.week_report import WeekReport
from ringland.words.manner import Manner, in_manner
from ringland.words.number_words import chance_text, money_text
from tests.decision.small_fleet import small_fleet
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser, draw_all, site_folder

__all__ = ["browser", "site_folder"]  # fixtures of this module's tests

pytestmark = needs_chromium

HULLS = ("H03", "H05", "H09")
"""Two on fuel below need, one of them with the raised calibration, one on fuel that meets it."""


@pytest.fixture
def page(browser: Browser, site_folder: Path) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    yield page
    page.close()


@cache
def asked() -> tuple[WeekReport, pl.DataFrame]:
    report = small_fleet().report()
    return report, small_fleet().what_ifs(report)


def answer_of(hull_id: str, fuel: int, steps: list[str], extra: float) -> str:
    """The sentence of a choice from the library's table, by the library's own words."""
    report, table = asked()
    rows = table.filter(pl.col("hull_id") == hull_id)
    (sheet,) = (sheet for sheet in report.hulls if sheet.hull_id == hull_id)
    need = sheet.at_hand["need_aki"]
    fuels = [
        (pl.col("fuel") == AS_OF_LATE),
        *(pl.col("shortfall_on") == max(0.0, need - aki) for aki in report.grades_aki),
        (pl.col("fuel") == "fuel_rule"),
    ]
    row = rows.filter(fuels[fuel], pl.col("steps") == pl.lit(steps, dtype=pl.List(pl.String)))
    now, then = (one.row(0, named=True) for one in (rows.filter("is_as_it_stands"), row))

    def chances(row: dict[str, Any]) -> list[str]:
        return [chance_text(row[name]).replace(" %", "\N{NO-BREAK SPACE}%") for name in CHANCES]

    def money(amount: float) -> str:
        return money_text(amount, report.prices.currency)

    if then == now:
        said = WHAT_IF_ANSWERS["now"]
        return said.format(*chances(now), left=money(now["left_cost"]))
    sure = then["sure_cost"] + extra * then["litres"]
    less = now["left_cost"] - sure - then["left_cost"]
    return WHAT_IF_ANSWERS["then"].format(
        *chances(then),
        now0=chances(now)[0],
        now3=chances(now)[3],
        sure=money(sure),
        left=money(then["left_cost"]),
        total=money(sure + then["left_cost"]),
        nowTotal=money(now["left_cost"]),
        change=WHAT_IF_ANSWERS["less" if less >= 0 else "more"].format(amount=money(abs(less))),
    )


def test_two_hundred_choices_in_the_page_read_as_the_library_answers(
    page: Page, site_folder: Path
) -> None:
    rng = np.random.default_rng(20)
    for hull_id, n_choices in zip(HULLS, (67, 67, 66), strict=True):
        page.goto((site_folder / f"hulls/{hull_id}.html").as_uri())
        page.wait_for_selector("#what-if-section:not([hidden])")
        boxes = page.locator("#what-if-actions input").evaluate_all("all => all.map(b => b.name)")
        n_fuels = page.locator("[name=fuel] option").count()
        for _ in range(n_choices):
            fuel, renewal = int(rng.integers(n_fuels)), int(rng.integers(3))
            ticks = rng.random(len(boxes)) < 0.5
            extra = round(float(rng.uniform(0, 0.4)), 2) if fuel else 0.0
            said = page.evaluate(
                """([fuel, renewal, ticks, extra]) => {
                    const form = document.getElementById("what-if");
                    form.elements.fuel.selectedIndex = fuel;
                    form.elements.renewal.selectedIndex = renewal;
                    form.querySelectorAll("[type=checkbox]").forEach(
                        (box, i) => { box.checked = ticks[i]; });
                    form.elements.extra.value = extra;
                    form.dispatchEvent(new Event("input"));
                    return document.getElementById("what-if-outcome").textContent;
                }""",
                [fuel, renewal, ticks.tolist(), extra],
            )
            steps = [[], ["planned_top_end"], ["full_rebuild"]][renewal]
            steps = steps + [name for name, on in zip(boxes, ticks, strict=True) if on]
            assert said == answer_of(hull_id, fuel, steps, extra), (hull_id, fuel, steps, extra)


def test_as_it_stands_the_what_if_is_the_chance_of_the_page(page: Page, site_folder: Path) -> None:
    for hull_id in HULLS:
        page.goto((site_folder / f"hulls/{hull_id}.html").as_uri())
        page.wait_for_selector("#what-if-section:not([hidden])")
        above = page.inner_text("dl.facts strong").strip()
        assert f", in 30 days {above} (" in page.inner_text("#what-if-outcome")


def test_the_form_tells_what_a_choice_gives_and_goes_back(page: Page, site_folder: Path) -> None:
    page.goto((site_folder / "hulls/H03.html").as_uri())
    page.wait_for_selector("#what-if-section:not([hidden])")
    as_it_stands = page.inner_text("#what-if-outcome")
    assert as_it_stands.startswith("As it stands: chance in 7 days")

    page.select_option("select[name=fuel]", index=1)
    page.check("input[name=restrict_throttle]")
    said = page.inner_text("#what-if-outcome")
    assert re.search(r"in 30 days .+ instead of .+ paid for sure .+ left to expect", said)
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
    labels = page.locator("[name=fuel] option").all_inner_texts()
    dearest, prices = labels.index("92 AKI, meets the need"), []
    for place in (dearest, 1, dearest, 0):
        page.select_option("select[name=fuel]", index=place)
        said = page.inner_text("#what-if-outcome")
        prices.append(page.input_value("input[name=extra]"))
        page.evaluate("document.getElementById('what-if').dispatchEvent(new Event('input'))")
        assert said == page.inner_text("#what-if-outcome"), labels[place]
    assert [float(price) > 0 for price in prices] == [True, False, True, False]


def test_better_fuel_is_priced_in_the_what_if_as_on_the_list(page: Page, site_folder: Path) -> None:
    """The what-if took 0.15 a litre everywhere though the plan prices fuel dock by dock."""
    report, _ = asked()
    rows = report.decisions.options.filter(hull_id="H03", option="fuel_rule")
    assert report.decisions.plan is not None
    way = report.decisions.plan.rows.filter(hull_id="H03")["fuel_way"].item()
    planned = rows.filter(fuel_way=way)
    priced = (planned if planned.height else rows)["fuel_per_l"].min()
    page.goto((site_folder / "hulls/H03.html").as_uri())
    labels = page.locator("[name=fuel] option").all_inner_texts()
    rule = next(i for i, label in enumerate(labels) if label.startswith("Fuel rule"))

    page.select_option("select[name=fuel]", index=rule)

    assert float(page.input_value("input[name=extra]")) == pytest.approx(priced, abs=0.005)


def test_a_step_not_meant_for_a_hull_is_not_offered_on_its_page(
    page: Page, site_folder: Path
) -> None:
    running = small_fleet().tables(asked()[0].fits).running
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
            draw_all(page)
        pdf = page.pdf(format=paper)
        pages = re.findall(rb"/Type\s*/Page\b", pdf)
        assert len(pages) == 1, f"{file.name} on {paper}"


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
def test_the_page_writes_money_as_the_library_does(
    browser: Browser, tmp_path: Path, chosen: Manner
) -> None:
    report = replace(asked()[0], manner=chosen)
    for path, content in build_site(report, what_ifs=asked()[1]).items():
        (tmp_path / path).parent.mkdir(exist_ok=True)
        (tmp_path / path).write_bytes(content)
    page = browser.new_page()
    page.goto((tmp_path / "hulls" / "H03.html").as_uri())
    amounts = [0, 3, 4.9, 5, 183, 185, 195, 999, 12_649, 12_650, 1_234_567, -40, -45, -12_649]
    written = page.evaluate("amounts => amounts.map(ringlandWhatIf.moneyText)", amounts)
    with in_manner(chosen):
        expected = [money_text(amount, report.prices.currency) for amount in amounts]
    page.close()
    assert written == expected


def test_a_price_a_gallon_costs_what_the_same_price_a_litre_costs(
    browser: Browser, tmp_path: Path
) -> None:
    costs = []
    for units, extra in (("metric", "0.10"), ("us", "0.3785411784")):  # 1 US gal = 3.785411784 l
        folder = tmp_path / units
        report = replace(asked()[0], manner=Manner(units=units))
        for path, content in build_site(report, what_ifs=asked()[1]).items():
            (folder / path).parent.mkdir(exist_ok=True, parents=True)
            (folder / path).write_bytes(content)
        page = browser.new_page()
        page.goto((folder / "hulls" / "H03.html").as_uri())
        page.locator("[name=fuel]").select_option(index=1)  # any: the price is what counts
        page.locator("#what-if input[name=extra]").fill(extra)
        costs.append(page.locator("#what-if-outcome").inner_text())
        label = page.locator("label:has(input[name=extra])").inner_text()
        assert ("a gallon" if units == "us" else "a litre") in label
        page.close()
    assert costs[0] == costs[1]
