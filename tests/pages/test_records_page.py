"""The record pages of a small invented fleet: what they ask for, and that nothing in them runs."""

import csv
import io
from dataclasses import replace
from datetime import timedelta
from functools import cache

import polars as pl

from ringland.contracts.record_tables import RecordChanges
from ringland.history.hour_line import hour_line
from ringland.pages.frame.packed_columns import scaled, texts
from ringland.pages.records.hour_line_chart import hours_points
from ringland.pages.records.records_page import INDEX, record_contexts, restated_line
from ringland.pages.records.write_next import tasks_of
from ringland.pages.site.report_page import build_site
from ringland.pages.site.site_frame import hull_pages
from ringland.pages.week.week_records import Restated, left_out_readings
from ringland.words.doubt_words import NOTHING_TO_DO
from tests.decision.small_fleet import AS_OF, SETTINGS, small_fleet
from tests.pages.small_state import KNOWN, bad, set_aside, small_state, state
from tests.pages.test_report_page import HOSTILE, NAMED, Page


@cache
def site_with_records(names: tuple[str, ...] = ()) -> dict[str, bytes]:
    fleet = small_fleet(names=names)
    words = "".join(HOSTILE) if names else "a fill of 300 l"
    return build_site(fleet.report(), records=small_state(fleet, words))


def text(page: bytes) -> str:
    return " ".join(Page(page).text.split())


def test_every_hulls_own_page_tells_of_its_records() -> None:
    site = site_with_records()
    hulls = [path for path in site if path.startswith("hulls/")]

    assert [path for path in site if path.startswith("records/")] == [INDEX]
    assert len([path for path in hulls if "records" in Page(site[path]).ids]) == 12


def test_every_link_of_the_record_pages_leads_to_a_file_or_a_heading() -> None:
    site = site_with_records()
    for path in [path for path in site if path.startswith("records/")]:
        page = Page(site[path])
        for link in page.links:
            name, _, heading = link.partition("#")
            found = name.removeprefix("../") if link.startswith("../") else f"records/{name}"
            assert not name or found in site, (path, link)
            assert not heading or heading in Page(site[found if name else path]).ids, (path, link)


def test_hostile_text_is_inert_on_the_pages_and_in_the_tables() -> None:
    site = site_with_records(NAMED)
    for path in [path for path in site if path.startswith(("records/", "hulls/"))]:
        page = Page(site[path])
        assert page.handlers == []
        assert "img" not in page.tags
    assert HOSTILE[0] in text(site[INDEX])
    cells = csv.reader(io.StringIO(site["tables/set-aside-rows.csv"].decode("utf-8-sig")))
    assert all(not cell.startswith(("=", "+", "-", "@")) for row in cells for cell in row)


def test_rows_that_only_repeat_ask_for_nothing() -> None:
    fleet = small_fleet()
    rows = set_aside(
        bad(2, "volume_l is 4,820 but may be at most 400 l."),
        bad(3, "volume_l is 3,580 but may be at most 400 l."),
        bad(9, "Same as row 4 of this file.", remedy=NOTHING_TO_DO),
    )
    pages = hull_pages(fleet.quality["hull_id"])

    made = record_contexts(fleet.report(), state(fleet.quality, rows), pages)[INDEX][1]

    assert (made["rows_to_mend"], made["rows_repeated"]) == (2, 1)
    assert [(row["rows"], row["source_row"]) for row in made["faults"]] == [(2, 2)]


def test_the_gap_nothing_can_be_said_without_comes_first() -> None:
    """By hand: no engine hides the calibration and the test, which are the engine's."""
    bare = {
        "engine_id": None,
        "has_calibration": False,
        "has_bench_test": False,
        "days_since_reading": 30.0,
        "labelled_fuel_share": 0.4,
        "hours_explained_share": 0.95,
    }

    asked = tasks_of(bare, 2, SETTINGS)

    assert [task.key for task in asked] == ["engine", "mend", "fuel", "reading"]
    assert asked[2].why == "60 % of its litres have no octane on a stated scale."
    full = bare | {
        "engine_id": "E1",
        "has_calibration": True,
        "has_bench_test": True,
        "days_since_reading": 3.0,
        "labelled_fuel_share": 1.0,
    }
    assert tasks_of(full, 0, SETTINGS) == []
    assert [task.key for task in tasks_of(full, 0, SETTINGS, has_set=False)] == ["set"]
    never = tasks_of(full | {"labelled_fuel_share": None, "days_since_reading": None}, 0, SETTINGS)
    assert [task.why for task in never] == [
        "No fill is on record.",
        "No good reading is on record: its hours rest on the rentals alone.",
    ]


def test_the_picture_marks_the_reading_left_out_and_the_new_meter() -> None:
    """100, 1100 (ten times too large), 120, then a new meter: the line goes 0, 20, 20."""
    line = hour_line(KNOWN)
    left = left_out_readings(KNOWN["hour_readings"], line)

    tables = hours_points(line, left).tables

    assert left["meter_h"].to_list() == [1100.0]
    assert tables["line"]["along"] == scaled(pl.Series([100.0, 120.0, 120.0]), 10)
    assert tables["left_out"]["said"] == texts(pl.Series(["read as 1,100.0 h"]))
    # at the edge, a tenth above the 0.5 to 120 h of the rest, so that it does not flatten them
    assert tables["left_out"]["drawn"] == scaled(pl.Series([120 + 0.1 * 119.5]), 10)
    assert tables["mended"]["said"] == texts(pl.Series(["new meter"]))


def test_the_hull_page_says_in_words_where_the_line_was_carried_on() -> None:
    page = text(site_with_records()["hulls/H01.html"])

    assert "a new meter, M2, showing 0.5 h: the rentals' own hours carry on" in page
    assert "its meters had run 20.0 h since the first reading" in page


def test_a_restated_site_says_so_on_every_page_and_shows_what_changed_and_why() -> None:
    fleet = small_fleet()
    changes = pl.DataFrame(
        [
            ("fills", "H01; 2026-07-01T10:00:00Z", "corrected", "volume_l", "30.0", "35.0", "=1+1"),
            ("fills", "H02; 2026-07-02T10:00:00Z", "came later", None, None, None, "late slip"),
        ],
        schema=RecordChanges.create_empty().schema,
        orient="row",
    )
    restated = Restated(AS_OF + timedelta(days=30), changes)
    said = restated_line(restated)

    site = build_site(replace(fleet.report(), restated=restated), records=state(fleet.quality))

    assert said == (
        "Restated: worked out with what was known on Wed 2 Sep 2026, 06:00 UTC. "
        "Against what was known then: 1 record corrected, 1 record written down later."
    )
    for path in [path for path in site if path.endswith(".html") and "mail" not in path]:
        assert said in text(site[path]), path
    assert (
        "Restated: worked out with what was known on Wed 2 Sep" in site["mail/digest.txt"].decode()
    )
    assert "late slip" in text(site[INDEX])
    assert ",'=1+1" in site["tables/record-changes.csv"].decode()


def test_a_week_as_it_was_known_does_not_call_itself_restated() -> None:
    site = site_with_records()

    assert all(b"Restated" not in site[path] for path in site if path.endswith(".html"))
    assert "tables/record-changes.csv" not in site
