"""The fuel pages of a small invented fleet: what they say, and that nothing in them runs."""

import json
import re
from dataclasses import replace
from datetime import timedelta

import polars as pl

from ringland.pages.fuel.fuel_charts import WORST, tank_points, tank_sketch
from ringland.pages.fuel.fuel_page import INDEX, tank_contexts
from ringland.pages.hull.timeline_chart import MARGIN_CLASSES
from ringland.pages.site.report_page import build_site
from ringland.pages.site.site_frame import hull_pages
from tests.decision.small_fleet import AS_OF, small_fleet
from tests.pages.small_fuel import fuel_of, site_with_fuel
from tests.pages.test_report_page import HOSTILE, NAMED, SWAPPED, Page, hostile


def page_text(content: bytes) -> str:
    return " ".join(Page(content).text.split())


def test_every_hulls_own_page_tells_of_its_tank_and_each_is_small() -> None:
    """Page, tank and records of one hull were three pages."""
    site = site_with_fuel()
    hulls = [path for path in site if path.startswith("hulls/")]

    assert [path for path in site if path.startswith("fuel/")] == [INDEX]
    assert len([path for path in hulls if "tank" in Page(site[path]).ids]) == 12
    assert max(len(site[path]) for path in hulls) < 250_000
    assert len(site[INDEX]) < 200_000


def test_every_link_of_the_fuel_pages_leads_to_a_file_or_a_heading() -> None:
    site = site_with_fuel()
    for path in [path for path in site if path.startswith("fuel/")]:
        page = Page(site[path])
        for link in page.links:
            name, _, place = link.partition("#")
            found = name.removeprefix("../") if name.startswith("../") else f"fuel/{name}"
            assert not name or found in site, (path, link)
            assert not place or place in Page(site[found if name else path]).ids, (path, link)


def test_the_dock_with_litres_below_need_stands_first() -> None:
    """The south dock sells 88 AKI to hulls that need 91; the north 91.5."""
    text = page_text(site_with_fuel()[INDEX])

    assert text.index("south") < text.index("north")
    assert re.search(r"6 of 6 hulls need more than the blend gives", text)
    assert "the blend gives every stated need" in text


def test_hulls_with_nothing_to_say_are_named_in_one_line() -> None:
    fleet = small_fleet()
    report = fleet.report()
    well = {"below_need_share": 0.0, "over_28d_share": 0.0, "unknown_share": 0.0}
    sheets = tuple(
        replace(sheet, fuel={**sheet.fuel, **well}) if sheet.hull_id == "H04" else sheet
        for sheet in report.hulls
    )
    site = build_site(replace(report, hulls=sheets), fuel=fuel_of(fleet))
    section = site[INDEX].decode().split('id="hulls"')[1].split("</details>")[0]
    table, line = section.split("</table>")

    assert "H04" not in table
    assert "H04" in line
    assert "H05" in table


def test_a_docks_page_says_what_engines_of_one_model_leave_open() -> None:
    """Blend 91.5 against need 91 at a spread of 1.75: 1 - Phi(0.5 / 1.75) = 39 % (normal table)."""
    text = page_text(site_with_fuel()[INDEX])

    assert "about 39 % of engines alike may need more" in text


def test_a_dock_without_a_delivery_on_record_is_named() -> None:
    fleet = small_fleet()
    report = fleet.report()
    fuel = fuel_of(fleet)
    fuel = replace(fuel, docks=fuel.docks.filter(pl.col("dock_id") == "north"))

    text = page_text(build_site(report, fuel=fuel)[INDEX])

    assert "No delivery on record, so what was sold there cannot be told: south." in text


def test_sensitivity_run_stands_on_the_page_with_all_its_trials() -> None:
    text = site_with_fuel()[INDEX].decode().split('id="weight"')[1].split("</table>")[0]
    rows = re.findall(
        r'<tr><td class="num"[^>]*>([^<]*)</td><td class="num"[^>]*>([^<]*)</td>', text
    )

    assert rows == [("0.5", "0.0"), ("0.0", "-1.5"), ("0.0", "1.5"), ("-0.3", "-1.5"),
                    ("-0.3", "1.5")]  # fmt: skip


