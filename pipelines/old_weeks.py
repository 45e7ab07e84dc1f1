"""Weeks that an older ringland kept as tables of the warehouse, carried over into folders.

What they said (chances, calls, exposures, the challenger's chances) is what the score rests on
and is carried over; all else of them can be worked out again and goes.
"""

import shutil
from datetime import datetime
from zoneinfo import ZoneInfo

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import transaction, warehouse_at
from pipelines.home import Home
from pipelines.week_graph import GRAPH
from pipelines.weekly.artefact import parquet_bytes
from pipelines.weekly.store import Made, WeekKey, WeekStore

SCHEMAS = ("fuel_exposure", "ring_survival", "fleet_risk", "service_week")
SAID = {
    "service_week.hull_chances": ("week_tables", "chances"),
    "service_week.hull_calls": ("week_decisions", "calls"),
    "fuel_exposure.current_exposure": ("current_exposure", "rows"),
    "fleet_risk.challenger_chances": ("challenger_chances", "rows"),
}
"""Old tables, and the step and place of their rows now."""
WORKED_OUT = (
    "engine_sessions",
    "record_flags",
    "piston_lives",
    "bench_verdicts",
    "hour_line",
    "record_doubts",
    "octane_scales",
    "record_quality",
)
"""Old weekly tables that stood among the records."""


def carry_over(home: Home) -> int:
    """Carry the weeks of an older ringland over; how many there were."""
    if not home.database.exists():
        return 0
    with warehouse_at(home.database).connect() as con:
        there = {name for (name,) in con.sql("select schema_name from duckdb_schemas()").fetchall()}
        if not there & set(SCHEMAS):
            return 0
        carried = _carry(home, con)
        with transaction(con):
            for schema in SCHEMAS:
                con.execute(f"drop schema if exists {schema} cascade")
            for table in WORKED_OUT:
                con.execute(f"drop table if exists shop_records.{table}")
    for room in (*SCHEMAS, "failure_causes"):
        shutil.rmtree(home.dagster / "storage" / room, ignore_errors=True)
    return carried


def _carry(home: Home, con: duckdb.DuckDBPyConnection) -> int:
    store, zone = WeekStore(home.weeks), home.facts().zone
    tables = "select schema_name || '.' || table_name from duckdb_tables()"
    there = {name for (name,) in con.sql(tables).fetchall()}
    weeks: dict[WeekKey, datetime] = {}
    for table, (step, place) in SAID.items():
        if table not in there:
            continue
        rows = pl.DataFrame(con.sql(f"from {table} order by rowid"))
        for (as_of,), part in rows.group_by("as_of", maintain_order=True):
            assert isinstance(as_of, datetime)
            key = WeekKey(as_of.astimezone(zone).date().isoformat())
            content = parquet_bytes(part.drop("as_of"))
            store.carry(key, GRAPH.steps[step], place, content)
            weeks[key] = as_of.astimezone(ZoneInfo("UTC"))
    for key, as_of in weeks.items():
        store.begin(key, as_of, as_of, Made(by="an older ringland"))
    return len(weeks)
