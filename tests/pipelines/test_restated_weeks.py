"""A past week stays as it was known; asked to, it is restated, and the changes say why."""

from datetime import UTC, datetime
from pathlib import Path

from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.duckdb_warehouse import DuckDBWarehouse, warehouse_at
from pipelines.graph_run import run_graph
from pipelines.home import Home
from pipelines.mended_loading import load_corrections
from pipelines.record_loading import load_kind
from pipelines.row_accounting import changes_since
from ringland.history.known_then import known_by

MONDAY = datetime(2025, 6, 9, tzinfo=UTC)
LATER = datetime(2025, 8, 1, tzinfo=UTC)
FILES = {
    "docks.csv": "dock_id,time_zone\nnorth,America/Chicago\n",
    "hulls.csv": "hull_id,dock_id,tank_l,in_service_at\nA1,north,70,2025-05-01T00:00:00Z\n",
    "fills.csv": (
        "hull_id,filled_at,volume_l,source,recorded_at\n"
        "A1,2025-06-01T10:00:00Z,30,outside,\n"
        "A1,2025-06-02T10:00:00Z,31,outside,2025-07-01T00:00:00Z\n"
    ),
    "corrections.csv": (
        "record_kind,record_key,change,field,new_value,reason,recorded_at\n"
        "fills,A1; 2025-06-01T10:00:00Z,corrected,volume_l,35,=misread,2025-06-20T00:00:00Z\n"
    ),
}


def shop(tmp_path: Path) -> Home:
    home, records = Home(tmp_path / "home").prepare(), tmp_path / "records"
    records.mkdir()
    for name, text in FILES.items():
        (records / name).write_text(text)
    warehouse = warehouse_at(home.database)
    for kind in ("docks", "hulls", "fills"):
        load_kind(warehouse, home.raw, kind, records)
    load_corrections(warehouse, home.raw, records)
    return home


def litres(warehouse: DuckDBWarehouse) -> list[float]:
    return known_by(warehouse.read_records(), MONDAY)["fills"]["volume_l"].to_list()


def test_a_past_week_changes_only_when_it_is_restated(tmp_path: Path) -> None:
    home = shop(tmp_path)

    as_known = warehouse_at(home.database)
    restated = DuckDBWarehouse(database=str(home.database), told_by=LATER.isoformat())

    assert litres(as_known) == [30]
    assert litres(restated) == [35, 31]


def test_the_changes_name_record_value_and_reason(tmp_path: Path) -> None:
    home = shop(tmp_path)

    changes = changes_since(warehouse_at(home.database), MONDAY, LATER)

    assert changes.select("record_key", "change", "before", "after", "why").rows() == [
        ("A1; 2025-06-01T10:00:00Z", "corrected", "30.0", "35.0", "=misread"),
        ("A1; 2025-06-02T10:00:00Z", "came later", None, None, "written down only later"),
    ]


def test_a_restated_week_has_pages_of_its_own_and_leaves_the_warehouse_as_it_was(
    tmp_path: Path,
) -> None:
    """Found in use: its chances took the place of those that are scored.

    The shop has no piston set on record: a week must come of that too.
    """
    home = shop(tmp_path)
    tables = "select schema_name, table_name, estimated_size from duckdb_tables() order by all"
    before = warehouse_at(home.database).read(tables)

    result = run_graph(
        home, "week_report", listener=lambda *_: None, partition_key="2025-06-09", told_by=LATER
    )

    assert result.success
    assert warehouse_at(home.database).read(tables).equals(before)
    assert sorted(path.name for path in home.site.iterdir()) == [
        "2025-06-09-restated",
        "ringland-week-2025-06-09-restated.zip",
    ]
    page = (home.site / "2025-06-09-restated" / "index.html").read_text()
    assert "1 record corrected, 1 record written down later." in page


def test_the_changes_command_shows_them_and_writes_them_as_inert_text(tmp_path: Path) -> None:
    home = shop(tmp_path)

    run = CliRunner().invoke(main, ["--home", str(home.folder), "changes", "--as-of", "2025-06-09"])

    assert run.exit_code == 0, run.output
    assert "2 changes" in run.output
    written = (home.folder / "changes-2025-06-09.csv").read_text()
    assert ",'=misread" in written


def test_one_file_is_loaded_with_the_mapping_beside_it(tmp_path: Path) -> None:
    home = shop(tmp_path)
    log = tmp_path / "log.csv"
    log.write_text("Boat,Shows,Read\nA1,12.5,2025-06-03 18:00\n")
    log.with_suffix(".toml").write_text(
        '[source]\ndate_formats = ["%Y-%m-%d %H:%M"]\ntime_zone = "dock"\n'
        '[[table]]\nkind = "hour_readings"\n[table.columns]\nhull_id = "Boat"\n'
        'meter_id = "Boat"\nread_at = "Read"\nmeter_h = "Shows"\n'
    )

    run = CliRunner().invoke(main, ["--home", str(home.folder), "load", str(log)])

    assert run.exit_code == 0, run.output
    rows = warehouse_at(home.database).read_records()["hour_readings"]
    assert rows.select("read_at", "source_file").rows() == [
        (datetime(2025, 6, 3, 23, tzinfo=UTC), "log.csv")
    ]