def test_account_of_a_tank_names_its_unrecorded_fills() -> None:
    text = page_text(site_with_fuel()["hulls/H03.html"])

    assert re.search(r"In: [\d,]+ l filled, [\d,]+ l in \d+ fills nobody wrote down", text)
    assert "l burned" in text


def test_hostile_names_are_text_in_pages_and_pictures() -> None:
    site = site_with_fuel(NAMED)
    pages = hull_pages(NAMED)

    for name in HOSTILE:
        for path in (INDEX, pages[name]):
            page = Page(site[path])
            assert name in page.text
            assert page.handlers == []
            assert not {"img", "b", "i"} & set(page.tags)
            for script in page.scripts:
                assert script.get("type") == "application/json" or "src" in script


def test_hostile_docks_are_text_too() -> None:
    fleet = small_fleet()
    fleet = replace(
        fleet,
        records={kind: hostile(frame) for kind, frame in fleet.records.items()},
        exposure=hostile(fleet.exposure),
        exposure_now=hostile(fleet.exposure_now),
        spells=hostile(fleet.spells),
        lives=hostile(fleet.lives),
        bench=hostile(fleet.bench),
    )
    site = build_site(fleet.report(), fuel=fuel_of(fleet))
    page = Page(site[INDEX])

    assert SWAPPED["south"] in page.text
    assert "b" not in page.tags
    assert page.handlers == []


def test_names_of_docks_in_a_picture_are_inert() -> None:
    course = fuel_of(small_fleet()).tank_course.with_columns(source_dock_id=pl.lit("<b>x</b>"))
    said = json.dumps(tank_points(course).tables)

    assert " from &lt;b&gt;x&lt;/b&gt;" in said
    assert "<" not in said


def test_same_report_gives_the_same_bytes() -> None:
    fleet = small_fleet()

    again = build_site(fleet.report(), fuel=fuel_of(fleet))

    assert again == site_with_fuel()


def test_pages_without_fuel_show_no_way_to_it() -> None:
    site = build_site(small_fleet().report())

    assert not [path for path in site if path.startswith("fuel/")]
    assert b"fuel/index.html" not in site["index.html"]


def test_rides_are_told_apart_by_colour_and_shape_and_the_worst_are_ringed() -> None:
    traces = tank_sketch(14, 28)["data"]
    marks = {trace["name"]: trace["marker"] for trace in traces if trace["mode"] == "markers"}
    short = MARGIN_CLASSES[2]

    assert marks[short.label]["color"] == short.colour
    assert marks[short.label]["symbol"] == short.symbol
    assert WORST.label in marks
    rides = {marks[mark.label]["symbol"] for mark in (*MARGIN_CLASSES, WORST)}
    assert len(rides) == len(MARGIN_CLASSES) + 1


def test_a_tank_without_events_of_late_says_so() -> None:
    fleet = small_fleet()
    fuel = fuel_of(fleet)
    idle = fuel.tank_course.filter(pl.col("hull_id") != "H03")
    report = fleet.report()
    contexts = tank_contexts(report, type(fuel)(**{**vars(fuel), "tank_course": idle}))

    assert contexts["H03"]["figures"] == {}
    assert "tank" in contexts["H05"]["figures"]


def test_pictures_and_lists_reach_back_no_further_than_they_say() -> None:
    fuel = fuel_of(small_fleet())

    assert fuel.tank_course["at"].min() > AS_OF - timedelta(days=42)
    assert fuel.worst.group_by("hull_id").len()["len"].max() <= 5
    assert fuel.worst["shortfall_onh"].min() > 0


def test_every_running_set_that_ran_has_its_windows() -> None:
    windows = fuel_of(small_fleet()).windows

    assert windows["hull_id"].is_unique().all()
    assert windows.height == 12
    assert (windows["burned_life_l"] > 0).all()
