"""The record pages of a small invented fleet: what they ask for, and that nothing in them runs."""

import csv
import io
from datetime import timedelta
from functools import cache

import polars as pl

from ringland.shop_records.hour_line import hour_line
from ringland.shop_records.record_flags import record_flags
from ringland.shop_records.tables import OctaneScaleChances, RecordChanges, RecordFlags
from ringland.week_pages.hour_line_chart import hour_line_chart
from ringland.week_pages.records_page import INDEX, record_contexts, restated_line
from ringland.week_pages.report_page import build_site, hull_pages
from ringland.week_pages.week_records import Restated, WeekRecords, left_out_readings
from ringland.week_pages.write_next import tasks_of
from ringland.wording.doubt_words import NOTHING_TO_DO
from tests.service_week.small_fleet import AS_OF, SETTINGS, small_fleet
from tests.shop_records.record_rows import at, records
from tests.week_pages.test_report_page import HOSTILE, NAMED, Page

READINGS = [
    {"hull_id": "H01", "meter_id": "M1", "read_at": at("06-01 08:00"), "meter_h": 100.0},
    {"hull_id": "H01", "meter_id": "M1", "read_at": at("06-08 08:00"), "meter_h": 1100.0},
    {"hull_id": "H01", "meter_id": "M1", "read_at": at("06-15 08:00"), "meter_h": 120.0},
    {"hull_id": "H01", "meter_id": "M2", "read_at": at("06-22 08:00"), "meter_h": 0.5},
]
KNOWN = records(hour_readings=READINGS)


def set_aside(*rows: dict[str, object]) -> pl.DataFrame:
    names = ["kind", "source_file", "field", "fault", "remedy", "value", "hull_id"]
    schema = dict.fromkeys(names, pl.String()) | {"source_row": pl.Int64()}
    return pl.DataFrame(list(rows), schema=schema)


def bad(row: int, fault: str, hull_id: str = "H03", remedy: str = "Mend it.") -> dict[str, object]:
    place = {"kind": "fills", "source_file": "fills.csv", "source_row": row}
    return place | {"field": "volume_l", "fault": fault, "remedy": remedy, "hull_id": hull_id}


def state(
    quality: pl.DataFrame,
    rows: pl.DataFrame | None = None,
    doubts: pl.DataFrame | None = None,
    restated: Restated | None = None,
) -> WeekRecords:
    line = hour_line(KNOWN)
    return WeekRecords(
        set_aside=set_aside() if rows is None else rows,
        doubts=RecordFlags.create_empty() if doubts is None else doubts,
        hour_line=line,
        left_out=left_out_readings(KNOWN["hour_readings"], line),
        octane_scales=OctaneScaleChances.create_empty(),
        quality=quality,
        restated=restated,
    )


@cache
def site_with_records(names: tuple[str, ...] = ()) -> dict[str, bytes]:
    fleet = small_fleet(names=names)
    words = "".join(HOSTILE) if names else "a fill of 300 l"
    rows = pl.DataFrame({"hull_id": [fleet.quality["hull_id"][5]], "at": [AS_OF]}).with_columns(
        pl.col("at").dt.cast_time_unit("us")
    )
    doubts = record_flags(rows, "fill_above_tank", "at", pl.lit(words))
    aside = set_aside(bad(2, f"volume_l is '{words}', which is not a number."))
    return build_site(fleet.report(), records=state(fleet.quality, aside, doubts))


def text(page: bytes) -> str:
    return " ".join(Page(page).text.split())


def test_every_hull_has_a_record_page_and_each_is_small() -> None:
    site = site_with_records()
    own = [path for path in site if path.startswith("records/") and path != INDEX]

    assert len(own) == 12
    assert max(len(site[path]) for path in own) < 20_000


def test_every_link_of_the_record_pages_leads_to_a_file_or_a_heading() -> None:
    site = site_with_records()
    for path in [path for path in site if path.startswith("records/")]:
        page = Page(site[path])
        for link in page.links:
            name, _, heading = link.partition("#")
            found = name.removeprefix("../") if link.startswith("../") else f"records/{name}"
            assert not name or found in site, (path, link)
            assert not heading or heading in page.ids, (path, link)


def test_hostile_text_is_inert_on_the_pages_and_in_the_tables() -> None:
    site = site_with_records(NAMED)
    for path in [path for path in site if path.startswith("records/")]:
        page = Page(site[path])
        assert page.handlers == []
        assert "img" not in page.tags
        assert len(page.scripts) <= 4  # the library's, ours and the picture's figures
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

    figure = {trace.name: trace for trace in hour_line_chart(line, left).data}

    assert left["meter_h"].to_list() == [1100.0]
    assert list(figure["along its meters"].y) == [100.0, 120.0, 120.0]
    assert list(figure["left out"].text) == ["1,100.0 h"]
    assert figure["left out"].y[0] < 125  # at the edge, so that it does not flatten the rest
    assert list(figure["carried on"].text) == ["new meter"]


def test_the_hull_page_says_in_words_where_the_line_was_carried_on() -> None:
    page = text(site_with_records()["records/H01.html"])

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

    site = build_site(fleet.report(), records=state(fleet.quality, restated=restated))

    assert said == (
        "Restated: worked out with what was known on Wed 2 Sep 2026, 06:00 UTC. "
        "Against what was known then: 1 record corrected, 1 record written down later."
    )
    for path in [path for path in site if path.endswith(".html") and "mail" not in path]:
        assert said in text(site[path]), path
    assert "late slip" in text(site[INDEX])
    assert ",'=1+1" in site["tables/record-changes.csv"].decode()


def test_a_week_as_it_was_known_does_not_call_itself_restated() -> None:
    site = site_with_records()

    assert all(b"Restated" not in site[path] for path in site if path.endswith(".html"))
    assert "tables/record-changes.csv" not in site
