"""Files into tables: what is passed over, what stops a load, what a later export changes."""

import os
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from blake3 import blake3

from pipelines.duckdb_warehouse import (
    DuckDBWarehouse,
    ensure_record_tables,
    insert,
    rows_met,
    warehouse_at,
)
from pipelines.home import Home
from pipelines.record_loading import FileCount, load_kind
from pipelines.row_accounting import inert, rows_unaccounted, set_aside_rows
from pipelines.source_files import kind_of
from pipelines.taken_list import LIST_NAME
from tests.history.record_rows import at, records
from tests.pipelines.demo_run import load

DOCKS = "dock_id,time_zone\nnorth,America/Chicago\n"
HULLS = "hull_id,dock_id,tank_l,in_service_at\nA1,north,70,2025-05-01T00:00:00Z\n"
FILLS = (
    "hull_id,filled_at,volume_l,source,octane_aki\n"
    "A1,2025-06-01T10:00:00Z,30,outside,91\n"
    "A1,2025-06-02T10:00:00Z,thirty,outside,91\n"
)


@pytest.fixture
def shop(tmp_path: Path) -> Callable[[str, dict[str, str]], list[FileCount]]:
    """Load files of one kind, given as name -> text, into one warehouse."""
    records, raw = tmp_path / "records", tmp_path / "raw"
    records.mkdir()
    raw.mkdir()
    warehouse = warehouse_at(tmp_path / "test.duckdb")

    def take(kind: str, files: dict[str, str]) -> list[FileCount]:
        for name, text in files.items():
            (records / name).write_text(text, encoding="utf-8")
        return load_kind(warehouse, raw, kind, records)

    return take


@pytest.fixture
def warehouse(tmp_path: Path) -> DuckDBWarehouse:
    return warehouse_at(tmp_path / "test.duckdb")


@pytest.mark.parametrize(
    ("file_name", "kind"),
    [
        ("fills.csv", "fills"),
        ("Fills 2026-08.XLSX", "fills"),
        ("hour-readings_north.csv", "hour_readings"),
        ("fillsheet.csv", None),
        ("notes.csv", None),
    ],
)
def test_a_file_name_tells_its_kind(file_name: str, kind: str | None) -> None:
    assert kind_of(file_name) == kind


