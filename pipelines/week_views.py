"""Views in the warehouse over the weeks' folders, so that analysts ask one place.

`weeks.<table>` holds a table of all weeks with the week each row is of; `weeks.latest_<table>`
the newest week as it was known.  A view names the home's folder: after a home was moved, the
next week or load makes them anew.
"""

from collections.abc import Iterator

import duckdb

from pipelines.duckdb_warehouse import transaction, warehouse_at
from pipelines.home import Home
from pipelines.week_graph import GRAPH
from pipelines.weekly.assets import table_name
from pipelines.weekly.output_files import frame_file
from pipelines.weekly.step import Step
from pipelines.weekly.store import LIST_NAME

WEEKS_SCHEMA = "weeks"


def make_views(home: Home) -> list[str]:
    """Make the views of every table that some week holds; their names."""
    tables = list(_tables(home))
    with warehouse_at(home.database).connect() as con, transaction(con):
        con.execute(f"drop schema if exists {WEEKS_SCHEMA} cascade")
        con.execute(f"create schema {WEEKS_SCHEMA}")
        if not tables:
            return []
        lists = _quoted(str(home.weeks / "*" / LIST_NAME))
        con.execute(
            f"create view {WEEKS_SCHEMA}.list as select "
            f"parse_path(filename)[-2] as week, as_of::timestamptz as as_of, "
            f"told_by::timestamptz as told_by, as_of <> told_by as is_restated, "
            f"(made->>'is_given_out')::boolean as is_given_out, "
            f"made->>'at' as made_at, made->>'by' as made_by "
            f"from read_json({lists}, filename = true, "
            f"columns = {{as_of: 'varchar', told_by: 'varchar', made: 'json'}})"
        )
        for name, step, place in tables:
            files = _quoted(str(home.weeks / "*" / frame_file(step, place)))
            con.execute(
                f"create view {WEEKS_SCHEMA}.{name} as "
                f"select l.week, l.as_of, l.told_by, l.is_restated, l.is_given_out, "
                f"t.* exclude (filename) "
                f"from read_parquet({files}, filename = true, union_by_name = true) as t "
                f"join {WEEKS_SCHEMA}.list as l on l.week = parse_path(t.filename)[-2]"
            )
            con.execute(
                f"create view {WEEKS_SCHEMA}.latest_{name} as select * from {WEEKS_SCHEMA}.{name} "
                f"where not is_restated and as_of = "
                f"(select max(as_of) from {WEEKS_SCHEMA}.{name} where not is_restated)"
            )
    return [name for name, _, _ in tables]


def broken_views(home: Home, con: duckdb.DuckDBPyConnection) -> list[str]:
    """The views that should be there by the weeks' folders and cannot be read."""
    broken = []
    for name, _, _ in _tables(home):
        try:
            con.execute(f"from {WEEKS_SCHEMA}.{name} limit 0").fetchall()
        except duckdb.Error:
            broken.append(f"{WEEKS_SCHEMA}.{name}")
    return broken


def _tables(home: Home) -> Iterator[tuple[str, Step, str]]:
    for step in GRAPH.steps.values():
        for place in step.tables:
            if any(home.weeks.glob(f"*/{frame_file(step, place)}")):
                yield table_name(step, place), step, place


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"
