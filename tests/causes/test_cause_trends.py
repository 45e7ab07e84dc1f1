from datetime import UTC, datetime

import polars as pl
import pytest

from ringland.causes.cause_findings import EngineFindings, engine_findings
from ringland.causes.cause_table import default_cause_table
from ringland.causes.cause_trends import trend_lines, with_trends
from tests.causes.cause_rows import teardown

TABLE = default_cause_table()
AT = datetime(2025, 5, 5, tzinfo=UTC)


def trends(*rows: tuple[str, int, str, float | None]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {"measure": measure, "cylinder": cylinder, "shape": shape, "change": change,
             "readings": 5, "step_at": AT}
            for measure, cylinder, shape, change in rows
        ],
        schema={"measure": pl.String, "cylinder": pl.Int64, "shape": pl.String,
                "change": pl.Float64, "readings": pl.Int64,
                "step_at": pl.Datetime("us", "UTC")},
    )  # fmt: skip


def seen(
    *rows: tuple[str, int, str, float | None], entered: list[str] | None = None
) -> EngineFindings:
    return with_trends(
        engine_findings(teardown(entered or []), TABLE, "E1", 2), trends(*rows), trends(*rows)
    )


OPEN = "not_looked_at"


@pytest.mark.parametrize(
    ("measure", "shapes", "changes", "step", "drift"),
    [
        ("leak_down", ["step", "steady"], [0.5, 0.0], "seen", "not_seen"),
        ("leak_down", ["drift", "drift"], [0.5, 0.4], "not_seen", "seen"),
        ("leak_down", ["step", "step"], [0.5, 0.4], "not_seen", "not_seen"),
        ("compression", ["step", "steady"], [-0.3, 0.0], "seen", OPEN),
        ("compression", ["step", "steady"], [0.3, 0.0], "not_seen", OPEN),
        ("leak_down", ["too few readings", "drift"], [None, 0.4], OPEN, OPEN),
        ("leak_down", [], [], OPEN, OPEN),
    ],
)
def test_a_step_in_one_cylinder_and_an_even_drift_are_worked_out(
    measure: str, shapes: list[str], changes: list[float | None], step: str, drift: str
) -> None:
    rows = [
        (measure, cylinder, shape, change)
        for cylinder, (shape, change) in enumerate(zip(shapes, changes, strict=True), start=1)
    ]
    got = seen(*rows).states
    assert (got["one_cylinder_step"], got["even_drift"]) == (step, drift)


def test_a_cylinder_that_fell_is_seen_though_another_stepped_up_earlier() -> None:
    """Compression fell by 33 % in one cylinder and the report said 'not seen'.

    Another had stepped up before, so that beside it all others seemed to step down.
    """
    got = seen(
        ("compression", 1, "step", 0.09),
        ("compression", 2, "step", -0.33),
        ("compression", 3, "step", -0.06),
    )
    assert got.states["one_cylinder_step"] == "seen"


def test_two_cylinders_that_fell_alike_are_no_one_cylinder_step() -> None:
    got = seen(("compression", 1, "step", -0.30), ("compression", 2, "step", -0.25))
    assert got.states["one_cylinder_step"] == "not_seen"


def test_only_readings_from_before_the_failure_can_show_a_drift() -> None:
    whole = trends(("leak_down", 1, "drift", 0.5), ("leak_down", 2, "drift", 0.5))
    before = trends(("leak_down", 1, "steady", 0.0), ("leak_down", 2, "steady", 0.0))
    got = with_trends(engine_findings(teardown([]), TABLE, "E1", 2), whole, before)
    assert got.states["even_drift"] == "not_seen"


def test_what_a_mechanic_entered_stands_before_what_is_worked_out() -> None:
    rows = [("leak_down", 1, "step", 0.5), ("leak_down", 2, "steady", 0.0)]
    got = seen(*rows, entered=["tests | compression drifted down evenly"])
    assert got.states["even_drift"] == "seen"


def test_steps_and_drifts_are_said_with_size_and_day() -> None:
    lines = trend_lines(
        trends(("leak_down", 2, "step", 0.4), ("compression", 1, "too few readings", None))
    )
    assert lines[0] == "Leak-down, cyl 2: stepped by +40%, seen on Mon 5 May 2025."
    assert lines[1].startswith("1 series of tests")
