"""Every record kind: its contract, what tells two of its rows apart, and what it names."""

from __future__ import annotations

from dataclasses import dataclass, field

import dataframely as dy

from ringland.contracts.build_records import BuildLimits, BuildReadings
from ringland.contracts.evidence_records import Evidence
from ringland.contracts.fuel_records import (
    Dips,
    DockTanks,
    Drains,
    FuelTests,
    PumpOuts,
    PumpTotals,
    Transfers,
)
from ringland.contracts.job_records import JobsDone, Releases
from ringland.contracts.records import (
    Calibrations,
    Corrections,
    Costs,
    Deliveries,
    Docks,
    Engines,
    Failures,
    Fills,
    HourReadings,
    Hulls,
    Inspections,
    Installations,
    PistonSets,
    Rebuilds,
    Sessions,
    Teardowns,
)


@dataclass(frozen=True)
class RecordKind:
    """A kind of record: its schema, what tells two rows apart, when it happened, what it names."""

    name: str
    schema: type[dy.Schema]
    key: tuple[str, ...]
    event_time: str | None
    """Column with the instant from which the row can be known; None: known always."""
    refers_to: dict[str, str] = field(default_factory=dict)
    """column -> record kind whose key it must name"""
    ends: tuple[str, ...] = ()
    """Columns that tell of a later instant: unknown until that instant has come."""
    told_with: dict[str, str] = field(default_factory=dict)
    """column -> the column of `ends` with whose instant it becomes known"""


_ENGINE = {"engine_id": "engines"}
_HULL = {"hull_id": "hulls"}
_DOCK = {"dock_id": "docks"}

RECORD_KINDS: dict[str, RecordKind] = {
    kind.name: kind
    for kind in [
        RecordKind("docks", Docks, ("dock_id",), None),
        RecordKind(
            "hulls",
            Hulls,
            ("hull_id",),
            "in_service_at",
            {"dock_id": "docks"},
            ("out_of_service_at",),
        ),
        RecordKind("engines", Engines, ("engine_id",), "first_recorded_at"),
        RecordKind(
            "installations",
            Installations,
            ("engine_id", "installed_at"),
            "installed_at",
            _ENGINE | _HULL,
            ("removed_at",),
        ),
        RecordKind("piston_sets", PistonSets, ("piston_set_id",), "fitted_at", _ENGINE),
        RecordKind(
            "hour_readings", HourReadings, ("hull_id", "meter_id", "read_at"), "read_at", _HULL
        ),
        RecordKind(
            "deliveries",
            Deliveries,
            ("dock_id", "delivered_at"),
            "delivered_at",
            {"dock_id": "docks"},
        ),
        RecordKind(
            "fills",
            Fills,
            ("hull_id", "filled_at"),
            "filled_at",
            _HULL | {"source_dock_id": "docks"},
        ),
        RecordKind("drains", Drains, ("hull_id", "drained_at"), "drained_at", _HULL),
        RecordKind("sessions", Sessions, ("hull_id", "started_at"), "ended_at", _HULL),
        RecordKind(
            "calibrations", Calibrations, ("engine_id", "in_force_at"), "in_force_at", _ENGINE
        ),
        RecordKind(
            "inspections",
            Inspections,
            ("engine_id", "inspected_at", "measure", "cylinder", "port"),
            "inspected_at",
            _ENGINE,
        ),
        RecordKind(
            "failures",
            Failures,
            ("engine_id", "found_at", "mode"),
            "found_at",
            _ENGINE,
            ("cause_confirmed_at",),
            {"confirmed_cause": "cause_confirmed_at", "settled_by": "cause_confirmed_at"},
        ),
        RecordKind(
            "teardowns",
            Teardowns,
            # with the state: a second save of one time must not keep "not looked at"
            ("engine_id", "opened_at", "cylinder", "part", "finding", "state"),
            "opened_at",
            _ENGINE,
        ),
        RecordKind("rebuilds", Rebuilds, ("engine_id", "rebuilt_at"), "rebuilt_at", _ENGINE),
        RecordKind(
            "releases",
            Releases,
            ("released_at", "engine_id", "hull_id", "what", "job_id"),
            "released_at",
            _ENGINE | _HULL,
        ),
        RecordKind("jobs_done", JobsDone, ("job_id", "done_at"), "done_at"),
        RecordKind(
            "evidence",
            Evidence,
            ("engine_id", "taken_at", "kind", "item"),
            "taken_at",
            _ENGINE,
        ),
        RecordKind("build_limits", BuildLimits, ("family", "line", "kind"), None),
        RecordKind(
            "build_readings",
            BuildReadings,
            ("engine_id", "read_at", "line", "place"),
            "read_at",
            _ENGINE,
        ),
        RecordKind("costs", Costs, ("item", "season"), None),
        RecordKind("dock_tanks", DockTanks, ("dock_id", "tank_id"), None, _DOCK),
        RecordKind(
            "dips", Dips, ("dipped_at", "dock_id", "tank_id", "hull_id"), "dipped_at", _DOCK | _HULL
        ),
        RecordKind("pump_totals", PumpTotals, ("dock_id", "tank_id", "read_at"), "read_at", _DOCK),
        RecordKind("pump_outs", PumpOuts, ("dock_id", "tank_id", "pumped_at"), "pumped_at", _DOCK),
        RecordKind(
            "fuel_tests",
            FuelTests,
            ("tested_at", "dock_id", "tank_id", "hull_id"),
            "tested_at",
            _DOCK | _HULL,
        ),
        RecordKind(
            "transfers",
            Transfers,
            ("from_hull_id", "to_hull_id", "moved_at"),
            "moved_at",
            {"from_hull_id": "hulls", "to_hull_id": "hulls"},
        ),
    ]
}
"""Every record kind, in the order in which they must be loaded: a kind after those it names."""

CORRECTIONS = RecordKind(
    "corrections", Corrections, ("record_kind", "record_key", "field", "recorded_at"), None
)
ALL_KINDS = RECORD_KINDS | {CORRECTIONS.name: CORRECTIONS}
"""The record kinds, and corrections of them, which are loaded last."""
