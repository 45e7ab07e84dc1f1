"""Two small operators in one set of records: a dock, two hulls, two engines each."""

from datetime import UTC, datetime, timedelta

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS

CAME = datetime(2026, 5, 1, tzinfo=UTC)
AS_OF = datetime(2026, 7, 6, tzinfo=UTC)
OPERATORS = ("alder", "birch")


def typed(kind: str, *rows: dict[str, object]) -> pl.DataFrame:
    schema = ALL_KINDS[kind].schema
    full = [dict.fromkeys(schema.column_names()) | row for row in rows]
    empty = schema.create_empty()
    return pl.DataFrame(full, schema=empty.schema, orient="row") if rows else empty


def _rides(hull: str) -> list[dict[str, object]]:
    rides: list[dict[str, object]] = []
    for day in range(40):
        start = CAME + timedelta(days=day + 1, hours=9)
        rides.append({
            "hull_id": hull, "started_at": start, "ended_at": start + timedelta(hours=2),
            "running_h": 1.5, "full_throttle_share": 0.2,
        })  # fmt: skip
    return rides


def two_operators() -> dict[str, pl.DataFrame]:
    """The records; hulls a1, a2 with engines ea1, ea2 at dock a, and so for b."""
    rows: dict[str, list[dict[str, object]]] = {kind: [] for kind in ALL_KINDS}
    for operator in OPERATORS:
        at = operator[0]
        rows["docks"].append(
            {"dock_id": at, "time_zone": "UTC", "bulk_tank_l": 4000.0, "operator": operator}
        )
        rows["deliveries"].append(
            {"dock_id": at, "delivered_at": CAME, "volume_l": 3500.0, "octane_aki": 91.0}
        )
        for hull in (f"{at}1", f"{at}2"):
            engine = f"e{hull}"
            rows["hulls"].append(
                {"hull_id": hull, "dock_id": at, "tank_l": 70.0, "in_service_at": CAME}
            )
            rows["engines"].append({
                "engine_id": engine, "family": "S3", "induction": "supercharged",
                "cylinders": 3, "first_recorded_at": CAME, "first_recorded_engine_h": 0.0,
            })  # fmt: skip
            rows["installations"].append(
                {"engine_id": engine, "hull_id": hull, "installed_at": CAME}
            )
            rows["piston_sets"].append({
                "piston_set_id": f"p{hull}", "engine_id": engine, "fitted_at": CAME,
                "fitted_engine_h": 0.0, "piston_type": "cast", "supplier_grade": "original",
                "reason": "factory",
            })  # fmt: skip
            rows["sessions"] += _rides(hull)
            rows["fills"] += [
                {"hull_id": hull, "filled_at": CAME + timedelta(days=day + 1, hours=8),
                 "volume_l": 40.0, "source": "dock", "source_dock_id": at}
                for day in range(0, 40, 2)
            ]  # fmt: skip
    rows["costs"].append(
        {"item": "lost_rental_day", "season": 2026, "amount": 300.0, "currency": "USD"}
    )
    return {kind: typed(kind, *of) for kind, of in rows.items()}


def added(records: dict[str, pl.DataFrame], kind: str, **cells: object) -> dict[str, pl.DataFrame]:
    """The records with one more row of a kind."""
    return {**records, kind: pl.concat([records[kind], typed(kind, cells)])}


def with_a_third(records: dict[str, pl.DataFrame]) -> dict[str, pl.DataFrame]:
    """The same and a third, cedar, who only bought a hull and its engine so far."""
    dock = {"dock_id": "c", "time_zone": "UTC", "operator": "cedar"}
    hull = {"hull_id": "c1", "dock_id": "c", "tank_l": 70.0, "in_service_at": CAME}
    engine = {
        "engine_id": "ec1", "family": "S3", "induction": "supercharged", "cylinders": 3,
        "first_recorded_at": CAME, "first_recorded_engine_h": 0.0,
    }  # fmt: skip
    stay = {"engine_id": "ec1", "hull_id": "c1", "installed_at": CAME}
    new = {"docks": dock, "hulls": hull, "engines": engine, "installations": stay}
    for kind, cells in new.items():
        records = added(records, kind, **cells)
    return records
