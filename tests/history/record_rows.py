"""Valid rows of every record kind, and frames of the contract's types made from short rows."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS

VALID_TEXT: dict[str, dict[str, str]] = {
    "docks": {"dock_id": "north", "bulk_tank_l": "4000", "altitude_m": "180",
              "time_zone": "America/Chicago"},
    "hulls": {"hull_id": "H01", "dock_id": "north", "tank_l": "70",
              "in_service_at": "2024-05-01T08:00:00Z"},
    "engines": {"engine_id": "E1", "family": "A", "induction": "supercharged",
                "cylinders": "3",
                "first_recorded_at": "2024-05-01T08:00:00Z", "first_recorded_engine_h": "120.5"},
    "installations": {"engine_id": "E1", "hull_id": "H01", "installed_at": "2024-05-01T08:00:00Z",
                      "removed_at": "2025-06-01T08:00:00Z"},
    "piston_sets": {"piston_set_id": "P1", "engine_id": "E1", "fitted_at": "2024-05-01T08:00:00Z",
                    "fitted_engine_h": "20", "piston_type": "cast", "supplier_grade": "original",
                    "reason": "factory"},
    "hour_readings": {"hull_id": "H01", "meter_id": "M1", "read_at": "2024-05-02T08:00:00Z",
                      "meter_h": "130.2"},
    "deliveries": {"dock_id": "north", "delivered_at": "2024-05-02T08:00:00Z", "volume_l": "2000",
                   "octane_aki": "91", "price_per_l": "1.25"},
    "fills": {"hull_id": "H01", "filled_at": "2024-05-02T08:00:00Z", "volume_l": "40.5",
              "source": "dock", "source_dock_id": "north"},
    "drains": {"hull_id": "H01", "drained_at": "2024-05-02T08:30:00Z", "volume_l": "12.5",
               "why": "old fuel"},
    "sessions": {"hull_id": "H01", "started_at": "2024-05-02T09:00:00Z",
                 "ended_at": "2024-05-02T10:00:00Z", "running_h": "0.8",
                 "full_throttle_share": "0.3"},
    "calibrations": {"engine_id": "E1", "in_force_at": "2024-05-01T08:00:00Z",
                     "calibration": "stock", "octane_need_aki": "91"},
    "inspections": {"engine_id": "E1", "inspected_at": "2024-07-01T08:00:00Z",
                    "measure": "compression", "cylinder": "2", "state": "measured",
                    "value": "150", "unit": "psi", "is_warm": "yes"},
    "failures": {"engine_id": "E1", "found_at": "2025-05-20T08:00:00Z",
                 "mode": "ring_land_fracture", "how_found": "inspection",
                 "last_good_at": "2025-05-01T08:00:00Z"},
    "teardowns": {"engine_id": "E1", "opened_at": "2025-05-25T08:00:00Z", "cylinder": "2",
                  "part": "piston", "finding": "second land broken down", "state": "seen"},
    "rebuilds": {"engine_id": "E1", "rebuilt_at": "2025-06-10T08:00:00Z", "scope": "full",
                 "is_head_tested": "no", "cost": "6100"},
    "releases": {"released_at": "2025-07-02T08:00:00Z", "engine_id": "E1", "what": "leak_down",
                 "released_by": "R. Vane", "why": "wet test shows the valves",
                 "until": "2025-08-01T08:00:00Z"},
    "jobs_done": {"job_id": "A1/leak_down_check/2025-07-07", "done_at": "2025-07-09T08:00:00Z",
                  "done_by": "R. Vane", "result": "passed"},
    "costs": {"item": "top_end_planned", "season": "2025", "amount": "3500", "currency": "USD"},
    "evidence": {"engine_id": "E1", "taken_at": "2025-05-25T08:00:00Z", "kind": "photo",
                 "item": "p1.jpg", "taken_by": "A. Smith"},
    "build_limits": {"family": "A", "line": "ring_1_gap", "kind": "new", "least": "0.4",
                     "most": "0.6", "unit": "mm", "source": "book page 12",
                     "entered_by": "A. Smith"},
    "build_readings": {"engine_id": "E1", "read_at": "2025-06-09T08:00:00Z",
                       "line": "ring_1_gap", "place": "1", "value": "0.5", "unit": "mm",
                       "read_by": "A. Smith"},
    "dock_tanks": {"dock_id": "north", "tank_id": "93", "tank_l": "4000"},
    "dips": {"dock_id": "north", "dipped_at": "2024-05-02T08:00:00Z", "level_l": "1200"},
    "pump_totals": {"dock_id": "north", "read_at": "2024-05-02T08:00:00Z", "total_l": "81200.5"},
    "pump_outs": {"dock_id": "north", "pumped_at": "2024-05-02T08:00:00Z", "volume_l": "400",
                  "why": "wrong grade"},
    "fuel_tests": {"dock_id": "north", "tested_at": "2024-05-02T08:00:00Z", "octane_aki": "90.5",
                   "has_water": "no"},
    "transfers": {"from_hull_id": "H01", "to_hull_id": "H02",
                  "moved_at": "2024-05-02T08:00:00Z", "volume_l": "20"},
}  # fmt: skip

KNOWN = {"hulls": ["H01", "H02"], "engines": ["E1", "E2"], "docks": ["north", "south"]}


def at(text: str) -> datetime:
    """An instant of the demo season, e.g. at("05-02 09:00")."""
    return datetime.strptime(f"2025-{text}", "%Y-%m-%d %H:%M").replace(tzinfo=UTC)


def csv_of(rows: Sequence[Mapping[str, str]], delimiter: str = ",") -> bytes:
    """The rows as CSV without quoting, columns in the order of the first row."""
    header = list(rows[0])
    lines = [header, *([row[name] for name in header] for row in rows)]
    return "\n".join(delimiter.join(line) for line in lines).encode() + b"\n"


def records(**rows: Sequence[Mapping[str, object]]) -> dict[str, pl.DataFrame]:
    """Frames of every record kind; columns not given are null, kinds not given empty."""
    frames = {}
    for name, kind in RECORD_KINDS.items():
        schema = {column: spec.dtype for column, spec in kind.schema.columns().items()}
        frames[name] = pl.DataFrame(list(rows.get(name, ())), schema=schema)
    return frames
