"""Readings that cannot be, in every numeric column of every record: no week ends by them."""

import csv
from collections.abc import Iterator
from pathlib import Path

import dataframely as dy
import polars as pl
import pytest

from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.row_accounting import rows_unaccounted, set_aside_rows
from pipelines.weekly.store import WeekKey, WeekStore
from ringland.contracts.record_kinds import ALL_KINDS, RECORD_KINDS
from ringland.history.corrections import key_text
from tests.pipelines.demo_run import load, run_week, week_table

WEEK_AFTER = "2026-10-05"
"""Later than every record of the small fleet: the demo's week does not know the newest rows."""

VALUES = {"zero": "0", "negative": "-1", "huge": "1e300", "missing": "", "text": "x"}
NUMERIC = {
    kind: [
        name
        for name, column in contract.schema.columns().items()
        if isinstance(column, (dy.Float64, dy.Int64))
    ]
    for kind, contract in RECORD_KINDS.items()
}
MAY_STAND = {
    **dict.fromkeys([("build_limits", "least"), ("build_limits", "most")], "a maker's own figure"),
    ("build_readings", "value"): "judged on the build sheet, tests/bench/test_build_conditions.py",
    ("build_readings", "reference_value"): "not of a measure that has one: nothing reads it",
    ("inspections", "reference_value"): "not of a measure that has one: nothing reads it",
    ("calibrations", "spark_advance_change_deg"): "stock, or a degree less",
    ("docks", "altitude_m"): "sea level, or just below",
    ("engines", "first_recorded_engine_h"): "a new engine",
    ("dips", "level_l"): "an empty tank",
    **dict.fromkeys(
        [("costs", "amount"), ("costs", "mechanic_h"), ("deliveries", "price_per_l"),
         ("fills", "price_per_l"), ("fills", "booster_points"), ("fills", "time_off_min"),
         ("rebuilds", "cost"), ("sessions", "full_throttle_share")],
        "none of it",
    ),
}  # fmt: skip
"""Columns in which 0, or -1 where the contract lets it in, can be true; and why."""
NAMED_BY_OTHERS = {name for kind in RECORD_KINDS.values() for name in kind.refers_to.values()}


def fuzzed(records: Path, folder: Path, values: list[str]) -> Iterator[tuple[str, int, str, str]]:
    """Write the records with bad cells among them; the kind, row, column and value of each.

    The newest rows of each file get them, one cell a row as far as there are rows.  Docks, hulls
    and whatever else other records name get rows of their own for them: once the bad cells stood
    in the fleet's own rows, every record was set aside as of an unknown engine, none was judged.
    """
    folder.mkdir()
    for path in sorted(records.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            header, *rows = list(csv.reader(file))
        kind = path.stem
        header += [name for name in NUMERIC.get(kind, ()) if name not in header]
        rows = [row + [""] * (len(header) - len(row)) for row in rows]
        cells = {}
        cases = [(name, value) for name in NUMERIC.get(kind, ()) for value in values]
        if kind in NAMED_BY_OTHERS:
            at = header.index(RECORD_KINDS[kind].key[0])
            twins = [
                [*row[:at], f"{row[at]}-{number}", *row[at + 1 :]]
                for number, row in enumerate(rows[-1:] * len(cases))
            ]
            rows += twins
        for number, (name, value) in enumerate(cases):
            place = len(rows) - 1 - number % len(rows)
            rows[place][header.index(name)] = value
            cells[place, name] = value
        with (folder / path.name).open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows([header, *rows])
        yield from ((kind, place + 2, name, value) for (place, name), value in cells.items())


def what_became_of_them(home: Home, cells: list[tuple[str, int, str, str]]) -> pl.DataFrame:
    """Each bad cell with 'set aside', 'cell lost', 'loaded' or nothing."""
    warehouse = warehouse_at(home.database)
    aside = set_aside_rows(warehouse)
    told = {
        (kind, row, field) for kind, row, field in
        aside.select("kind", "source_row", "field").iter_rows()
    }  # fmt: skip
    whole_rows = {(kind, row) for kind, row, _ in told}
    records = warehouse.read_records()
    loaded = {kind: set(records[kind]["source_row"]) for kind in ALL_KINDS}
    rows = [
        (
            *cell,
            "named" if (cell[0], cell[1], cell[2]) in told
            else "row named" if (cell[0], cell[1]) in whole_rows
            else "loaded" if cell[1] in loaded[cell[0]]
            else "gone",
        )
        for cell in cells
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=["kind", "row", "column", "value", "became"], orient="row")


def loaded_and_not_named(home: Home, became: pl.DataFrame) -> set[tuple[str, str]]:
    """Kind and column of the bad cells that were loaded and whose record is in no doubt.

    A reading of the bench that is zero is judged: a dead cylinder reads so.
    """
    doubts = [
        week_table(home, step, place, key=WEEK_AFTER).select("record_kind", "record_key")
        for step, place in (("record_doubts", "rows"), ("engine_sessions", "flags"))
    ]
    named = {
        kind: set(rows["record_key"].drop_nulls())
        for (kind,), rows in pl.concat(doubts).group_by("record_kind")
    }
    records = warehouse_at(home.database).read_records()
    found = set()
    for kind, row, column, value, _ in became.filter(became="loaded").iter_rows():
        record = records[kind].filter(source_row=row)
        is_judged = (kind, column, value) == ("inspections", "value", "0")
        is_named = set(key_text(RECORD_KINDS[kind], record)) <= named.get(kind, set())
        if value in {"0", "-1"} and not is_judged and not is_named:
            found.add((kind, column))
    return found


@pytest.mark.parametrize(
    "values",
    [
        list(VALUES.values()),
        *(
            pytest.param([value], id=name, marks=pytest.mark.study)
            for name, value in VALUES.items()
        ),
    ],
)
def test_no_week_ends_by_a_reading_that_cannot_be(
    few_records: Path, tmp_path: Path, values: list[str]
) -> None:
    """Each is judged (loaded), or set aside or listed as a lost cell by kind, row and field."""
    cells = list(fuzzed(few_records, tmp_path / "records", values))
    home = Home(tmp_path / "home").prepare()
    load(home, tmp_path / "records")

    run_week(home, WEEK_AFTER)

    assert WeekStore(home.weeks).has_pages(WeekKey(WEEK_AFTER))
    assert rows_unaccounted(warehouse_at(home.database)) == []
    became = what_became_of_them(home, cells)
    assert {kind for kind, *_ in cells} == {kind for kind, names in NUMERIC.items() if names}
    assert became.filter(became="gone").is_empty(), became.filter(became="gone")
    must = became.filter(pl.col("value").is_in(["x", "1e300"]), pl.col("became") == "loaded")
    assert must.is_empty(), must
    strange = loaded_and_not_named(home, became)
    assert strange <= set(MAY_STAND), strange - set(MAY_STAND)
    judged = became.filter(pl.col("kind").is_in(["inspections", "hour_readings", "piston_sets"]))
    assert VALUES["zero"] not in values or "loaded" in judged["became"].to_list()
