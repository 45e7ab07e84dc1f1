"""The graph as Dagster sees it: loadable, described, scheduled, watched, served on loopback."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import suppress
from pathlib import Path

import dagster as dg
import polars as pl
import pytest

from pipelines.asset_figures import table
from pipelines.asset_story import OWNERS
from pipelines.definitions import build_definitions, defs
from pipelines.drop_folder import drop_folder_sensor
from pipelines.home import Home
from pipelines.week_checks import freshness_result
from pipelines.week_graph import GRAPH
from pipelines.weekly.assets import EARLIER_WEEKS, contract_checks, contract_result
from pipelines.weeks import as_of_week
from ringland.contracts.decision_tables import HullCalls
from ringland.contracts.record_kinds import RECORD_KINDS
from tests.pipelines.demo_run import DEMO_WEEK, DemoRun, week_table

AS_OF = as_of_week(DEMO_WEEK)
ROOMS = {
    "intake",
    "history",
    "bench",
    "fuel",
    "exposure",
    "risk",
    "decision",
    "score",
    "causes",
    "pages",
}


def test_the_definitions_are_loadable() -> None:
    dg.Definitions.validate_loadable(defs)


def test_every_record_kind_and_room_has_assets_with_a_description() -> None:
    graph = defs.resolve_asset_graph()
    assets = {key: graph.get(key) for key in graph.get_all_asset_keys()}

    assert {key.path[-1] for key in assets if key.path[0] == "intake"} >= set(RECORD_KINDS)
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
    with dg.DagsterInstance.from_config(str(demo.home.dagster)) as instance:
        for key in defs.resolve_asset_graph().get_all_asset_keys():
            event = instance.get_latest_materialization_event(key)
            assert event is not None, key
            made = event.asset_materialization
            assert made is not None
            assert made.metadata, key
            step = GRAPH.steps.get(key.path[-1])
            if step is not None and list(step.tables) == ["rows"]:
                told = made.metadata["dagster/row_count"].value
                assert told == week_table(demo.home, step.name).height, key


def test_rooms_wait_for_each_other_one_way_only() -> None:
    """Risk and decision once waited for each other."""
    graph = defs.resolve_asset_graph()
    waits: dict[str, set[str]] = {room: set() for room in ROOMS}
    for key in graph.get_all_asset_keys():
        node = graph.get(key)
        waits[key.path[0]] |= {parent.path[0] for parent in node.parent_keys} - {key.path[0]}

    done: set[str] = set()
    while ready := [room for room in waits if room not in done and waits[room] <= done]:
        done |= set(ready)

    assert done == ROOMS


def test_what_earlier_weeks_said_is_a_dependency_on_earlier_weeks() -> None:
    graph = defs.resolve_asset_graph()
    mapping = graph.get(dg.AssetKey(["score", "score"])).partition_mappings[
        dg.AssetKey(["decision", "week_decisions"])
    ]

    assert isinstance(mapping, dg.TimeWindowPartitionMapping)
    # To this week: what was asked for earlier is told with what this week asks for.
    assert (mapping.start_offset, mapping.end_offset) == (-EARLIER_WEEKS, 0)


def test_what_a_step_made_can_be_asked_of_dagster(demo: DemoRun) -> None:
    told = build_definitions(demo.home)
    with dg.DagsterInstance.from_config(str(demo.home.dagster)) as instance:
        lives = told.load_asset_value(
            dg.AssetKey(["history", "piston_lives"]), partition_key=DEMO_WEEK, instance=instance
        )

    assert lives.equals(week_table(demo.home, "piston_lives"))


def test_a_table_for_the_page_cannot_act() -> None:
    frame = pl.DataFrame(
        {"a": ["<img src=x onerror=alert(1)>", "[x](javascript:y)"], "n": [1.5, None]}
    )
    text = table(frame).text

    assert "\\<img" in text
    assert "\\[x\\]\\(javascript" in text
    assert text.splitlines()[1] == "|---|--:|"


def test_the_executor_is_in_process() -> None:
    # several processes on one DuckDB file only lock each other out
    assert defs.executor is dg.in_process_executor


def test_the_sensor_asks_for_a_load_only_when_files_changed_and_rest(tmp_path: Path) -> None:
    drop = tmp_path / "drop"
    sensor = drop_folder_sensor(drop, defs.resolve_job_def("load_records"))

    def tick(cursor: str | None) -> object:
        with dg.DagsterInstance.ephemeral() as instance:
            return sensor.evaluate_tick(dg.build_sensor_context(instance, cursor=cursor))

    assert "no folder" in tick(None).skip_message
    drop.mkdir()
    assert "No record files" in tick(None).skip_message
    (drop / "fills.csv").write_text("hull_id\n")
    growing = tick(None)
    assert "still growing" in growing.skip_message
    first = tick(growing.cursor)
    assert len(first.run_requests) == 1
    assert "No file has changed" in tick(first.cursor).skip_message
    (drop / "fills.csv").write_text("hull_id\nA1\n")
    grown = tick(first.cursor)
    (drop / "fills.csv").write_text("hull_id\nA1\nA2\n")
    still = tick(grown.cursor)
    assert "still growing" in still.skip_message
    assert len(tick(still.cursor).run_requests) == 1


def test_a_row_outside_its_contract_does_not_pass(demo: DemoRun) -> None:
    calls = week_table(demo.home, "week_decisions", "calls")
    spoiled = calls.with_columns(
        call=pl.when(pl.col("rank") == 1).then(pl.lit("all is well")).otherwise("call")
    )

    assert contract_result(calls, HullCalls).passed
    assert not contract_result(spoiled, HullCalls).passed
    assert not contract_result(None, HullCalls).passed


def test_every_contract_check_blocks_what_comes_after() -> None:
    specs = [spec for check in contract_checks(GRAPH) for spec in check.check_specs]

    assert len(specs) > 8
    assert all(spec.blocking for spec in specs)


def test_records_go_stale_after_the_season(demo: DemoRun) -> None:
    sessions = week_table(demo.home, "engine_sessions", "sessions")
    older = sessions.with_columns(pl.col("ended_at") - pl.duration(days=60))

    assert freshness_result(sessions, AS_OF, limit_d=28).passed
    stale = freshness_result(older, AS_OF, limit_d=28)
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
    with urllib.request.urlopen(request, timeout=120) as answer:  # noqa: S310 - loopback
        return dict(json.load(answer)["data"])


def served(home: Home, port: int) -> "subprocess.Popen[bytes]":
    arguments = ["--home", str(home.folder), "graph", "--port", str(port)]
    return subprocess.Popen(
        [sys.executable, "-c", "from pipelines.command_line import main; main()", *arguments],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


def test_the_graph_command_serves_the_graph_to_its_own_page_only(tmp_path: Path) -> None:
    home = Home(tmp_path).prepare()
    port = free_port()
    server = served(home, port)
    try:
        answer: dict[str, object] = {}
        deadline = time.monotonic() + 900  # a start takes about 10 s; this is for a busy machine
        while not answer.get("assetNodes") and time.monotonic() < deadline:
            time.sleep(1)
            if server.poll() is not None:  # on a very busy one Dagster gives its own start up
                server = served(home, port)
            try:
                answer = ask(port, "{ assetNodes { assetKey { path } groupName } }")
            except OSError:
                continue
        with pytest.raises(urllib.error.HTTPError, match="403"):  # it took queries on GET
            urllib.request.urlopen(f"http://127.0.0.1:{port}/graphql?query={{version}}", timeout=60)
    finally:
        # Asked to end, all of them at once, Dagster's page may wait for its parent for good.
        with suppress(ProcessLookupError):
            os.killpg(server.pid, signal.SIGKILL)
        server.wait(timeout=300)

    nodes = answer["assetNodes"]
    assert isinstance(nodes, list)
    assert {node["groupName"] for node in nodes} == ROOMS
    assert ["pages", "site"] in [node["assetKey"]["path"] for node in nodes]
