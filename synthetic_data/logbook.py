"""Rows as they are written down, before they become typed frames.

A row is a tuple in the order of `WRITTEN`; instants are whole minutes from the
scenario's epoch.  A contract's column that this operator does not keep stays empty.
"""

from __future__ import annotations

Cell = str | int | float | bool | None
Logbook = dict[str, list[tuple[Cell, ...]]]

WRITTEN: dict[str, str] = {
    "docks": "dock_id bulk_tank_l altitude_m time_zone",
    "hulls": "hull_id dock_id tank_l in_service_at out_of_service_at",
    "engines": "engine_id family induction cylinders cruise_burn_l_h "
    "full_burn_l_h bore_mm journal_mm book_compression_kpa first_recorded_at "
    "first_recorded_engine_h",
    "installations": "engine_id hull_id installed_at removed_at",
    "piston_sets": "piston_set_id engine_id fitted_at fitted_engine_h piston_type "
    "supplier_grade reason batch",
    "hour_readings": "hull_id meter_id read_at meter_h",
    "deliveries": "dock_id tank_id delivered_at volume_l octane_aki octane_ron octane_mon "
    "price_per_l",
    "fills": "hull_id filled_at volume_l source source_dock_id source_tank_id octane_aki "
    "octane_ron octane_mon price_per_l booster_points",
    "drains": "hull_id drained_at volume_l why",
    "sessions": "hull_id started_at ended_at running_h full_throttle_share burned_l",
    "calibrations": "engine_id in_force_at calibration octane_need_aki spark_advance_change_deg",
    "inspections": "engine_id inspected_at measure cylinder port state value unit "
    "reference_value barometer_kpa is_warm rebuilt_at signed_by",
    "failures": "engine_id found_at mode how_found last_good_at complaint confirmed_cause "
    "cause_confirmed_at settled_by",
    "teardowns": "engine_id opened_at cylinder part finding state extent photo_files examined_by",
    "rebuilds": "engine_id rebuilt_at scope is_head_tested cost built_by machined_by",
    "releases": "released_at engine_id hull_id what released_by why until",
    "jobs_done": "job_id done_at done_by result note",
    "evidence": "engine_id taken_at kind item about cylinder seal result kept_where calibrated_at "
    "taken_by",
    "build_limits": "family line kind least most unit source entered_by",
    "build_readings": "engine_id read_at line place value unit answer method read_by waived_by "
    "waived_because",
    "costs": "item season amount currency mechanic_h",
    "dock_tanks": "dock_id tank_id tank_l",
    "dips": "hull_id dock_id tank_id dipped_at level_l",
    "pump_totals": "dock_id tank_id read_at total_l",
    "pump_outs": "dock_id tank_id pumped_at volume_l why",
    "fuel_tests": "hull_id dock_id tank_id tested_at octane_aki has_water",
    "transfers": "from_hull_id to_hull_id moved_at volume_l",
}
"""Columns this operator's book has, by record kind, in the order of its rows."""


def empty_logbook() -> Logbook:
    """A book with an empty page for each record kind."""
    return {kind: [] for kind in WRITTEN}
