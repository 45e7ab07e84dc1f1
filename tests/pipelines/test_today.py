"""The list as of this moment: this morning's records count, and no week is changed by it."""

import shutil
import subprocess
import sys
from datetime import UTC, date, datetime
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pipelines import command_line
from pipelines.home import Home
from pipelines.today import moment_run, todays_list
from pipelines.week_graph import GRAPH
from pipelines.weekly.store import StoreError, WeekStore
from ringland.words.state_words import STATE_SHORT
from tests.pipelines.demo_run import load, week_table
from tests.pipelines.test_weeks import CLOCKS, at

MONDAY = date(2026, 8, 17)


def morning(zone: str) -> datetime:
    return at(MONDAY, "07:00", zone).astimezone(UTC)


@pytest.fixture(scope="module")
def home(few_week: Home, tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A home with a week; for each zone a failure, a test, a fill and a build at 07:00 there."""
    folder = tmp_path_factory.mktemp("today")
    home = Home(Path(shutil.copytree(few_week.folder, folder / "home")))
    run, _ = moment_run(home, GRAPH, at(MONDAY, "12:00", "UTC"))
    known = run.value("snapshot").records["installations"]
    for_rent = calls(home).filter(pl.col("call") != "do_not_rent")["hull_id"]
    running = known.filter(
        pl.col("removed_at").is_null(), pl.col("hull_id").is_in(for_rent.implode())
    )
    engine, hull = running.select("engine_id", "hull_id").row(0)
    files = {
        "failures": ("engine_id,found_at,mode,how_found", "ring_land_fracture,ran_to_failure"),
        "inspections": (
            "engine_id,inspected_at,measure,cylinder,state,value,unit",
            "compression,1,measured,60,psi",
        ),
        "fills": ("hull_id,filled_at,volume_l,source,octane_aki", "5,outside,91"),
        "rebuilds": ("engine_id,rebuilt_at,scope,scope_items", "top_end,pistons and rings"),
    }
    records = folder / "records"
    records.mkdir()
    for kind, (heading, rest) in files.items():
        of = hull if kind == "fills" else engine
        lines = [f"{of},{morning(zone):%Y-%m-%dT%H:%M:%SZ},{rest}" for zone in CLOCKS]
        (records / f"{kind}.csv").write_text("\n".join([heading, *lines]) + "\n")
    load(home, records)
    return home


def calls(home: Home) -> pl.DataFrame:
    return week_table(home, "week_decisions", "calls")


def in_zone(home: Home, zone: str) -> Home:
    home.own_file.write_text(f'time_zone = "{zone}"\n')
    return home


def files(home: Home) -> dict[str, bytes]:
    kept = (home.weeks, home.site, home.raw)
    return {str(p): p.read_bytes() for folder in kept for p in folder.rglob("*") if p.is_file()}


@pytest.mark.parametrize("zone", CLOCKS)
def test_this_mornings_failure_test_fill_and_job_count(home: Home, zone: str) -> None:
    """A failure found on Monday morning could not reach that week's list at all."""
    run, fitted = moment_run(in_zone(home, zone), GRAPH, at(MONDAY, "08:00", zone))

    known = run.value("snapshot").records

    for kind, instant in (("failures", "found_at"), ("inspections", "inspected_at"),
                          ("fills", "filled_at"), ("rebuilds", "rebuilt_at")):  # fmt: skip
        assert morning(zone) in known[kind][instant].to_list(), kind
    assert fitted.monday == MONDAY.isoformat()


def test_the_list_of_now_keeps_the_broken_hull_ashore_and_changes_no_week(home: Home) -> None:
    before = files(in_zone(home, CLOCKS[0]))

    today = todays_list(home, at(MONDAY, "08:00", CLOCKS[0]))

    said = WeekStore(home.weeks).read(today.fitted, GRAPH.steps["week_list"])
    assert len(today.listing.rows) == len(said.rows)
    assert today.listing.headings == said.headings
    ashore = today.moved.filter(
        pl.col("call") == "do_not_rent", pl.col("call_then") != "do_not_rent"
    )
    assert ashore.height == 1
    assert files(home) == before


def test_the_list_alone_says_what_the_whole_week_as_of_now_would(home: Home) -> None:
    """It leaves out what only pages show; that must decide nothing."""
    now = at(MONDAY, "08:00", CLOCKS[0])
    alone, _ = moment_run(in_zone(home, CLOCKS[0]), GRAPH, now)
    whole, _ = moment_run(home, GRAPH, now, is_list_only=False)

    assert alone.value("week_list") == whole.value("week_list")
    for table in ("calls", "jobs", "options"):
        one, other = (getattr(run.value("week_decisions"), table) for run in (alone, whole))
        assert one.equals(other), table
    assert whole.value("week_tables").changed.height > 0
    assert alone.value("week_tables").changed.height == 0


def test_the_command_shows_the_list_and_what_moved(
    home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    zone = CLOCKS[0]
    in_zone(home, zone)
    monkeypatch.setattr(command_line, "_now", lambda: at(MONDAY, "08:00", zone).astimezone(UTC))

    run = CliRunner().invoke(command_line.main, ["--home", str(home.folder), "today"])

    assert run.exit_code == 0, run.output
    assert f"As of Mon 2026-08-17 08:00 ({zone})" in run.output
    _, _, moved = run.output.partition("Moved since, with the fit of the week of 2026-08-17")
    assert moved
    # 'rent only, fuel and check': the states and actions stood by their names in the tables
    shorts = [*STATE_SHORT.values(), "not on that list"]
    for line in (line for line in moved.splitlines() if "; before: " in line):
        now, _, before = line.partition(": ")[2].partition("; before: ")
        assert any(now.startswith(short) for short in shorts), line
        assert any(before.startswith(short) for short in shorts), line
    assert "_" not in moved
    assert "never clearance to run" in run.output


def test_without_a_week_the_way_to_one_is_told(few_loaded: Home) -> None:
    with pytest.raises(StoreError, match="Run 'ringland week' first"):
        todays_list(few_loaded, datetime(2026, 8, 17, 8, tzinfo=UTC))


def test_the_list_of_now_waits_for_nothing_that_it_does_not_use() -> None:
    """Dagster and its kin took a third of the time until the list stood there."""
    code = (
        "import sys, pipelines.command_line, pipelines.list_shown, pipelines.today\n"
        "unused = {'dagster', 'lifelines', 'pint', 'ringland.pages.site.page_groups',"
        " 'scipy.stats', 'sklearn'}\n"
        "print(*sorted(unused & {*sys.modules}))"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=300
    )
    assert told.stdout.split() == []
