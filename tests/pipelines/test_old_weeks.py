"""A home whose weeks an older ringland kept as tables loses nothing that they said."""

from pathlib import Path

import polars as pl

from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.old_weeks import carry_over
from pipelines.week_graph import GRAPH
from pipelines.weekly.store import WeekKey, WeekStore

OLD = """
create schema service_week;
create schema fuel_exposure;
create table service_week.hull_calls (hull_id varchar, call varchar, as_of timestamptz);
insert into service_week.hull_calls values
    ('A1', 'keep_off', '2026-06-01 00:00:00+00'),
    ('A1', 'rent_as_normal', '2026-06-08 00:00:00+00'),
    ('A2', 'book_check', '2026-06-08 00:00:00+00');
create table fuel_exposure.spells (piston_set_id varchar, as_of timestamptz);
create table shop_records.piston_lives (piston_set_id varchar, as_of timestamptz);
"""


def test_what_old_weeks_said_is_carried_over_and_the_rest_goes(tmp_path: Path) -> None:
    home = Home(tmp_path).prepare()
    pickles = home.dagster / "storage" / "fleet_risk" / "fleet_fits"
    pickles.mkdir(parents=True)
    with warehouse_at(home.database).connect() as con:
        con.execute(OLD)

    assert carry_over(home) == 2
    assert carry_over(home) == 0

    store = WeekStore(home.weeks)
    assert [key.name for key in store.weeks()] == ["2026-06-01", "2026-06-08"]
    calls = store.frame(WeekKey("2026-06-08"), GRAPH.steps["week_decisions"], "calls")
    assert calls is not None
    assert calls.rows() == [("A1", "rent_as_normal"), ("A2", "book_check")]
    listed = store.listed(WeekKey("2026-06-01"))
    assert listed.as_of == "2026-06-01T00:00:00+00:00"
    assert not listed.made.is_given_out
    assert not pickles.exists()
    tables = warehouse_at(home.database).read(
        "select schema_name, table_name from duckdb_tables() where table_name in "
        "('hull_calls', 'spells', 'piston_lives')"
    )
    assert tables.equals(pl.DataFrame(schema=tables.schema))
