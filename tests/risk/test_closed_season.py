"""Before a season's first rentals: laid up is not silent, and a dock runs as in earlier years."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from ringland.contracts.fuel_tables import SessionExposure
from ringland.risk.closed_season import closed_between, silent_days
from ringland.risk.expected_use import expected_use, later_use
from ringland.settings.assumptions import load_assumptions
from tests.decision.small_fleet import frame
from tests.history.record_rows import records

SETTINGS = load_assumptions()
OPENING = datetime(2026, 5, 1, tzinfo=UTC)
HULLS = records(
    hulls=[
        {"hull_id": hull, "dock_id": dock, "in_service_at": datetime(2024, 1, 1, tzinfo=UTC)}
        for hull, dock in (("A", "north"), ("B", "north"), ("C", "south"))
    ]
)["hulls"]


def ride(hull: str, dock: str, at: datetime, hours: float = 1.0) -> dict[str, object]:
    return {
        "hull_id": hull, "engine_id": f"E{hull}", "dock_id": dock, "started_at": at,
        "ended_at": at + timedelta(hours=hours), "engine_h_start": 10.0,
        "engine_h_stop": 10.0 + hours,
    }  # fmt: skip


def season(year: int, hours_by_month: dict[int, float]) -> list[dict[str, object]]:
    """A ride a day of every hull from May to September, so many hours each."""
    first, last = datetime(year, 5, 1, 12, tzinfo=UTC), datetime(year, 9, 30, 12, tzinfo=UTC)
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    return [
        ride(hull, dock, day, hours_by_month.get(day.month, 1.0))
        for day in days
        for hull, dock in (("A", "north"), ("B", "north"), ("C", "south"))
    ]


def exposure(*rows: dict[str, object]) -> pl.DataFrame:
    return frame(SessionExposure, list(rows))


def test_before_the_opening_a_dock_runs_as_in_these_days_of_earlier_years() -> None:
    """May of 2025 ran an hour a day, July and August two: the plan of the first week needs both.

    A fault found in use: until the first rentals no hull had a chance, and so no plan.
    """
    past = exposure(*season(2025, {5: 1.0, 7: 2.0, 8: 2.0}))
    use = expected_use(past, HULLS, OPENING, SETTINGS)
    later = later_use(use, past, OPENING, datetime(2026, 10, 1, tzinfo=UTC), SETTINGS)

    assert use["use_h_d"].to_list() == pytest.approx([1.0] * 3, rel=0.05)
    of_rest = (1 + 30 + 62 * 2 + 30) / (1 + 30 + 62 + 30)  # 31 May to the end of September
    assert later["later_use_h_d"].to_list() == pytest.approx([of_rest] * 3, rel=0.05)


def test_in_the_first_weeks_the_pace_is_of_earlier_years_at_this_seasons_level() -> None:
    """Three days on record run twice as much as in 2025; 20 h of "as ever" draw that in.

    A fault found in use: a few days' running in 28 was taken for the pace of late.
    """
    opened = [
        ride(hull, dock, OPENING + timedelta(days=n, hours=12), 2.0)
        for n in range(3)
        for hull, dock in (("A", "north"), ("B", "north"), ("C", "south"))
    ]
    past = exposure(*season(2025, {}), *opened)
    use = expected_use(past, HULLS, OPENING + timedelta(days=3), SETTINGS)

    level = (18 + 20) / (9 + 20)
    assert use["use_h_d"].to_list() == pytest.approx([level] * 3, rel=0.15)


def test_a_dock_that_stopped_in_summer_is_not_given_the_pace_of_earlier_years() -> None:
    rows = season(2025, {}) + [
        row
        for row in season(2026, {})
        if row["dock_id"] == "north" or row["started_at"].month < 6  # type: ignore[attr-defined]
    ]
    use = expected_use(exposure(*rows), HULLS, datetime(2026, 8, 1, tzinfo=UTC), SETTINGS)

    assert dict(use.select("hull_id", "use_h_d").rows())["C"] is None


def test_a_laid_up_hull_is_as_silent_as_it_was_when_the_fleet_closed() -> None:
    """B last ran on 10 September; the fleet closed on the 30th and opens on 1 May."""
    rows = [row for row in season(2025, {}) if row["hull_id"] != "B"]
    rows += [ride("B", "north", datetime(2025, 9, 10, 12, tzinfo=UTC))]
    rows += [ride("A", "north", OPENING)]
    use = expected_use(exposure(*rows), HULLS, OPENING + timedelta(days=4), SETTINGS)

    silent = dict(use.select("hull_id", "silent_d").rows())
    assert silent["B"] == pytest.approx(20 + 4, abs=0.2)
    assert silent["A"] == pytest.approx(4, abs=0.2)


def test_a_few_rentals_after_the_last_day_put_the_closing_off() -> None:
    late = datetime(2025, 10, 20, 12, tzinfo=UTC)
    table = exposure(*season(2025, {}), ride("A", "north", late))

    assert closed_between(table, OPENING, SETTINGS) == (late + timedelta(hours=1), OPENING)


def test_a_fleet_that_rents_through_the_winter_was_never_closed() -> None:
    rows = season(2025, {}) + [
        ride("A", "north", datetime(2025, 10, 1, tzinfo=UTC) + timedelta(days=20 * n))
        for n in range(10)
    ]
    table = exposure(*rows)
    as_of = OPENING - timedelta(days=5)

    assert closed_between(table, as_of, SETTINGS) is None
    days = pl.select(silent_days(pl.lit(as_of - timedelta(days=90)), None, as_of)).item()
    assert days == pytest.approx(90.0)
