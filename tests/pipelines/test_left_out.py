"""One hull whose records end a step never costs the others their week."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pipelines import command_line
from pipelines.home import Home
from pipelines.left_out import hulls_to_leave_out
from pipelines.rooms import bench
from pipelines.today import todays_list
from pipelines.week_graph import GRAPH
from pipelines.weekly.run import KeptNowhere, WeekRun
from pipelines.weekly.step import Graph, step
from pipelines.weekly.store import WeekKey, WeekStore
from tests.on_a_cluster import plant
from tests.pipelines.tiny_shop import WEEKS, write_tiny

NOW = datetime.fromisoformat(f"{WEEKS[1]}T08:00:00+00:00")
HULLS = [f"A{number}" for number in range(20)]
_doubts = bench.doubts.record_doubts


def _ends_by_a1(records: Mapping[str, Any], *rest: Any) -> Any:
    if "A1" in records["sessions"]["hull_id"]:
        raise ZeroDivisionError("a clock that stands still")
    return _doubts(records, *rest)


def run(home: Home, *arguments: str) -> str:
    done = CliRunner().invoke(command_line.main, ["--home", str(home.folder), *arguments])
    assert done.exit_code == 0, done.output
    return done.output


def test_a_week_is_worked_out_without_the_hull_that_ends_it_and_names_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = Home(tmp_path / "home").prepare()
    monkeypatch.setattr(command_line, "_now", lambda: NOW)
    plant(monkeypatch, f"{bench.doubts.__name__}.record_doubts", _ends_by_a1)
    run(home, "load", str(write_tiny(tmp_path / "records")))

    said = " ".join(run(home, "week").split())

    store, key = WeekStore(home.weeks), WeekKey(WEEKS[1])
    why = "record_doubts: ZeroDivisionError: a clock that stands still"
    assert store.listed(key).left_out == {"A1": why}
    assert f"A1 is left out of this week: it could not be worked out with its records ({why})" in (
        said
    )
    calls = store.read(key, GRAPH.steps["week_decisions"]).calls
    states = dict(calls.select("hull_id", "call").iter_rows())
    assert states["A1"] == "do_not_rent"
    assert states["A2"] != "do_not_rent"
    told = dict(calls.select("hull_id", "says").iter_rows())["A1"]
    assert told.startswith("Do not rent until its records are put right")
    pages = home.site / key.name
    assert "could not be worked out with the records of hull A1" in (
        (pages / "records" / "index.html").read_text(encoding="utf-8")
    )
    listing = todays_list(home, NOW).listing  # takes over what the week left out
    assert any("A1" in cell for row in listing.rows for cell in row)


def test_the_hulls_that_end_a_step_are_found_and_no_other() -> None:
    bad = {"A3", "A17"}

    def trial(left_out: Mapping[str, str]) -> WeekRun:
        @step("history")
        def sums() -> tuple[str, ...]:
            if rest := bad - set(left_out):
                raise ValueError(min(rest))
            return ()

        class Module:
            one = sums

        graph = Graph([Module], frozenset())  # type: ignore[list-item]  # its names are asked for
        return KeptNowhere(WeekStore(Path("nowhere")), WeekKey(WEEKS[1]), graph, {})

    assert hulls_to_leave_out(trial, "sums", HULLS) == {
        "A3": "sums: ValueError: A3",
        "A17": "sums: ValueError: A17",
    }
    bad.add("of no hull")
    assert hulls_to_leave_out(trial, "sums", HULLS) == {}
