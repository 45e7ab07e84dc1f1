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
from tests.pipelines.demo_run import DEMO_WEEK, load, run_week

VALUES = {"zero": "0", "negative": "-1", "huge": "1e300", "missing": "", "text": "x"}
NUMERIC = {
    kind: [
        name
        for name, column in contract.schema.columns().items()
        if isinstance(column, (dy.Float64, dy.Int64))
    ]
    for kind, contract in RECORD_KINDS.items()
}


def fuzzed(records: Path, folder: Path, values: list[str]) -> Iterator[tuple[str, int, str, str]]:
    """Write the records with bad cells among them; the kind, row, column and value of each.

    The newest rows of each file get them, one cell a row as far as there are rows.
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

    run_week(home)

    assert WeekStore(home.weeks).has_pages(WeekKey(DEMO_WEEK))
    assert rows_unaccounted(warehouse_at(home.database)) == []
    became = what_became_of_them(home, cells)
    assert {kind for kind, *_ in cells} == {kind for kind, names in NUMERIC.items() if names}
    assert became.filter(became="gone").is_empty(), became.filter(became="gone")
    must = became.filter(pl.col("value").is_in(["x", "1e300"]), pl.col("became") == "loaded")
    assert must.is_empty(), must
