"""The operator's book: rows as text, each with the minute from which it can be handed in.

A row is handed in once, with the file of the first load after it was written down; a stay
that has ended is handed in again with its end.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta

from synthetic_data.worlds.world import World

Cell = str | float | bool | None

WRITTEN: dict[str, str] = {
    "docks": "dock_id bulk_tank_l altitude_m time_zone country",
    "hulls": "hull_id dock_id tank_l in_service_at out_of_service_at",
    "engines": "engine_id family induction cylinders cruise_burn_l_h "
    "full_burn_l_h bore_mm journal_mm book_compression_kpa first_recorded_at "
    "first_recorded_engine_h",
    "installations": "engine_id hull_id installed_at removed_at",
    "piston_sets": "piston_set_id engine_id fitted_at fitted_engine_h piston_type "
    "supplier_grade reason recorded_at",
    "hour_readings": "hull_id meter_id read_at meter_h",
    "deliveries": "dock_id delivered_at volume_l octane_aki octane_ron octane_mon "
    "octane_unlabelled price_per_l",
    "fills": "hull_id filled_at volume_l source source_dock_id octane_aki octane_ron octane_mon "
    "octane_unlabelled price_per_l booster_points recorded_at",
    "drains": "hull_id drained_at volume_l why",
    "sessions": "hull_id started_at ended_at running_h full_throttle_share burned_l recorded_at",
    "calibrations": "engine_id in_force_at calibration octane_need_aki "
    "spark_advance_change_deg recorded_at",
    "inspections": "engine_id inspected_at measure cylinder port state value unit "
    "reference_value barometer_kpa is_warm rebuilt_at signed_by",
    "failures": "engine_id found_at mode how_found last_good_at complaint recorded_at",
    "teardowns": "engine_id opened_at cylinder part finding state extent photo_files recorded_at",
    "rebuilds": "engine_id rebuilt_at scope is_head_tested cost recorded_at",
    "costs": "item season amount currency mechanic_h",
}
"""Columns of this operator's files, by record kind, in the order of its rows."""


@dataclass
class RecordBook:
    """Rows written down and not yet handed in."""

    world: World
    _rows: dict[str, list[tuple[int, str]]] = field(
        default_factory=lambda: {kind: [] for kind in WRITTEN}
    )

    def instant(self, minute: int | None) -> str | None:
        """An instant as it is written."""
        if minute is None:
            return None
        at = self.world.epoch + timedelta(minutes=int(minute))
        return at.strftime("%Y-%m-%dT%H:%M:%SZ")

    def write(self, kind: str, minute: int, *cells: Cell) -> None:
        """Write a row down; it is handed in with the first load after that minute."""
        line = ",".join("" if cell is None else _text(cell) for cell in cells)
        self._rows[kind].append((minute, line))

    def hand_in(self, until: int) -> dict[str, str]:
        """CSV files of what was written down before a minute, kinds without rows left out."""
        files = {}
        for kind, rows in self._rows.items():
            due = [line for minute, line in rows if minute < until]
            if due:
                self._rows[kind] = [row for row in rows if row[0] >= until]
                files[kind] = "\n".join([",".join(WRITTEN[kind].split()), *due]) + "\n"
        return files


def _text(cell: str | float) -> str:
    if isinstance(cell, bool):
        return "true" if cell else "false"
    return cell if isinstance(cell, str) else f"{cell:.10g}"
