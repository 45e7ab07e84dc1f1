"""Readings that cannot be, by hand and by chance: judged so, named, and never in the way."""

import math
from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.bench.bench_tests import STANDARD_UNITS
from ringland.contracts.record_columns import MEASURES
from ringland.history.record_doubts import readings_that_cannot_be
from ringland.settings.assumptions import load_assumptions
from ringland.units import UNIT_NAMES
from tests.bench.test_bench_tests import TESTED, cylinders, judged, vacuum
from tests.history.record_rows import records

SETTINGS = load_assumptions()


def verdicts(measure: str, unit: str, values: list[float], **more: object) -> list[str]:
    return judged(*cylinders(measure, unit, values, **more))["verdict"].to_list()


def test_compression_of_zero_in_every_cylinder_is_a_gauge_not_connected() -> None:
    """0/0/0 psi ended the week in ZeroDivisionError, and nobody got a list."""
    assert verdicts("compression", "psi", [0.0, 0.0, 0.0]) == ["cannot be"] * 3


def test_zero_in_one_cylinder_beside_good_ones_is_a_dead_cylinder() -> None:
    assert verdicts("compression", "psi", [0.0, 168.0, 172.0]) == ["fail", "pass", "pass"]
    assert verdicts("leak_down", "%", [100.0, 4.0, 5.0]) == ["fail", "pass", "pass"]


def test_a_leak_down_without_supply_cannot_be() -> None:
    """A supply of 0 ended the week in ZeroDivisionError."""
    made = judged(*cylinders("leak_down", "psi", [0.0, 75.0], reference_value=0.0))
    assert made["verdict"].to_list() == ["cannot be"] * 2
    assert "supply cannot be" in made["reason"][1]


@pytest.mark.parametrize(
    ("measure", "unit", "values", "expected"),
    [
        ("compression", "psi", [-5.0, 168.0, 172.0], ["cannot be", "pass", "pass"]),
        ("compression", "psi", [1680.0, 168.0, 172.0], ["cannot be", "pass", "pass"]),
        ("compression", "psi", [math.nan, 168.0, 172.0], ["cannot be", "pass", "pass"]),
        ("compression", "psi", [20.0, 21.0, 20.0], ["fail", "fail", "fail"]),
        ("leak_down", "%", [0.0, 0.0, 0.0], ["cannot be"] * 3),
        ("leak_down", "%", [100.0, 100.0, 100.0], ["cannot be"] * 3),
        ("leak_down", "%", [0.0, 6.0, 5.0], ["cannot be", "pass", "pass"]),
        ("leak_down", "%", [1.0, 6.5, 5.0], ["pass", "fail", "pass"]),
        ("leak_down", "%", [140.0, 9.0, 8.0], ["cannot be", "pass", "pass"]),
        ("ring_end_gap", "mm", [0.0, 0.65], ["cannot be", "pass"]),
        ("ring_end_gap", "in", [0.65], ["cannot be"]),
        ("bearing_clearance", "mm", [0.0], ["cannot be"]),
        ("bore_taper", "mm", [-0.01, 0.0], ["cannot be", "pass"]),
        ("oil_iron", "ppm", [-1.0], ["cannot be"]),
        ("crankcase_pressure", "kPa", [-0.5], ["cannot be"]),
        ("hull_oil", "ml", [50_000.0], ["cannot be"]),
    ],
)
def test_what_no_engine_gives_is_not_judged_and_does_not_judge_its_neighbours(
    measure: str, unit: str, values: list[float], expected: list[str]
) -> None:
    """A leak of 0 % passed as good and failed the cylinder beside it that leaked 6 %."""
    assert verdicts(measure, unit, values) == expected


def test_a_dead_vacuum_pump_or_barometer_cannot_be() -> None:
    rows = [vacuum(0.0, port=port, reference_value=29.0) for port in ("intake", "exhaust")]
    assert judged(*rows)["verdict"].to_list() == ["cannot be"] * 2
    assert judged(vacuum(0.0, reference_value=29.0), altitude_m=0.0)["verdict"].to_list() == [
        "fail"
    ]
    assert judged(vacuum(27.0, reference_value=0.0), altitude_m=0.0)["verdict"].to_list() == [
        "cannot be"
    ]
    assert judged(vacuum(27.0, barometer_kpa=0.0))["verdict"].to_list() == ["cannot be"]


def test_a_pressure_that_was_never_there_before_is_not_called_doubled() -> None:
    rows = [
        {"measure": "crankcase_pressure", "value": value, "unit": "kPa"}
        | {"inspected_at": TESTED.replace(day=day)}
        for day, value in ((1, 0.0), (2, 0.4))
    ]
    assert judged(*rows)["verdict"].to_list() == ["cannot judge"] * 2


def test_it_is_named_with_its_file_and_row_and_what_to_do() -> None:
    rows = cylinders("compression", "psi", [0.0, 0.0])
    inspections = records(inspections=[{"engine_id": "E1", "inspected_at": TESTED} | row
                                       for row in rows])["inspections"]  # fmt: skip
    from_file = inspections.with_columns(
        source_file=pl.lit("bench 2025.csv"), source_row=pl.int_range(2, 4)
    )
    flags = readings_that_cannot_be({"inspections": from_file}, judged(*rows))

    assert flags["flag"].to_list() == ["reading_cannot_be"] * 2
    assert flags["sentence"][1] == (
        "Engine E1, compression, cylinder 2: every cylinder reads 0: look whether the gauge was "
        "connected. The reading counts neither as passed nor as failed. (bench 2025.csv, row 3)"
    )
    assert "Test again" in flags["remedy"][0]
    assert flags["record_key"][1] == "E1; 2025-06-01T09:00:00Z; compression; 2; empty"


NUMBERS = st.one_of(
    st.floats(-1000, 100_000),
    st.sampled_from([0.0, -0.0, 1e-300, 100.0, math.nan, math.inf, -math.inf]),
)
MAYBE = st.one_of(st.none(), NUMBERS)


CASES = st.fixed_dictionaries(
    {
        "measure": st.sampled_from(MEASURES),
        "unit": st.one_of(st.none(), st.sampled_from([*UNIT_NAMES, "furlong"])),
        "values": st.lists(NUMBERS, min_size=1, max_size=4),
        "reference_value": MAYBE,
        "barometer_kpa": MAYBE,
        "engine_id": st.sampled_from(["E1", "E2", "unknown"]),
    }
)


@settings(derandomize=True, deadline=None, max_examples=300)
@given(
    case=CASES,
    is_in_its_unit=st.booleans(),
    altitude_m=st.one_of(st.none(), st.floats(-400, 4000)),
)
def test_no_reading_ends_the_week_and_none_impossible_passes(
    case: dict[str, Any], is_in_its_unit: bool, altitude_m: float | None
) -> None:
    unit = STANDARD_UNITS[case["measure"]] if is_in_its_unit else case["unit"]
    made = judged(*cylinders(**(case | {"unit": unit})), altitude_m=altitude_m)
    impossible = made.filter(~pl.col("value").is_finite() | (pl.col("value") < 0))

    assert made.height == len(case["values"])
    assert set(impossible["verdict"]) <= {"cannot be", "cannot judge"}
    assert readings_that_cannot_be(records(), made).height == (made["verdict"] == "cannot be").sum()
