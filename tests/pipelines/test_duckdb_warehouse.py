"""Tables from contracts, weeks that replace themselves, versions that are refused."""

import os
from datetime import UTC, datetime
from pathlib import Path

import dataframely as dy
import duckdb
import polars as pl
import pytest

from pipelines.duckdb_warehouse import (
    BusyError,
    DuckDBWarehouse,
    WarehouseError,
    ensure_record_tables,
    ensure_table,
    opened,
    scripts,
    transaction,
    warehouse_at,
)
from pipelines.home import Home
from pipelines.warehouse_care import check_warehouse
from ringland.contracts.record_kinds import ALL_KINDS

MONDAY = datetime(2026, 8, 17, tzinfo=UTC)
EARLIER = datetime(2026, 8, 10, tzinfo=UTC)


class Boat(dy.Schema):
    """One row per boat."""

    name = dy.String(description="what's painted on it")
    hours = dy.Float64(nullable=True)


class BoatWithColour(Boat):
    """One row per boat."""

    colour = dy.String(nullable=True)


class BoatWithTextHours(dy.Schema):
    """One row per boat."""

    name = dy.String()
    hours = dy.String(nullable=True)


@pytest.fixture
def warehouse(tmp_path: Path) -> DuckDBWarehouse:
    return warehouse_at(tmp_path / "test.duckdb")


def test_a_new_warehouse_has_an_empty_table_of_every_kind(warehouse: DuckDBWarehouse) -> None:
    records = warehouse.read_records()

    assert set(records) == set(ALL_KINDS)
    assert all(frame.is_empty() for frame in records.values())
    assert records["fills"].schema["filled_at"] == pl.Datetime("us", "UTC")


def test_column_descriptions_reach_the_database(warehouse: DuckDBWarehouse) -> None:
    with warehouse.connect() as con:
        ensure_table(con, "shop_records.boats", Boat, {})

    comment = warehouse.read(
        "select comment from duckdb_columns() where table_name = 'boats' and column_name = 'name'"
    )
    assert comment.item() == "what's painted on it"


def test_a_new_nullable_column_is_added_to_a_table_in_use(warehouse: DuckDBWarehouse) -> None:
    with warehouse.connect() as con:
        ensure_table(con, "shop_records.boats", Boat, {})
        con.execute("insert into shop_records.boats values ('Tern', 2)")
        ensure_table(con, "shop_records.boats", BoatWithColour, {})

    rows = warehouse.read("select * from shop_records.boats")
    assert rows.to_dicts() == [{"name": "Tern", "hours": 2.0, "colour": None}]


def test_a_retyped_column_is_refused_with_the_remedy(warehouse: DuckDBWarehouse) -> None:
    with warehouse.connect() as con:
        ensure_table(con, "shop_records.boats", Boat, {})
        with pytest.raises(WarehouseError, match=r"boats\.hours .* Run 'ringland rebuild'"):
            ensure_table(con, "shop_records.boats", BoatWithTextHours, {})


def test_each_script_has_a_number_of_its_own() -> None:
    """Two bore the number 3: a warehouse made before the second never got it."""
    numbers = [number for number, _ in scripts()]

    assert numbers == list(range(1, len(numbers) + 1))


def test_a_warehouse_that_missed_a_script_of_the_same_number_gets_it(tmp_path: Path) -> None:
    whole = warehouse_at(tmp_path / "whole.duckdb")
    with whole.connect() as con:
        con.execute("alter table shop_records.files drop column content_blake3")
        con.execute("delete from schema_version where version > 4")

    assert "content_blake3" in whole.read("from shop_records.files").columns


def test_a_newer_schema_version_is_refused(warehouse: DuckDBWarehouse) -> None:
    with warehouse.connect() as con:
        con.execute("insert into schema_version values (9999)")

    with pytest.raises(WarehouseError, match=r"schema version 9999.*newer ringland"):
        warehouse.read_records()


def test_what_is_advised_for_an_old_schema_is_tried_first(tmp_path: Path) -> None:
    """The check sent a schema half done to 'ringland week', which could not bring it up to date."""
    home = Home(tmp_path).prepare()
    with warehouse_at(home.database).connect() as con:
        ensure_record_tables(con)
        con.execute("alter table shop_records.files drop column content_blake3")
        con.execute("delete from schema_version where version > 4")

    (old,) = check_warehouse(home)[0].wrong
    with duckdb.connect(str(home.database)) as con:
        con.execute("delete from schema_version where version > 3")
    (half_done,) = check_warehouse(home)[0].wrong

    assert "the next 'ringland load' brings it up to date" in old
    assert "would not make it whole: run 'ringland rebuild'" in half_done


def test_a_failed_transaction_leaves_nothing(warehouse: DuckDBWarehouse) -> None:
    with warehouse.connect() as con:
        ensure_table(con, "shop_records.boats", Boat, {})
        with pytest.raises(duckdb.Error), transaction(con):
            con.execute(
                "insert into shop_records.boats values ('Tern', 2);"
                "insert into shop_records.no_such_table values (1)"
            )
        assert con.sql("select count(*) from shop_records.boats").fetchall() == [(0,)]


def test_files_that_do_not_add_up_cannot_be_recorded(warehouse: DuckDBWarehouse) -> None:
    with warehouse.connect() as con, pytest.raises(duckdb.ConstraintException):
        con.execute(
            "insert into shop_records.files values "
            "('fills', 'f.csv', 'x', 10, 8, 0, 1, '', 0, null, null, null)"
        )


def test_a_warehouse_that_another_command_is_just_making_is_in_use_and_not_damaged(
    tmp_path: Path,
) -> None:
    """Two first loads at once: the second called the first one's file damaged."""
    database = tmp_path / "ringland.duckdb"
    database.write_bytes(b"\0" * 4096)

    with pytest.raises(BusyError, match="another ringland command is using it"):
        opened(str(database), 0.0)
    os.utime(database, (0, 0))
    with pytest.raises(WarehouseError, match="damaged or no warehouse"):
        opened(str(database), 0.0)
