"""Small typed record frames, with only the columns a test speaks of."""

from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.contracts.record_tables import EngineSessions, PistonLives

START = datetime(2025, 5, 1, tzinfo=UTC)
AS_OF = START + timedelta(days=200)


def day(number: float) -> datetime:
    return START + timedelta(days=number)


def frame(kind: str, *rows: dict[str, Any]) -> pl.DataFrame:
    return _filled(RECORD_KINDS[kind].schema.create_empty().schema, rows)


def _filled(schema: pl.Schema, rows: tuple[dict[str, Any], ...]) -> pl.DataFrame:
    unknown = {name for row in rows for name in row} - set(schema)
    assert not unknown, unknown
    return pl.DataFrame([dict.fromkeys(schema) | row for row in rows], schema=schema)


def records(**kinds: list[dict[str, Any]]) -> dict[str, pl.DataFrame]:
    """Records of one hull at one dock unless told otherwise; every dock's tank begins empty."""
    hulls = kinds.pop("hulls", [hull("H1")])
    docks = kinds.pop("docks", [{"dock_id": "north", "bulk_tank_l": 5000.0, "time_zone": "UTC"}])
    kinds.setdefault("dips", [dip(-0.5, 0.0, dock=row["dock_id"]) for row in docks])
    return {
        kind: frame(kind, *rows)
        for kind, rows in (
            {"deliveries": [], "fills": []} | kinds | {"hulls": hulls, "docks": docks}
        ).items()
    }


def dip(
    at: float, litres: float, *, dock: str | None = None, name: str | None = None
) -> dict[str, Any]:
    return {"dock_id": dock, "hull_id": name, "dipped_at": day(at), "level_l": litres}


def hull(name: str, dock: str = "north", tank_l: float = 70.0) -> dict[str, Any]:
    return {"hull_id": name, "dock_id": dock, "tank_l": tank_l, "in_service_at": START}


def outside_fill(at: float, litres: float, name: str = "H1", **octane: Any) -> dict[str, Any]:
    return {
        "hull_id": name, "filled_at": day(at), "volume_l": litres, "source": "outside"
    } | octane  # fmt: skip


def dock_fill(at: float, litres: float, name: str = "H1", dock: str = "north") -> dict[str, Any]:
    return {
        "hull_id": name, "filled_at": day(at), "volume_l": litres, "source": "dock",
        "source_dock_id": dock,
    }  # fmt: skip


def delivery(at: float, litres: float, dock: str = "north", **octane: Any) -> dict[str, Any]:
    return {"dock_id": dock, "delivered_at": day(at), "volume_l": litres} | octane


def session(at: float, name: str = "H1", **cells: Any) -> dict[str, Any]:
    """A one-hour session that ends at a day; engine hours follow the day unless given."""
    started = day(at) - timedelta(hours=1)
    return {
        "hull_id": name, "started_at": started, "ended_at": day(at), "dock_id": "north",
        "engine_id": f"E-{name}", "piston_set_id": f"P-{name}", "calibration": "stock",
        "octane_need_aki": 91.0, "cruise_burn_l_h": 20.0, "full_burn_l_h": 60.0,
        "full_throttle_share": 0.25, "burned_l": None, "running_h": 1.0,
        "engine_h_start": at, "engine_h_stop": at + 1.0, "set_h_start": at,
        "set_h_stop": at + 1.0, "is_on_meter": True,
    } | cells  # fmt: skip


def engine_sessions(*rows: dict[str, Any]) -> pl.DataFrame:
    return _filled(EngineSessions.create_empty().schema, rows)


def life(name: str = "H1", **cells: Any) -> dict[str, Any]:
    return {
        "piston_set_id": f"P-{name}", "engine_id": f"E-{name}", "hull_id": name,
        "dock_id": "north", "piston_type": "cast", "supplier_grade": "original",
        "build_number": 1, "fitted_at": START, "ended_at": None, "entry_h": 0.0, "exit_h": 30.0,
        "state": "running", "mode": None, "last_good_h": None,
    } | cells  # fmt: skip


def lives(*rows: dict[str, Any]) -> pl.DataFrame:
    return _filled(PistonLives.create_empty().schema, rows)


def drain(at: float, litres: float | None = None, name: str = "H1") -> dict[str, Any]:
    """Litres drained at a day; none given: the tank was emptied."""
    return {"hull_id": name, "drained_at": day(at), "volume_l": litres}
