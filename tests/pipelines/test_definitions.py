"""The graph as Dagster sees it: loadable, described, scheduled, watched, served on loopback."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from functools import partial
from pathlib import Path

import dagster as dg
import polars as pl
import pytest

from pipelines.asset_figures import table
from pipelines.asset_story import OWNERS
from pipelines.definitions import build_definitions, defs
from pipelines.drop_folder import drop_folder_sensor
from pipelines.duckdb_warehouse import DuckDBWarehouse, warehouse_at
from pipelines.home import Home
from pipelines.week_checks import CONTRACTS, contract_checks, contract_result, freshness_result
from pipelines.weeks import as_of_week
from ringland.contracts.decision_tables import HullCalls
from ringland.contracts.record_kinds import RECORD_KINDS
from tests.pipelines.demo_run import DEMO_WEEK, DemoRun

AS_OF = as_of_week(DEMO_WEEK)
ROOMS = {
    "shop_records",
    "fuel_exposure",
    "fleet_risk",
    "service_week",
    "failure_causes",
    "week_pages",
}


def test_the_definitions_are_loadable() -> None:
    dg.Definitions.validate_loadable(defs)


def test_every_record_kind_and_room_has_assets_with_a_description() -> None:
    graph = defs.resolve_asset_graph()
    assets = {key: graph.get(key) for key in graph.get_all_asset_keys()}

    assert {key.path[-1] for key in assets if key.path[0] == "shop_records"} >= set(RECORD_KINDS)
    assert {node.group_name for node in assets.values()} == ROOMS
    assert [key for key, node in assets.items() if not node.description] == []


def test_every_asset_says_what_it_answers_who_answers_for_it_and_where_it_lives() -> None:
    graph = defs.resolve_asset_graph()
    nodes = [graph.get(key) for key in graph.get_all_asset_keys()]

    assert len(nodes) > 30
    for node in nodes:
        name = node.key.to_user_string()
        assert node.description, name
        assert node.owners == [OWNERS[node.key.path[0]]], name
        assert re.fullmatch(r"team:[a-z-]+", node.owners[0]), name  # the form Dagster takes
        assert node.kinds, name
        assert str(node.metadata["question"]).endswith("?"), name
    tables = [node for node in nodes if "dagster/column_schema" in node.metadata]
    named = {str(node.metadata["dagster/table_name"]) for node in tables}
    assert {f"shop_records.{kind}" for kind in RECORD_KINDS} <= named
    for node in tables:
        for column in node.metadata["dagster/column_schema"].columns:
            assert column.name
            assert column.type


def test_every_run_of_an_asset_leaves_figures_beside_it(demo: DemoRun) -> None:
    tables = {asset.key: name for asset, name, _ in CONTRACTS if asset.key.path == name.split(".")}
    warehouse = warehouse_at(demo.home.database)
    with dg.DagsterInstance.from_config(str(demo.home.dagster)) as instance:
        for key in defs.resolve_asset_graph().get_all_asset_keys():
            event = instance.get_latest_materialization_event(key)
            assert event is not None, key
            made = event.asset_materialization
            assert made is not None
            assert made.metadata, key
            if key in tables:
                told = made.metadata["dagster/row_count"].value
                assert told == warehouse.week_rows(tables[key], AS_OF).height, key


def test_a_table_for_the_page_cannot_act() -> None:
    frame = pl.DataFrame(
        {"a": ["<img src=x onerror=alert(1)>", "[x](javascript:y)"], "n": [1.5, None]}
    )
    text = str(table(frame).value)

    assert "\\<img" in text
    assert "\\[x\\]\\(javascript" in text
    assert text.splitlines()[1] == "|---|--:|"


def test_the_executor_is_in_process() -> None:
    # several processes on one DuckDB file only lock each other out
    assert defs.executor is dg.in_process_executor


def test_the_sensor_asks_for_a_load_only_when_files_changed(tmp_path: Path) -> None:
    drop = tmp_path / "drop"
    sensor = drop_folder_sensor(drop, defs.resolve_job_def("load_records"))

    def tick(cursor: str | None) -> object:
        with dg.DagsterInstance.ephemeral() as instance:
            return sensor.evaluate_tick(dg.build_sensor_context(instance, cursor=cursor))

    assert "no folder" in tick(None).skip_message
    drop.mkdir()
    assert "No record files" in tick(None).skip_message
    (drop / "fills.csv").write_text("hull_id\n")
    first = tick(None)
    assert len(first.run_requests) == 1
    assert "No file has changed" in tick(first.cursor).skip_message
    (drop / "fills.csv").write_text("hull_id\nA1\n")
    assert len(tick(first.cursor).run_requests) == 1


@pytest.fixture
def spoiled(demo: DemoRun, tmp_path: Path) -> DuckDBWarehouse:
    """A copy of the demo's warehouse that a test may spoil."""
    copy = tmp_path / "spoiled.duckdb"
    copy.write_bytes(demo.home.database.read_bytes())
    return warehouse_at(copy)


