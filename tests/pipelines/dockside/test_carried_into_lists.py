"""An entry made at the dock reaches the list of now, and the next week's, once it is taken in."""

import shutil
from datetime import datetime
from pathlib import Path
from uuid import uuid4

import polars as pl
import pytest
from click.testing import CliRunner

from pipelines import command_line, job_commands
from pipelines.command_line import main
from pipelines.dockside.taking_in import is_waiting, take_journal_in
from pipelines.home import Home
from pipelines.today import todays_list
from pipelines.week_graph import GRAPH
from pipelines.weekly.store import WeekKey, WeekStore
from ringland.dockside.entries import Entry
from tests.pipelines.dockside.asking import serving

MONDAY, NEXT = "2026-06-01", "2026-06-08"
AT = datetime.fromisoformat(f"{MONDAY}T10:00:00Z")
READINGS = (("1", "6"), ("2", "62"), ("3", "7"))


def run_week(home: Home, monday: str) -> None:
    with pytest.MonkeyPatch.context() as clock:
        for commands in (command_line, job_commands):
            clock.setattr(commands, "_now", lambda: datetime.fromisoformat(f"{monday}T08:00:00Z"))
        done = CliRunner().invoke(main, ["--home", str(home.folder), "week"])
    assert done.exit_code == 0, done.output


def call_of(home: Home, monday: str, hull: str) -> str:
    key = WeekKey(monday)
    calls = WeekStore(home.weeks).frame(key, GRAPH.steps["week_decisions"], "calls")
    assert calls is not None
    return str(calls.filter(pl.col("hull_id") == hull)["call"].item())


def test_a_failed_test_and_a_fill_at_the_dock_are_in_the_list_of_now_and_of_next_week(
    tiny_loaded: Home, tmp_path: Path
) -> None:
    home = Home(Path(shutil.copytree(tiny_loaded.folder, tmp_path / "home")))
    run_week(home, MONDAY)
    assert call_of(home, MONDAY, "A2") != "do_not_rent"
    leaks = [
        {"engine_id": "E2", "inspected_at": f"{MONDAY}T09:00:00Z", "measure": "leak_down",
         "cylinder": cylinder, "state": "measured", "value": value, "unit": "%", "is_warm": "true"}
        for cylinder, value in READINGS
    ]  # fmt: skip
    fill = {"hull_id": "A1", "filled_at": f"{MONDAY}T09:30:00Z", "volume_l": "23.5",
            "source": "outside", "octane_aki": "91"}  # fmt: skip
    told = [Entry(str(uuid4()), "inspections", cells, AT) for cells in leaks]
    told.append(Entry(str(uuid4()), "fills", fill, AT))
    with serving(home) as served:
        served.clock.at = AT
        phone = served.phone()
        phone.token = phone.get("/token").json["token"]
        assert phone.entries(*told).outcomes == ["kept"] * len(told)

    before = todays_list(home, AT)  # whether or not the server came to take them in
    take_journal_in(home)
    after = todays_list(home, AT)

    assert not is_waiting(home)
    assert after.from_dock == 0
    for today in (before, after):
        moved = dict(today.moved.select("hull_id", "call").iter_rows())
        assert moved["A2"] == "do_not_rent"
    assert before.listing == after.listing
    assert call_of(home, MONDAY, "A2") != "do_not_rent", "a list given out stays as it was"

    run_week(home, NEXT)

    assert call_of(home, NEXT, "A2") == "do_not_rent"
    records = WeekStore(home.weeks).read(WeekKey(NEXT), GRAPH.steps["snapshot"]).records
    fills = records["fills"].filter(pl.col("volume_l") == 23.5)
    assert fills["hull_id"].to_list() == ["A1"]
    leaks_known = records["inspections"].filter(pl.col("engine_id") == "E2")
    assert sorted(leaks_known["value"].to_list()) == [6.0, 7.0, 62.0]
