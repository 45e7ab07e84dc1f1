from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.bench.bench_limits import default_bench_limits
from ringland.bench.bench_trends import reading_trends, shape_of

DAYS = np.array([0.0, 30, 60, 90, 120, 150])
START = datetime(2025, 1, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("readings", "shape", "change"),
    [
        ([100, 101, 99, 100, 100, 101], "steady", 0.0),
        ([100, 95, 90, 85, 80, 75], "drift", -0.25),
        ([100, 100, 100, 60, 60, 60], "step", -0.40),
        ([0, 0, 0, 0, 0, 0], "steady", 0.0),
    ],
)
def test_wear_drifts_and_a_break_steps(readings: list[float], shape: str, change: float) -> None:
    got, by, at = shape_of(DAYS, np.array(readings, dtype=float), 0.03)
    assert got == shape
    assert by == pytest.approx(change, abs=1e-9)
    assert (at == 3) if shape == "step" else at is None


@settings(derandomize=True, deadline=None)
@given(
    st.lists(st.floats(50, 200), min_size=4, max_size=12),
    st.floats(0.01, 100),
)
def test_the_shape_does_not_depend_on_the_unit(readings: list[float], factor: float) -> None:
    x, y = np.arange(len(readings)) * 10.0, np.array(readings)
    first, second = shape_of(x, y, 0.05), shape_of(x, y * factor, 0.05)
    assert first[0] == second[0]
    assert first[1] == pytest.approx(second[1], rel=1e-6, abs=1e-9)  # rounding of the fits


def test_of_two_equal_steps_the_first_is_taken_in_every_unit() -> None:
    readings = np.array([100.0, 50.0, 100.0, 50.0])
    x = np.arange(4.0)
    for factor in (1.0, 6.895, 0.1, 1 / 3):
        assert shape_of(x, readings * factor, 0.05)[2] == 1


def compression(values: dict[int, list[float]]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "engine_id": "E1",
                "inspected_at": START + timedelta(days=30 * n),
                "measure": "compression",
                "cylinder": cylinder,
                "port": None,
                "standard_value": value,
                "verdict": "pass",
            }
            for cylinder, series in values.items()
            for n, value in enumerate(series)
        ],
        schema_overrides={"port": pl.String, "inspected_at": pl.Datetime("us", "UTC")},
    )


def piston_sets(*fitted_day: int) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "engine_id": ["E1"] * len(fitted_day),
            "fitted_at": [START + timedelta(days=day) for day in fitted_day],
        },
        schema={"engine_id": pl.String, "fitted_at": pl.Datetime("us", "UTC")},
    )


def test_a_gauge_that_reads_low_one_day_is_no_step() -> None:
    weather = np.array([1.0, 0.9, 1.0, 0.92, 1.0])
    frame = compression({1: list(1000 * weather), 2: list(980 * weather)})
    trends = reading_trends(frame, piston_sets(-1), default_bench_limits())
    assert trends["shape"].to_list() == ["steady", "steady"]


def test_one_cylinder_that_drops_is_a_step_in_that_cylinder() -> None:
    frame = compression({1: [1000, 1000, 1000, 700, 700], 2: [1000] * 5, 3: [1000] * 5})
    trends = reading_trends(frame, piston_sets(-1), default_bench_limits())
    first = trends.row(0, named=True)
    assert (first["shape"], first["step_at"]) == ("step", START + timedelta(days=90))
    assert first["change"] == pytest.approx(-0.30, abs=1e-9)


def test_readings_before_the_last_piston_set_do_not_count() -> None:
    frame = compression({1: [500, 500, 1000, 1000], 2: [1000] * 4})
    trends = reading_trends(frame, piston_sets(-1, 45), default_bench_limits())
    assert trends["readings"].to_list() == [2, 2]
    assert set(trends["shape"]) == {"too few readings"}