def test_a_row_outside_its_contract_does_not_pass(spoiled: DuckDBWarehouse) -> None:
    judge = partial(contract_result, spoiled, "service_week.hull_calls", HullCalls, AS_OF)
    assert judge().passed

    with spoiled.connect() as con:
        con.execute("update service_week.hull_calls set call = 'all is well' where rank = 1")

    assert not judge().passed


def test_every_contract_check_blocks_what_comes_after() -> None:
    specs = [spec for check in contract_checks for spec in check.check_specs]

    assert len(specs) > 8
    assert all(spec.blocking for spec in specs)


def test_records_go_stale_after_the_season(spoiled: DuckDBWarehouse) -> None:
    assert freshness_result(spoiled, AS_OF, limit_d=28).passed

    with spoiled.connect() as con:
        con.execute("update shop_records.engine_sessions set ended_at = ended_at - interval 60 day")

    stale = freshness_result(spoiled, AS_OF, limit_d=28)
    assert not stale.passed
    assert stale.severity == dg.AssetCheckSeverity.WARN


def test_a_dropped_folder_of_records_is_the_default_source(tmp_path: Path) -> None:
    resources = build_definitions(Home(tmp_path)).resources
    assert resources is not None
    assert resources["shop"].incoming == tmp_path / "drop"


def free_port() -> int:
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        return int(listening.getsockname()[1])


def ask(port: int, query: str) -> dict[str, object]:
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}/graphql",
        data=json.dumps({"query": query}).encode(),
        headers={"Content-Type": "application/json"},
    )
    with urllib.request.urlopen(request, timeout=5) as answer:  # noqa: S310 - loopback
        return dict(json.load(answer)["data"])


def test_dagster_dev_serves_the_graph(tmp_path: Path) -> None:
    home = Home(tmp_path).prepare()
    port = free_port()
    server = subprocess.Popen(
        [sys.executable, "-m", "dagster", "dev", "-h", "127.0.0.1", "-p", str(port)],
        cwd=Path(__file__).parents[2],  # a checkout: [tool.dagster] names the module
        env=os.environ | {"RINGLAND_HOME": str(home.folder), "DAGSTER_HOME": str(home.dagster),
                          "DAGSTER_DISABLE_TELEMETRY": "1"},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )  # fmt: skip
    try:
        answer: dict[str, object] = {}
        deadline = time.monotonic() + 120  # a start takes about 10 s; this is for a busy machine
        while not answer.get("assetNodes") and time.monotonic() < deadline:
            time.sleep(1)
            try:
                answer = ask(port, "{ assetNodes { assetKey { path } groupName } }")
            except OSError:
                continue
    finally:
        os.killpg(server.pid, signal.SIGTERM)
        server.wait(timeout=30)

    nodes = answer["assetNodes"]
    assert isinstance(nodes, list)
    assert {node["groupName"] for node in nodes} == ROOMS
    assert ["week_pages", "report"] in [node["assetKey"]["path"] for node in nodes]
