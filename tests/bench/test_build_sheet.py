"""The build sheet closes on nothing but good readings, and names whatever keeps it open."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.bench.build_checks import build_checks, checks_for
from ringland.bench.build_lines import BuildTime
from ringland.bench.build_sheet import BuildSheet, build_sheet, readings_of_tests
from ringland.bench.signed_names import is_name, is_reason
from ringland.contracts.records import Inspections
from ringland.words.manner import DEFAULT_MANNER, in_manner
from tests.bench.build_rows import AS_OF, ENGINE, FAILED, READ, book, good_rows, readings

AT = BuildTime(FAILED, AS_OF, 0.0)
GOOD = good_rows()


def sheet(
    rows: list[dict[str, Any]], limits: pl.DataFrame | None = None, scope: str = "full"
) -> BuildSheet:
    return build_sheet(ENGINE, scope, AT, readings(rows), book() if limits is None else limits)


SPOILT: dict[str, dict[str, Any]] = {
    "missing": {"value": None, "answer": None},
    "stale": {"read_at": FAILED - timedelta(days=3)},
    "stale by a moment": {"read_at": FAILED},
    "in the future": {"read_at": AS_OF + timedelta(minutes=1)},
    "unsigned": {"read_by": None},
    "signed by a dot": {"read_by": "."},
    "signed by a filler": {"read_by": "n/a"},
    "impossible": {"value": -999.0, "answer": "no"},
    "beyond the instrument": {"value": 99999.0, "answer": "never"},
    "in the wrong unit": {"unit": "US gal", "answer": "perhaps"},
    "without a unit": {"unit": None, "answer": ""},
    "let go by nobody": {"value": None, "answer": None, "waived_because": "The book allows it so"},
    "let go for a dot": {"value": None, "answer": None, "waived_by": "R. Vane",
                         "waived_because": "."},
    "let go though unsigned": {"read_by": None, "waived_by": "R. Vane",
                               "waived_because": "The mechanic has left the shop since"},
    "let go though stale": {"read_at": FAILED - timedelta(days=3), "waived_by": "R. Vane",
                            "waived_because": "It was measured the month before"},
}  # fmt: skip


def test_a_whole_sheet_of_good_readings_closes() -> None:
    made = sheet(GOOD)
    assert made.is_closed, made.obstacles[:3]
    assert len(made.lines) > 90
    assert made.waivers == ()
    assert made.unknown == ()


@settings(derandomize=True, deadline=None, max_examples=60)
@given(
    st.dictionaries(
        st.integers(0, len(GOOD) - 1), st.sampled_from(sorted(SPOILT)), min_size=1, max_size=8
    ),
    st.sets(st.integers(0, len(GOOD) - 1), max_size=5),
)
def test_no_sheet_closes_on_a_bad_line_and_every_refusal_names_it(
    spoilt: dict[int, str], dropped: set[int]
) -> None:
    rows = [
        row | SPOILT[spoilt[at]] if at in spoilt else row
        for at, row in enumerate(GOOD)
        if at not in dropped
    ]
    made = sheet(rows)
    bad = {
        (GOOD[at]["line"], GOOD[at]["place"])
        for at in {*spoilt, *dropped}
    }  # fmt: skip
    assert not made.is_closed
    refused = {(line.check.key, line.place) for line in made.lines if line.obstacle}
    assert refused == bad
    names = {build_checks()[check].words + (f", {place}" if place else "") for check, place in bad}
    assert {obstacle.partition(": ")[0] for obstacle in made.obstacles} == names


@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.integers(0, len(GOOD) - 1), st.floats(-2e5, 2e6, allow_nan=False))
def test_a_reading_passes_only_within_the_makers_limits(at: int, value: float) -> None:
    row = GOOD[at]
    check = build_checks()[row["line"]]
    if not check.is_measured:
        return
    rows = [*GOOD[:at], row | {"value": value}, *GOOD[at + 1 :]]
    line = next(
        one for one in sheet(rows).lines if (one.check.key, one.place) == (check.key, row["place"])
    )
    limit = book().filter(pl.col("line") == check.key).row(0, named=True)
    if check.asks in ("vacuum", "compression"):
        inside = value >= limit["least"] * 101.3 / 101.325 - 1e-6
        above = value > (31.0 if check.asks == "vacuum" else 2068.0)
        assert (line.verdict == "pass") <= (inside and not above)
        return
    low, high = limit["least"], limit["most"]
    inside = (low is None or value >= low - 1e-6) and (high is None or value <= high + 1e-6)
    assert (line.verdict == "pass") <= inside


def test_figures_of_ours_alone_pass_no_new_build() -> None:
    made = sheet(GOOD, book().clear())
    measured = [line for line in made.lines if line.check.is_measured]
    assert {line.verdict for line in measured} == {"no maker's limit"}
    assert any("ours: " in line.target and "[M]" in line.target for line in measured)


def test_wear_limits_pass_no_new_build() -> None:
    """A ring gap at the wear limit closed the sheet."""
    wear = book().with_columns(kind=pl.lit("wear"))
    assert not sheet(GOOD, wear).is_closed


def test_the_book_of_another_family_passes_nothing() -> None:
    assert not sheet(GOOD, book().with_columns(family=pl.lit("S4"))).is_closed


def test_dead_compression_and_evenly_low_compression_fail() -> None:
    for psi in (0.0, 60.0, 120.0):
        rows = [
            row | {"value": psi, "unit": "psi"} if row["line"] == "compression" else row
            for row in GOOD
        ]
        lines = [line for line in sheet(rows).lines if line.check.key == "compression"]
        assert {line.verdict for line in lines} <= {"cannot be", "out of limit"}, psi


def test_ring_rod_and_deck_have_each_their_own_slot() -> None:
    asked = {check.key for check in checks_for("full", is_boosted=True)}
    assert asked >= {"ring_1_gap", "ring_2_gap", "rod_clearance", "main_clearance",
                     "deck_flatness", "head_flatness"}  # fmt: skip
    assert len(build_checks()["main_clearance"].places(3)) == 4


def test_a_reading_let_go_by_name_and_sentence_closes_and_stays_to_be_read() -> None:
    why = "The maker's service letter allows this gap for boost."
    waiver = {"value": 0.9, "unit": "mm", "waived_by": "T. Ollander", "waived_because": why}
    rows = [
        row | waiver if (row["line"], row["place"]) == ("ring_1_gap", "2") else row for row in GOOD
    ]
    made = sheet(rows)
    assert made.is_closed
    assert made.waivers == (f"Ring 1 end gap, 2: out of limit, let go by T. Ollander: {why}",)


def test_a_clearance_without_its_method_is_not_judged() -> None:
    rows = [row | {"method": " "} if row["line"] == "rod_clearance" else row for row in GOOD]
    obstacles = sheet(rows).obstacles
    assert len(obstacles) == 3
    assert "how it was measured is not written" in obstacles[0]


def test_the_later_of_two_readings_counts() -> None:
    bad = next(row for row in GOOD if row["line"] == "ring_2_gap") | {"value": 4.9}
    later = bad | {"read_at": READ + timedelta(days=1)}
    assert not sheet([*GOOD, later]).is_closed
    earlier = bad | {"read_at": READ - timedelta(days=1)}
    assert sheet([*GOOD, earlier]).is_closed


def test_what_the_sheet_does_not_ask_for_is_named() -> None:
    odd = GOOD[0] | {"line": "colour", "place": "3"}
    assert sheet([*GOOD, odd]).unknown == ("colour, 3: not asked for on this sheet",)


def test_two_readings_of_one_instant_both_stand() -> None:
    """Which of two readings of one minute counted hung on the order of the rows."""
    good = next(row for row in GOOD if row["line"] == "ring_2_gap")
    for pair in ([good, good | {"value": 4.9}], [good | {"value": 4.9}, good]):
        assert not sheet([*(row for row in GOOD if row is not good), *pair]).is_closed


def test_a_sheet_closes_over_nothing_that_was_measured_out_of_limit() -> None:
    """A top end closed over a rod clearance that somebody had measured and found worn."""
    top_end = good_rows("top_end")
    rod = next(row for row in GOOD if row["line"] == "rod_clearance")
    assert sheet([*top_end, rod], scope="top_end").is_closed
    worn = sheet([*top_end, rod | {"value": 0.19}], scope="top_end")
    assert [one for one in worn.obstacles if one.startswith("Rod bearing clearance, 1: out of")]


def test_a_reading_of_a_cylinder_the_record_does_not_have_keeps_the_sheet_open() -> None:
    """An engine written down with one cylinder closed on that one."""
    few = build_sheet(ENGINE | {"cylinders": 1}, "full", AT, readings(GOOD), book())
    assert not few.is_closed
    assert "compression, 3: on record, but the engine's record says 1 cylinders" in few.obstacles
    assert few.open_lines


@pytest.mark.parametrize(
    ("key", "changed", "reason"),
    [
        ("valve_vacuum", {"value": 2.0, "reference_value": 2.0}, "too little of the day's air"),
        ("valve_vacuum", {"value": 29.0, "reference_value": 33.0}, "more than the air there is"),
        ("valve_vacuum", {"value": 17.0, "barometer_kpa": 60.0}, "not the air at 0 m"),
        ("valve_vacuum", {"value": 17.0, "barometer_kpa": 60.0, "reference_value": 17.5},
         "not the air at 0 m"),
        ("compression", {"value": 650.0, "barometer_kpa": 60.0}, "not the air at 0 m"),
        ("compression", {"value": 650.0, "barometer_kpa": 60.0, "barometer_is": "sea_level"},
         "no weather report"),
        ("leak_down", {"value": 0.99, "reference_value": 1.0, "unit": "psi"}, "no leak-down test"),
        ("rod_clearance", {"method": "."}, "how it was measured"),
    ],
)  # fmt: skip
def test_no_gauge_is_made_to_pass_by_what_it_is_held_against(
    key: str, changed: dict[str, Any], reason: str
) -> None:
    """Two inHg of a pump that drew two, and dead compression in the air of 4,000 m, passed."""
    at = next(number for number, row in enumerate(GOOD) if row["line"] == key)
    made = sheet([*GOOD[:at], GOOD[at] | changed, *GOOD[at + 1 :]])
    [obstacle] = made.obstacles
    assert reason in obstacle


@pytest.mark.parametrize(
    ("changed", "reason"),
    [
        ({"least": -900.0, "most": 99000.0}, "lets everything pass"),
        ({"entered_by": "x"}, "nobody's name"),
        ({"source": "."}, "nobody's name or book"),
    ],
)
def test_a_book_that_nobody_stands_behind_passes_nothing(
    changed: dict[str, Any], reason: str
) -> None:
    rows = [row | changed if row["line"] == "ring_1_gap" else row for row in book().to_dicts()]
    made = sheet(GOOD, pl.DataFrame(rows, schema=book().schema))
    assert len(made.obstacles) == 3
    assert all(reason in one for one in made.obstacles)


def test_an_engine_without_its_number_of_cylinders_closes_nothing() -> None:
    made = build_sheet(ENGINE | {"cylinders": None}, "full", AT, readings(GOOD), book())
    assert any("number of cylinders is not known" in obstacle for obstacle in made.obstacles)


@pytest.mark.parametrize(
    "name", ["R. Vane", "Bo", "\N{CJK UNIFIED IDEOGRAPH-674E}\N{CJK UNIFIED IDEOGRAPH-660E}"]
)
def test_a_name_is_a_name_in_any_script(name: str) -> None:
    assert is_name(name)


@pytest.mark.parametrize("filler", ["", " ", ".", "x", "xx", "n/a", "NN", "---", "me"])
def test_a_filler_is_no_name(filler: str) -> None:
    assert not is_name(filler)


def test_a_reason_is_at_least_a_sentence() -> None:
    assert is_reason("The maker allows it at this age.")
    for thin in ("", ".", "ok", "it is ok", "because because because because"):
        assert not is_reason(thin), thin


def test_a_bench_test_written_as_acceptance_is_a_line_of_the_sheet() -> None:
    schema = {name: column.dtype for name, column in Inspections.columns().items()}
    usual = {"engine_id": "E1", "inspected_at": READ, "rebuilt_at": READ, "state": "measured",
             "signed_by": "R. Vane", "barometer_kpa": 101.3}  # fmt: skip
    rows = readings_of_tests(
        pl.DataFrame(
            [
                usual | {"measure": "compression", "cylinder": 2, "value": 172.0, "unit": "psi"},
                usual | {"measure": "valve_seal_vacuum", "cylinder": 1, "port": "exhaust",
                         "value": 29.2, "unit": "inHg"},
                usual | {"measure": "ring_end_gap", "cylinder": 1, "value": 0.6, "unit": "mm"},
                usual | {"measure": "compression", "cylinder": 3, "value": 170.0, "unit": "psi",
                         "rebuilt_at": None},
            ],
            schema=schema,
        )
    )  # fmt: skip
    assert rows.select("line", "place").rows() == [
        ("compression", "2"), ("valve_vacuum", "1 exhaust")
    ]  # fmt: skip
    made = build_sheet(ENGINE, "full", AT, rows, book())
    assert {line.place for line in made.lines if line.verdict == "pass"} == {"2", "1 exhaust"}


def test_a_sheet_writes_its_limits_in_the_shops_own_manner() -> None:
    with in_manner(replace(DEFAULT_MANNER, number="1.234,5")):
        made = sheet(GOOD)
    targets = {line.check.key: line.target for line in made.lines}
    assert targets["seat_run_out"].startswith("at most 0,05 mm")
