"""Packed columns read back to what they were made from, by hand, by reference and in a browser."""

from datetime import UTC, datetime

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.pages.frame.packed_columns import LETTERS, minutes, scaled, steps, texts, vlq
from ringland.pages.fuel.fuel_charts import tank_points, tank_sketch
from ringland.pages.hull.timeline_chart import timeline_points, timeline_sketch
from ringland.words.manner import Manner, in_manner
from tests.decision.small_fleet import small_fleet
from tests.pages.small_fuel import fuel_of


@pytest.mark.parametrize(
    ("numbers", "written"),
    [
        ((0,), "A"),
        ((1,), "C"),
        ((-1,), "D"),
        ((16,), "gB"),
        ((123,), "2H"),
        ((0, 0, 16, 1), "AAgBC"),
    ],
)
def test_numbers_are_written_as_source_maps_write_them(
    numbers: tuple[int, ...], written: str
) -> None:
    """Source maps' base64 VLQ (ECMA-426, section 'Base64 VLQ').  0, 1, -1, 123 and the group
    'AAgBC' are the worked examples that its common introductions give (from memory); 16 follows
    from the rule: 32 shifted is two groups of five bits."""
    assert vlq(numbers) == written


def read_back(text: str) -> list[int | None]:
    """A second reading of the code, from its rule alone."""
    found: list[int | None] = []
    last, bits = 0, []
    for letter in text:
        if letter == ".":
            found.append(None)
            continue
        digit = LETTERS.index(letter)
        bits.append(f"{digit & 31:05b}")
        if digit < 32:
            whole = int("".join(reversed(bits)), 2)
            last += -(whole >> 1) if whole & 1 else whole >> 1
            found.append(last)
            bits = []
    return found


@given(st.lists(st.none() | st.integers(-(10**10), 10**10), max_size=60))
@settings(derandomize=True, deadline=None)
def test_steps_lose_nothing(numbers: list[int | None]) -> None:
    assert read_back(steps(numbers)) == numbers


def test_scaled_numbers_round_to_their_divisor_and_keep_unknowns() -> None:
    kind, written = scaled(pl.Series([1.04, None, 1.06, float("nan"), -0.25]), 10)

    assert kind == 10
    assert read_back(str(written)) == [10, None, 11, None, -2]  # ties go to even or away: -2.5


def test_instants_are_minutes_on_the_shops_clock() -> None:
    """13:45 UTC on 17 August is 15:45 in a zone two hours ahead."""
    at = pl.Series([datetime(2026, 8, 17, 13, 45, 59, tzinfo=UTC)])
    utc = int(datetime(2026, 8, 17, 13, 45, tzinfo=UTC).timestamp()) // 60
    assert read_back(str(minutes(at)[1])) == [utc]
    with in_manner(Manner(time_zone="Europe/Berlin")):
        assert read_back(str(minutes(at)[1])) == [utc + 120]


def test_texts_led_by_a_number_are_kept_by_their_tails() -> None:
    packed = texts(pl.Series(["40 l, 87 AKI", "38 l, 87 AKI", None]))

    assert packed[0] == "led"
    assert read_back(str(packed[1])) == [40, 38, None]
    assert packed[2] == [" l, 87 AKI"]


def test_texts_with_another_form_of_number_are_kept_whole() -> None:
    for odd in ("007 l", "1.5 gal", "twelve", "12"):
        assert texts(pl.Series(["40 l", odd]))[:2] == ["words", ["40 l", odd]]


def test_every_column_a_sketch_names_is_among_a_pages_tables() -> None:
    fleet = small_fleet()
    sheet = next(sheet for sheet in fleet.report().hulls if sheet.hull_id == "H03")
    tables = timeline_points(sheet.exposure, sheet.events).tables
    for trace in timeline_sketch(14, 28)["data"]:
        assert_named(trace["bind"], tables)
    course = fuel_of(fleet).tank_course.filter(pl.col("hull_id") == "H03")
    for trace in tank_sketch(14, 28)["data"]:
        assert_named(trace["bind"], tank_points(course).tables)


def assert_named(bound: dict[str, object], tables: object) -> None:
    assert isinstance(tables, dict)
    if bound["of"] not in tables:
        return  # a lane or a need that this hull has none of
    y = bound["y"]
    names = [bound["x"], *(y if isinstance(y, list) else [y]), *(bound.get("customdata") or ())]
    names += [bound["where"][0]] if "where" in bound else []  # type: ignore[index]
    assert set(names) <= set(tables[bound["of"]])
