"""A failed test to its answer, by the commands a shop has: list, done, next list, release."""

import shutil
from datetime import datetime
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines import command_line, job_commands
from pipelines.command_line import main
from pipelines.home import Home
from tests.pipelines.demo_run import week_table
from tests.pipelines.tiny_shop import WEEKS

FIRST, _, NEXT = WEEKS
FAILED = "engine_id,inspected_at,measure,cylinder,state,value,unit,is_warm\n" + "".join(
    f"{engine},2026-05-20T09:00:00Z,leak_down,{cylinder},measured,{value},%,yes\n"
    for engine in ("E1", "E2")
    for cylinder, value in ((1, 5), (2, 30), (3, 5))
)


def told(home: Home, day: str, *arguments: str, fails: bool = False) -> str:
    """What a command says on a morning; it must not fail, or must."""
    with pytest.MonkeyPatch.context() as clock:
        for commands in (command_line, job_commands):
            clock.setattr(commands, "_now", lambda: datetime.fromisoformat(f"{day}T08:00:00Z"))
        done = CliRunner().invoke(main, ["--home", str(home.folder), *arguments])
    assert bool(done.exit_code) == fails, done.output
    return " ".join(done.output.split())


def state(home: Home, monday: str, hull: str = "A1") -> str:
    calls = week_table(home, "week_decisions", "calls", monday)
    return str(calls.filter(hull_id=hull)["says"][0])


def test_a_failed_test_is_asked_about_done_asked_further_and_let_go_by_name(
    tiny_loaded: Home, tmp_path: Path
) -> None:
    """Nobody could tell the tool that something was done; the same test was asked every week."""
    home = Home(Path(shutil.copytree(tiny_loaded.folder, tmp_path / "home")))
    (tmp_path / "inspections.csv").write_text(FAILED)
    told(home, FIRST, "load", str(tmp_path / "inspections.csv"))
    told(home, FIRST, "week")
    asked = f"A1/find_the_leak/{FIRST}"

    assert state(home, FIRST) == (
        "Do not rent until its failed test is answered (next: wet test and borescope)"
    )
    listed = told(home, "2026-06-10", "jobs")
    assert asked in listed.replace(" ", "")
    # by the week the page counts by, not by the clock
    assert listed.startswith("As of Mon 1 Jun 2026, the newest list")
    assert "overdue" not in listed
    said = told(home, "2026-06-10", "done", "A1", "--by", "R. Vane", "--note", "air at the pipe")
    assert f"Written down: {asked} done, by R. Vane." in said
    assert f"The list of {FIRST} and those before it stay as they were said" in said
    copies = [path.read_text() for path in home.raw.glob("*.csv")]
    assert any("air at the pipe" in copy for copy in copies)
    told(home, "2026-06-10", "release", "A2", "--by", "H. Quist", "--why", "valve, cut in winter")
    assert "No open job" in told(home, "2026-06-10", "jobs")
    told(home, NEXT, "week")
    jobs = week_table(home, "week_decisions", "jobs", NEXT)
    assert dict(jobs.filter(hull_id="A1").select("what", "state").iter_rows()) == {
        "find_the_leak": "done",
        "planned_top_end": "open",
    }
    assert "failed test is answered (next: planned top end)" in state(home, NEXT)
    assert jobs.filter(hull_id="A2")["state"].to_list() == ["released"]
    assert not state(home, NEXT, "A2").startswith("Do not rent")
    assert "Released by H. Quist" in (home.site / NEXT / "hulls" / "A2.html").read_text()

    # a top end by word alone left the old set on record, and nobody said what lacks
    by = ("done", "A1/planned_top_end", "--by", "R. Vane")
    lacks = told(home, "2026-07-08", *by, fails=True)
    assert "give --pistons cast or --pistons forged and --supplier" in lacks
    fitted = ("--pistons", "forged", "--supplier", "original", "--engine-hours", "96")
    given = told(home, "2026-07-08", *by, *fitted, "--on", "2026-07-07")
    assert "On record with it: rebuilds, piston sets." in given
    # a list made for a past day, which did not know it, listed its own jobs as open
    told(home, "2026-07-20", "week", "--as-of", "2026-07-13")
    after = told(home, "2026-07-20", "jobs", "--all")
    assert "was worked out for another day than its own, so it asks for nothing" in after
    assert f"given out up to {NEXT}" in after
    assert "2026-07-13" not in after.partition("state")[2]
