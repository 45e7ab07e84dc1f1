"""Teardown, exposure and life frames made from short rows."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import polars as pl

from ringland.contracts.fuel_tables import SessionExposure
from ringland.contracts.record_tables import PistonLives
from ringland.contracts.records import Teardowns

START = datetime(2025, 5, 1, 12, tzinfo=UTC)
OPENED = datetime(2025, 7, 1, 9, tzinfo=UTC)


def teardown(
    seen: Iterable[str] = (),
    not_seen: Iterable[str] = (),
    not_looked_at: Iterable[str] = (),
    engine_id: str = "E1",
    opened_at: datetime = OPENED,
) -> pl.DataFrame:
    """Rows from 'part | finding' or 'cylinder | part | finding'."""
    rows = []
    states = {"seen": seen, "not_seen": not_seen, "not_looked_at": not_looked_at}
    for state, entries in states.items():
        for entry in entries:
            *cylinder, part, finding = (piece.strip() for piece in entry.split("|"))
            rows.append(
                {
                    "engine_id": engine_id,
                    "opened_at": opened_at,
                    "cylinder": int(cylinder[0]) if cylinder else None,
                    "part": part,
                    "finding": finding,
                    "state": state,
                }
            )
    schema = {name: column.dtype for name, column in Teardowns.columns().items()}
    return pl.DataFrame(rows, schema=schema)


def sessions(set_id: str, margin_on: float, hours: int = 40, **changed: object) -> pl.DataFrame:
    """One-hour rentals, a quarter at full throttle, all on fuel of one margin."""
    rows = []
    for hour in range(hours):
        at = START + timedelta(days=hour)
        shortfall = max(0.0, -margin_on)
        rows.append(
            {
                "hull_id": f"H-{set_id}",
                "dock_id": "D",
                "engine_id": f"E-{set_id}",
                "piston_set_id": set_id,
                "started_at": at,
                "ended_at": at + timedelta(hours=1),
                "engine_h_start": float(hour),
                "engine_h_stop": hour + 1.0,
                "set_h_start": float(hour),
                "set_h_stop": hour + 1.0,
                "burn_l": 30.0,
                "octane_aki": 91.0 + margin_on,
                "octane_need_aki": 91.0,
                "octane_margin_on": margin_on,
                "shortfall_on": shortfall,
                "shortfall_low_on": shortfall,
                "shortfall_high_on": shortfall,
                "hard_running_h": 0.25,
                "full_throttle_share": 0.25,
                "is_throttle_assumed": False,
                "fuel_age_d": 5.0,
                "share_over_14d": 0.0,
                "share_over_28d": 0.0,
                "unknown_share": 0.0,
                "calibration": "stock",
            }
            | changed
        )
    schema = {name: column.dtype for name, column in SessionExposure.columns().items()}
    return pl.DataFrame(rows, schema=schema)


def lives(hours: dict[str, float]) -> pl.DataFrame:
    schema = {name: column.dtype for name, column in PistonLives.columns().items()}
    return pl.DataFrame(
        [
            {
                "piston_set_id": set_id,
                "engine_id": f"E-{set_id}",
                "hull_id": f"H-{set_id}",
                "dock_id": "D",
                "piston_type": "cast",
                "supplier_grade": "original",
                "build_number": 1,
                "fitted_at": START,
                "ended_at": None,
                "entry_h": 0.0,
                "exit_h": exit_h,
                "state": "running",
                "mode": None,
                "last_good_h": None,
            }
            for set_id, exit_h in hours.items()
        ],
        schema=schema,
    )
