"""What the browser draws from packed columns is what the frames say, point by point."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from playwright.sync_api import Browser, Page

from ringland.exposure.octane_margin import ROUNDING_ON
from ringland.pages.fuel.fuel_charts import POURED
from tests.decision.small_fleet import small_fleet
from tests.outside_tools import needs_chromium
from tests.pages.report_in_browser import browser, draw_all, fuel_folder
from tests.pages.small_fuel import fuel_of

__all__ = ["browser", "fuel_folder"]  # fixtures of this module's tests

pytestmark = needs_chromium

HULL = "H05"  # on fuel below its need, so that it has rides of more than one class
AT = "%Y-%m-%d %H:%M"


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    yield page
    page.close()


def drawn(page: Page, file: Path, chart: str) -> dict[str, dict[str, Any]]:
    """The points of each trace by its name, as the drawing library holds them."""
    page.goto(file.as_uri())
    draw_all(page)
    traces: list[dict[str, Any]] = page.evaluate(
        "id => document.getElementById(id).data.map(t => "
        "({name: t.name, x: t.x, y: t.y, text: t.text, customdata: t.customdata}))",
        chart,
    )
    return {trace["name"]: trace for trace in traces}


def test_the_time_line_shows_every_ride_and_every_event(page: Page, fuel_folder: Path) -> None:
    sheet = next(sheet for sheet in small_fleet().report().hulls if sheet.hull_id == HULL)
    traces = drawn(page, fuel_folder / f"hulls/{HULL}.html", "chart-timeline")
    margin = pl.col("octane_margin_on")
    classes = {
        "meets the need": margin >= -ROUNDING_ON,
        "below need, up to 1 octane number": (margin < -ROUNDING_ON) & (margin >= -1),
        "below need by more than 1": margin < -1,
    }
    for name, rule in classes.items():
        part = sheet.exposure.filter(rule)
        trace = traces.get(name, {"x": [], "y": [], "customdata": []})
        assert trace["x"] == part["started_at"].dt.strftime(AT).to_list()
        # rounded to hundredths and tenths of an octane number, and hundredths of an hour
        assert trace["y"] == pytest.approx(part["octane_margin_on"].to_list(), abs=0.005001)
        for row, want in zip(trace["customdata"], part.iter_rows(named=True), strict=True):
            assert row[0] == pytest.approx(want["octane_aki"], abs=0.05001)
            assert row[1] == pytest.approx(want["octane_need_aki"], abs=0.05001)
            assert row[2] == pytest.approx(want["hard_running_h"], abs=0.005001)
    aged = sheet.exposure.filter(pl.col("fuel_age_d").is_not_null())
    assert traces["age of the fuel burned"]["y"] == pytest.approx(
        aged["fuel_age_d"].to_list(), abs=0.05001
    )
    assert sheet.events.height > 0
    for (lane,), part in sheet.events.partition_by("lane", as_dict=True).items():
        assert traces[str(lane)]["x"] == part["at"].dt.strftime(AT).to_list()
        assert traces[str(lane)]["text"] == part["text"].to_list()
    assert sum(len(trace["x"]) for trace in traces.values()) == (
        sheet.exposure["octane_margin_on"].count() + aged.height + sheet.events.height
    )


def test_a_tank_shows_every_event_and_the_bounds_of_its_octane(
    page: Page, fuel_folder: Path
) -> None:
    course = fuel_of(small_fleet()).tank_course.filter(pl.col("hull_id") == HULL)
    traces = drawn(page, fuel_folder / f"hulls/{HULL}.html", "chart-tank")
    level = [litres for row in course.select("before_l", "after_l").rows() for litres in row]

    assert traces["level"]["y"] == pytest.approx(level, abs=0.05001)  # tenths of a litre
    for event, mark in POURED.items():
        part = course.filter(pl.col("event") == event)
        assert len(traces.get(mark.label, {"x": []})["x"]) == part.height
        if part.height:
            moved = [row[0] for row in traces[mark.label]["customdata"]]
            assert moved == pytest.approx(part["moved_l"].to_list(), abs=0.5001)
    known = course.filter(pl.col("octane_aki").is_not_null())
    assert traces["octane in the tank"]["y"] == pytest.approx(
        known["octane_aki"].to_list(), abs=0.005001
    )
    rides = course.filter((pl.col("event") == "session") & pl.col("octane_margin_on").is_not_null())
    need = (rides["octane_aki"] - rides["octane_margin_on"]).round(1).to_list()
    assert traces["need"]["y"][0] == pytest.approx(need[0])
    assert traces["need"]["y"][-1] == pytest.approx(need[-1])
    assert set(traces["need"]["y"]) == {round(value, 1) for value in need}
