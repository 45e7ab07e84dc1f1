"""Bench readings as findings."""

from datetime import timedelta

import polars as pl
import pytest

from ringland.causes.cause_findings import EngineFindings, engine_findings
from ringland.causes.cause_readings import with_readings
from ringland.causes.cause_table import default_cause_table
from ringland.contracts.record_tables import BenchVerdicts
from tests.causes.cause_rows import OPENED, teardown

TABLE = default_cause_table()
BEFORE, AFTER = OPENED - timedelta(days=20), OPENED + timedelta(days=1)


def readings(*rows: dict[str, object]) -> pl.DataFrame:
    schema = {name: column.dtype for name, column in BenchVerdicts.columns().items()}
    usual = {"engine_id": "E1", "unit": "%", "value": 5.0, "measure": "leak_down"}
    return pl.DataFrame([usual | row for row in rows], schema=schema)


def shown(
    *rows: dict[str, object], entered: list[str] | None = None, not_seen: list[str] | None = None
) -> tuple[EngineFindings, tuple[str, ...]]:
    found = engine_findings(teardown(entered or [], not_seen or []), TABLE, "E1", 3)
    return with_readings(found, readings(*rows), OPENED, TABLE)


def test_a_failed_leak_down_is_a_finding_with_its_cylinder_and_its_reading() -> None:
    """A leak-down of 48 % counted for nothing where there was no trend."""
    found, lines = shown(
        {"cylinder": 1, "inspected_at": BEFORE, "value": 6.0, "verdict": "pass"},
        {"cylinder": 2, "inspected_at": BEFORE, "value": 48.0, "verdict": "fail"},
    )
    assert found.states["leak_high"] == "seen"
    assert found.seen_in["leak_high"] == (2,)
    assert len(lines) == 1
    assert lines[0].startswith("Leak-down beyond its limit: seen, from leak-down of cyl 2 on ")
    assert "48" in lines[0]


def test_a_vacuum_of_eight_inhg_is_a_poor_seal() -> None:
    row = {"measure": "valve_seal_vacuum", "unit": "inHg", "value": 8.0, "port": "exhaust"}
    found, _ = shown(row | {"cylinder": 3, "inspected_at": AFTER, "verdict": "fail"})
    assert found.states["seal_poor"] == "seen"


def test_a_good_reading_from_before_the_failure_says_nothing_of_after() -> None:
    good = {"cylinder": 1, "verdict": "pass"}
    assert shown(good | {"inspected_at": BEFORE})[0].states["leak_high"] == "not_looked_at"
    assert shown(good | {"inspected_at": AFTER})[0].states["leak_high"] == "not_seen"


def test_good_readings_at_only_some_places_after_the_failure_do_not_say_not_seen() -> None:
    found, lines = shown(
        {"cylinder": 1, "inspected_at": AFTER, "verdict": "pass"},
        {"cylinder": 2, "inspected_at": BEFORE, "verdict": "pass"},
    )
    assert found.states["leak_high"] == "not_looked_at"
    assert lines == ()


@pytest.mark.parametrize(
    ("is_least", "key"), [(True, "gap_small"), (False, "gap_wide")], ids=["tight", "wide"]
)
def test_a_ring_gap_that_fails_is_tight_or_wide(is_least: bool, key: str) -> None:
    row = {"measure": "ring_end_gap", "unit": "mm", "value": 0.3, "cylinder": 1}
    found, _ = shown(row | {"inspected_at": AFTER, "verdict": "fail", "is_limit_least": is_least})
    assert found.states[key] == "seen"
    assert found.states["gap_in_range"] == "not_seen"
    other = {"gap_small", "gap_wide"} - {key}
    assert {found.states[one] for one in other} == {"not_seen"}


def test_what_was_entered_stands_and_a_reading_against_it_is_said() -> None:
    found, lines = shown(
        {"measure": "deck_flatness", "unit": "mm", "value": 0.4, "inspected_at": AFTER,
         "verdict": "fail"},
        not_seen=["head | head or deck warped"],
    )  # fmt: skip
    assert found.states["head_warped"] == "not_seen"
    assert len(lines) == 1
    assert "the teardown counts until it is settled" in lines[0]


def test_a_reading_that_cannot_be_is_no_finding() -> None:
    found, lines = shown({"cylinder": 1, "inspected_at": AFTER, "verdict": "cannot be"})
    assert found.states["leak_high"] == "not_looked_at"
    assert lines == ()