def test_a_row_that_cannot_be_read_is_set_aside_and_counted(
    shop: Callable[[str, dict[str, str]], list[FileCount]], warehouse: DuckDBWarehouse
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    shop("hulls", {"hulls.csv": HULLS})

    (count,) = shop("fills", {"fills.csv": FILLS})

    assert (count.rows_in, count.rows_new, count.rows_set_aside) == (2, 1, 1)
    (fault,) = set_aside_rows(warehouse).to_dicts()
    assert (fault["source_file"], fault["source_row"], fault["field"]) == (
        "fills.csv",
        3,
        "volume_l",
    )
    assert "thirty" in fault["fault"]
    assert rows_unaccounted(warehouse) == []


def test_the_same_bad_row_in_the_next_export_is_one_row_to_mend(
    shop: Callable[[str, dict[str, str]], list[FileCount]], warehouse: DuckDBWarehouse
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    shop("hulls", {"hulls.csv": HULLS})
    shop("fills", {"fills.csv": FILLS})

    (count,) = shop("fills", {"fills.csv": FILLS + "A1,2025-06-03T10:00:00Z,25,outside,91\n"})

    assert (count.rows_new, count.rows_already_there, count.rows_set_aside) == (1, 1, 1)
    assert set_aside_rows(warehouse).height == 1
    assert rows_unaccounted(warehouse) == []


def test_rows_of_an_unknown_hull_load_once_the_hull_is_on_record(
    shop: Callable[[str, dict[str, str]], list[FileCount]], warehouse: DuckDBWarehouse
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    fills = "hull_id,filled_at,volume_l,source\nA1,2025-06-01T10:00:00Z,30,outside\n"
    (early,) = shop("fills", {"fills.csv": fills})
    shop("hulls", {"hulls.csv": HULLS})

    (late,) = shop("fills", {"fills.csv": fills})

    assert (early.rows_new, early.rows_set_aside) == (0, 1)
    assert (late.rows_new, late.rows_set_aside) == (1, 0)
    assert set_aside_rows(warehouse).is_empty()
    assert rows_unaccounted(warehouse) == []


def test_a_file_tried_again_brings_only_what_was_set_aside(
    shop: Callable[[str, dict[str, str]], list[FileCount]], warehouse: DuckDBWarehouse
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    shop("hulls", {"hulls.csv": HULLS})
    fills = FILLS + "A2,2025-06-01T10:00:00Z,20,outside,91\n"
    (early,) = shop("fills", {"fills.csv": fills})
    (same,) = shop("fills", {})
    shop("hulls", {"hulls.csv": HULLS + HULLS.splitlines()[1].replace("A1", "A2") + "\n"})

    (late,) = shop("fills", {})

    assert [
        (count.rows_in, count.rows_new, count.rows_already_there, count.rows_set_aside)
        for count in (early, same, late)
    ] == [(3, 1, 0, 2), (3, 0, 1, 2), (3, 1, 1, 1)]
    assert same.notes == "unchanged"
    assert warehouse.read("select hull_id from shop_records.fills order by all").to_series(
        0
    ).to_list() == ["A1", "A2"]
    assert warehouse.read("select rows_new, rows_set_aside from shop_records.files").row(-1) == (
        2,
        1,
    )
    assert rows_unaccounted(warehouse) == []


def test_a_row_that_contradicts_the_record_is_set_aside_each_time(
    shop: Callable[[str, dict[str, str]], list[FileCount]], warehouse: DuckDBWarehouse
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    shop("hulls", {"hulls.csv": HULLS})
    shop("fills", {"fills_1.csv": FILLS.replace("thirty", "30")})
    other = FILLS.replace("thirty", "31")
    counts = [shop("fills", {"fills_2.csv": other})[-1] for _ in range(2)]

    assert [(c.rows_new, c.rows_already_there, c.rows_set_aside) for c in counts] == [(0, 1, 1)] * 2
    (fault,) = set_aside_rows(warehouse).to_dicts()
    assert "row 3 of fills_1.csv, but another volume_l" in fault["fault"]
    assert rows_unaccounted(warehouse) == []


def test_rows_met_on_record_have_the_same_key_empty_cells_included(
    warehouse: DuckDBWarehouse,
) -> None:
    key = {"engine_id": "E1", "inspected_at": at("06-01 10:00"), "measure": "compression"}
    rows = records(
        inspections=[
            key | {"cylinder": 1, "port": "in"},
            key | {"cylinder": 1},
            key | {"port": "in"},
        ]
    )["inspections"].with_columns(state=pl.lit("measured"), source_file=pl.lit("f"))
    rows = rows.with_row_index("source_row").with_columns(pl.col("source_row").cast(pl.Int64))
    with warehouse.connect() as con:
        ensure_record_tables(con)
        insert(con, "shop_records.inspections", rows)

        met = rows_met(con, "inspections", rows[1:])

    assert met["source_row"].sort().to_list() == [1, 2]


def test_a_hull_sold_since_gets_its_end_and_stays_one_row(
    shop: Callable[[str, dict[str, str]], list[FileCount]], warehouse: DuckDBWarehouse
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    shop("hulls", {"hulls.csv": HULLS})
    sold = HULLS.replace("in_service_at\n", "in_service_at,out_of_service_at\n").replace(
        "01T00:00:00Z\n", "01T00:00:00Z,2025-09-01T00:00:00Z\n"
    )

    (count,) = shop("hulls", {"hulls.csv": sold})

    assert (count.rows_new, count.rows_already_there, count.rows_set_aside) == (0, 1, 0)
    rows = warehouse.read("select hull_id, out_of_service_at from shop_records.hulls")
    assert rows.height == 1
    assert str(rows["out_of_service_at"][0]).startswith("2025-09-01")


def test_the_raw_bytes_are_kept_under_their_hash(
    shop: Callable[[str, dict[str, str]], list[FileCount]],
    warehouse: DuckDBWarehouse,
    tmp_path: Path,
) -> None:
    shop("docks", {"docks.csv": DOCKS})

    digest = warehouse.read("select content_sha256 from shop_records.files").item()
    assert (tmp_path / "raw" / f"{digest}.csv").read_text() == DOCKS


def test_a_file_loaded_before_is_passed_over_under_any_name(
    shop: Callable[[str, dict[str, str]], list[FileCount]], tmp_path: Path
) -> None:
    shop("docks", {"docks.csv": DOCKS})

    again = shop("docks", {"docks copy.csv": DOCKS})

    assert [(count.notes, count.rows_already_there) for count in again] == [("unchanged", 1)] * 2
    assert len((tmp_path / "raw" / LIST_NAME).read_text().splitlines()) == 1


def test_the_content_decides_not_the_size_and_date_of_a_file(
    shop: Callable[[str, dict[str, str]], list[FileCount]], tmp_path: Path
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    path = tmp_path / "records" / "docks.csv"
    before = path.stat()
    path.write_text(DOCKS.replace("north", "south"))
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))

    (count,) = shop("docks", {})

    assert path.stat().st_size == before.st_size
    assert count.rows_new == 1


def test_a_file_loaded_by_an_older_ringland_is_known_and_gets_its_quick_hash(
    shop: Callable[[str, dict[str, str]], list[FileCount]], warehouse: DuckDBWarehouse
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    quick = warehouse.read("select content_blake3 from shop_records.files").item()
    with warehouse.connect() as con:
        con.execute("update shop_records.files set content_blake3 = null")

    (count,) = shop("docks", {})

    assert count.notes == "unchanged"
    # The file as written, hashed by the reference program's binding in one piece.
    assert quick == blake3(DOCKS.encode()).hexdigest()
    assert warehouse.read("select content_blake3 from shop_records.files").item() == quick


def test_a_lost_raw_copy_is_kept_again(
    shop: Callable[[str, dict[str, str]], list[FileCount]], tmp_path: Path
) -> None:
    shop("docks", {"docks.csv": DOCKS})
    (copy,) = (tmp_path / "raw").glob("*.csv")
    copy.unlink()

    (count,) = shop("docks", {})

    assert count.notes == "unchanged"
    assert copy.read_text() == DOCKS
    assert not list((tmp_path / "raw").glob("*.partial"))


def test_a_missing_column_is_told_with_its_file_and_the_others_load(
    new_home: Callable[[str], Home], tmp_path: Path
) -> None:
    records = tmp_path / "records"
    records.mkdir()
    (records / "docks.csv").write_text(DOCKS)
    (records / "hulls.csv").write_text("hull_id,tank_l\nA1,70\n")
    (records / "fills.csv").write_text(FILLS)
    home = new_home("stopped")

    load(home, records)

    warehouse = warehouse_at(home.database)
    (refused,) = warehouse.read("select fault from shop_records.refused")["fault"]
    assert refused.startswith("hulls.csv, row 1: The file lacks dock_id, in_service_at; it has")
    loaded = warehouse.read("select kind from shop_records.files order by kind")["kind"].to_list()
    assert loaded == ["docks", "fills"]  # the fills' rows wait, set aside, for their hulls
    assert rows_unaccounted(warehouse) == []
    (records / "hulls.csv").write_text(HULLS)
    load(home, records)
    assert warehouse.read("select count(*) from shop_records.refused").item() == 0
    assert warehouse.read("select count(*) from shop_records.fills").item() > 0


def test_formulas_in_a_spreadsheet_export_are_text() -> None:
    rows = pl.DataFrame(
        {"value": ["=1+1", "@cmd", "-3", "plain", None], "source_row": [1, 2, 3, 4, 5]}
    )

    assert inert(rows)["value"].to_list() == ["'=1+1", "'@cmd", "'-3", "plain", None]
