"""Eight weeks of a hull: what each list said then, and gaps where none is kept."""

import json
from datetime import date, timedelta

import polars as pl

from ringland.dockside.hull_trends import WEEKS, WeeksSaid, strip, week_said, weeks_of_hulls
from ringland.dockside.trend_section import trend_figure, trend_section

NEWEST = date(2026, 8, 17)


def said(
    weeks_back: int, call: str, chance: float | None, *, is_given_out: bool = True
) -> pl.DataFrame:
    calls = pl.DataFrame({"hull_id": ["A1"], "call": [call]})
    chances = pl.DataFrame(
        {
            "hull_id": ["A1"],
            "chance_30d": [chance],
            "chance_30d_low": [None if chance is None else chance / 2],
            "chance_30d_high": [None if chance is None else chance * 2],
        },
        schema_overrides={f"chance_30d{edge}": pl.Float64 for edge in ("", "_low", "_high")},
    )
    monday = NEWEST - timedelta(weeks=weeks_back)
    return week_said(monday, calls, chances, is_given_out=is_given_out)


SAID = WeeksSaid.validate(
    pl.concat(
        [
            said(0, "do_not_rent", 0.12),
            said(1, "rent_only", 0.08),
            said(4, "no_open_job", 0.03, is_given_out=False),
            said(5, "not_enough_record", None),
        ]
    )
)
WEEKS_OF_A1 = weeks_of_hulls(SAID, NEWEST)["A1"]


def test_a_week_without_a_list_is_a_gap_and_says_so() -> None:
    assert len(WEEKS_OF_A1) == WEEKS
    assert [one.words for one in WEEKS_OF_A1] == [
        "no list kept", "no list kept", "not enough on record",
        "no open job known (worked out afterwards)", "no list kept", "no list kept",
        "rent only with conditions", "do not rent",
    ]  # fmt: skip


def test_a_hull_that_a_kept_list_does_not_name_is_told_from_a_list_that_is_lost() -> None:
    other = SAID.with_columns(pl.lit("B1").alias("hull_id")).filter(pl.col("monday") == NEWEST)
    weeks = weeks_of_hulls(pl.concat([SAID, other]), NEWEST)["B1"]

    assert weeks[-2].words == "not on that list"
    assert weeks[-3].words == "no list kept"


def test_the_picture_holds_each_weeks_chance_and_nothing_between_gaps() -> None:
    figure = json.loads(trend_figure(WEEKS_OF_A1).to_json())
    line, *marks = figure["data"]

    assert line["y"] == [None, None, None, 3.0, None, None, 8.0, 12.0]
    assert line["connectgaps"] is False
    assert line["error_y"]["array"][-1] == 12.0
    assert line["error_y"]["arrayminus"][-1] == 6.0
    assert {one["name"]: one["y"] for one in marks} == {
        "no open job known": [3.0], "rent only with conditions": [8.0], "do not rent": [12.0],
    }  # fmt: skip
    assert len({one["marker"]["symbol"] for one in marks}) == len(marks)


def test_the_table_says_the_same_as_the_picture_and_stands_without_it() -> None:
    with_picture, without = (trend_section(WEEKS_OF_A1, can_draw=can) for can in (True, False))

    assert 'data-chart="chart-trend"' in with_picture
    assert "<script" not in without
    for section in (with_picture, without):
        assert "12 %" in section
        assert "6.0 % to 24 %" in section
        assert section.count("no list kept") == 4
        assert "no chance given" in section
        assert "no clearance to run" in section


def test_the_marks_are_read_out_in_words() -> None:
    marks = strip(WEEKS_OF_A1)

    assert 'role="img"' in marks
    assert "Mon 17 Aug 2026: do not rent" in marks
    assert marks.count("\N{MIDDLE DOT}") == 4
