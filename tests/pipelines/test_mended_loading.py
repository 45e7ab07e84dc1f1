"""Rows come back mended, corrections come in, and the account still closes."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from pipelines.duckdb_warehouse import DuckDBWarehouse, warehouse_at
from pipelines.mended_loading import load_corrections, load_mended
from pipelines.record_loading import load_kind
from pipelines.row_accounting import all_set_aside, rows_unaccounted, set_aside_rows
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.history.known_then import known_by
from ringland.intake.mend_book import mend_workbook
from tests.intake.test_mend_book import mended

DOCKS = "dock_id,time_zone\nnorth,America/Chicago\n"
HULLS = "hull_id,dock_id,tank_l,in_service_at\nA1,north,70,2025-05-01T00:00:00Z\n"
FILLS = (
    "hull_id,filled_at,volume_l,source\n"
    "A1,2025-06-01T10:00:00Z,30,outside\n"
    "A1,2025-06-02T10:00:00Z,thirty,outside\n"
    "A1,2025-06-03T10:00:00Z,31,moon\n"
)
Shop = Callable[..., DuckDBWarehouse]


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    """Put files (name -> content) into one folder and load all of it, as the command does."""
    records, raw = tmp_path / "records", tmp_path / "raw"
    records.mkdir()
    raw.mkdir()
    warehouse = warehouse_at(tmp_path / "test.duckdb")

    def take(files: dict[str, str | bytes]) -> DuckDBWarehouse:
        for name, content in files.items():
            data = content.encode() if isinstance(content, str) else content
            (records / name).write_bytes(data)
        for kind in RECORD_KINDS:
            load_kind(warehouse, raw, kind, records)
            load_mended(warehouse, raw, kind, records)
        load_corrections(warehouse, raw, records)
        assert rows_unaccounted(warehouse) == []
        return warehouse

    take({"docks.csv": DOCKS, "hulls.csv": HULLS, "fills.csv": FILLS})
    return take


def book(warehouse: DuckDBWarehouse) -> bytes:
    return mend_workbook(all_set_aside(warehouse))


def litres(warehouse: DuckDBWarehouse) -> list[float]:
    return warehouse.read("select volume_l from shop_records.fills order by filled_at")[
        "volume_l"
    ].to_list()


def test_a_mended_row_loads_and_leaves_the_set_aside_table(shop: Shop) -> None:
    warehouse = shop({})

    shop({"set-aside mended.xlsx": mended(book(warehouse), F2="30.5")})

    assert litres(warehouse) == [30, 30.5]
    assert [row["value"] for row in set_aside_rows(warehouse).to_dicts()] == ["moon"]
    line = warehouse.read(
        "select rows_in, rows_new, rows_set_aside, rows_mended from shop_records.files "
        "where file_name = 'fills.csv'"
    )
    assert line.row(0) == (3, 1, 1, 1)


def test_a_row_left_out_is_gone_for_good_even_from_the_next_export(shop: Shop) -> None:
    warehouse = shop({})

    shop({"set-aside.xlsx": mended(book(warehouse), A2="leave out", A3="leave out")})
    shop({"fills.csv": FILLS + "A1,2025-06-04T10:00:00Z,32,outside\n"})

    assert set_aside_rows(warehouse).is_empty()
    assert litres(warehouse) == [30, 32]


def test_a_row_mended_badly_stands_set_aside_under_the_books_name(shop: Shop) -> None:
    warehouse = shop({})

    shop({"set-aside.xlsx": mended(book(warehouse), F2="3000")})

    rows = set_aside_rows(warehouse).select("source_file", "value").rows()
    assert sorted(rows) == [("fills.csv", "moon"), ("set-aside.xlsx [fills]", "3000")]


def test_loading_the_mended_book_again_changes_nothing(shop: Shop) -> None:
    warehouse = shop({})
    shop({"set-aside.xlsx": mended(book(warehouse), F2="30.5", A3="leave out")})
    files = warehouse.read("select * from shop_records.files order by all").rows()

    shop({})

    assert warehouse.read("select * from shop_records.files order by all").rows() == files
    assert litres(warehouse) == [30, 30.5]


HEADER = "record_kind,record_key,change,field,new_value,reason,recorded_at\n"


def test_a_correction_changes_later_weeks_only(shop: Shop) -> None:
    line = "fills,A1; 2025-06-01T10:00:00Z,corrected,volume_l,35,misread,2025-06-20T00:00:00Z\n"

    warehouse = shop({"corrections june.csv": HEADER + line})

    known = [
        known_by(warehouse.read_records(), datetime(2025, 6, day, tzinfo=UTC))["fills"][
            "volume_l"
        ].to_list()
        for day in (15, 25)
    ]
    assert known == [[30], [35]]
    assert litres(warehouse) == [30]


def test_a_correction_of_nothing_is_set_aside_and_can_be_mended(shop: Shop) -> None:
    line = "fills,A9; 2025-06-01T10:00:00Z,corrected,volume_l,35,misread,2025-06-20T00:00:00Z\n"
    warehouse = shop({"corrections.csv": HEADER + line})
    (row,) = [r for r in set_aside_rows(warehouse).to_dicts() if r["kind"] == "corrections"]
    assert "No record of fills has the key" in row["fault"]
    assert row["source_row"] == 2
