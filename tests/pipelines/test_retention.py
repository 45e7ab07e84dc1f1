"""What a home keeps of its weeks: all that was given out, and little else."""

import shutil
from contextlib import closing
from datetime import datetime
from pathlib import Path
from sqlite3 import connect

import pytest
from click.testing import CliRunner, Result

from pipelines import command_line
from pipelines.command_line import main
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.week_graph import GRAPH
from pipelines.week_site import site_of
from pipelines.weekly.step import Keep
from pipelines.weekly.store import WeekKey, WeekStore
from tests.pipelines.demo_run import week_table
from tests.pipelines.tiny_shop import WEEKS

GIVEN_OUT, BACKFILLED, NEWEST = WEEKS


def run(home: Home, day: str, *arguments: str) -> Result:
    """A command given on a Monday morning."""
    with pytest.MonkeyPatch.context() as clock:
        clock.setattr(command_line, "_now", lambda: datetime.fromisoformat(f"{day}T08:00:00Z"))
        return CliRunner().invoke(main, ["--home", str(home.folder), *arguments])


@pytest.fixture(scope="module")
def season(tiny_loaded: Home, tmp_path_factory: pytest.TempPathFactory) -> Home:
    """Three weeks: a list given out, one worked out afterwards, and this week's list."""
    home = Home(Path(shutil.copytree(tiny_loaded.folder, tmp_path_factory.mktemp("s") / "home")))
    for day, arguments in (
        (GIVEN_OUT, ["week"]),
        (NEWEST, ["backfill", "--since", BACKFILLED]),
        (NEWEST, ["week"]),
    ):
        done = run(home, day, *arguments)
        assert done.exit_code == 0, done.output
    return home


def kept(home: Home, monday: str) -> set[Keep]:
    labels = WeekStore(home.weeks).listed(WeekKey(monday)).outputs
    return {step.keep for step in GRAPH.steps.values() if step.label in labels}


def test_only_a_list_made_for_its_own_week_is_given_out(season: Home) -> None:
    store = WeekStore(season.weeks)
    made = {key.name: store.listed(key).made for key in store.weeks()}

    assert {name: one.is_given_out for name, one in made.items()} == {
        GIVEN_OUT: True,
        BACKFILLED: False,
        NEWEST: True,
    }
    assert made[GIVEN_OUT].at == f"{GIVEN_OUT}T08:00:00+00:00"
    assert made[GIVEN_OUT].by


def test_only_lists_given_out_count_as_said(season: Home) -> None:
    page = (season.site / NEWEST / "index.html").read_text()

    assert (
        "since the list given out on Mon 1 Jun 2026" in page
    )  # not since the week worked out afterwards


def test_every_week_is_there_for_the_score(season: Home) -> None:
    weeks = warehouse_at(season.database).read(
        "select distinct week from weeks.week_tables_chances order by week"
    )
    assert weeks["week"].to_list() == [GIVEN_OUT, BACKFILLED, NEWEST]
    for monday in (GIVEN_OUT, BACKFILLED, NEWEST):
        # the challenger's chances are kept beside the tool's own, so that the card can judge it
        week_table(season, "challenger_chances", key=monday)
    assert not (season.site / BACKFILLED).exists()  # chances and calls only


def test_a_list_given_out_is_not_written_over_in_a_later_week(season: Home) -> None:
    done = run(season, NEWEST, "week", "--as-of", GIVEN_OUT)

    assert done.exit_code == 1
    assert f"The list of the week of {GIVEN_OUT} was given out" in done.output
    assert "--restate" in done.output


def test_working_tables_stay_with_the_newest_week_alone(season: Home) -> None:
    assert Keep.WORKING in kept(season, NEWEST)
    assert Keep.WORKING not in kept(season, GIVEN_OUT)
    assert Keep.SOURCE in kept(season, GIVEN_OUT)


def test_a_paper_of_an_older_week_is_made_from_its_snapshot(season: Home) -> None:
    hull = next((season.site / GIVEN_OUT / "hulls").glob("*.html"))
    done = run(season, NEWEST, "customer-copy", hull.stem, "--as-of", GIVEN_OUT)

    assert done.exit_code == 0, done.output
    asked, copy = hull.read_text(), Path(done.output.strip()).read_text()
    assert asked[asked.index("<h1") : asked.index("</h1>")] in copy


def test_retention_leaves_what_was_given_out_whole(season: Home, tmp_path: Path) -> None:
    home = Home(Path(shutil.copytree(season.folder, tmp_path / "home")))
    before = site_of(home, WeekKey(GIVEN_OUT))
    newest = {path: path.read_bytes() for path in (home.weeks / NEWEST).iterdir()}

    done = run(home, NEWEST, "retention")

    assert done.exit_code == 0, done.output
    assert f"{GIVEN_OUT}: given out" in done.output
    assert kept(home, GIVEN_OUT) == {Keep.SAID, Keep.WEEK}
    assert site_of(home, WeekKey(GIVEN_OUT)) == before
    assert kept(home, BACKFILLED) == {Keep.SAID}
    assert {path: path.read_bytes() for path in newest} == newest
    assert not (home.site / GIVEN_OUT).exists()
    with closing(connect(home.dagster / "history" / "runs" / "index.db")) as log:
        runs = log.execute("select count(distinct run_id) from asset_check_executions").fetchone()
    assert runs == (1,), "checks of runs that are gone stay in Dagster's log"
    with pytest.MonkeyPatch.context() as browser:
        browser.setattr("webbrowser.open", lambda _: True)
        opened = run(home, NEWEST, "open", "--as-of", GIVEN_OUT)
    page = Path(opened.output.strip())
    assert page.read_bytes() == before["index.html"]
    refused = run(home, NEWEST, "hull-sheet", "--all", "--as-of", GIVEN_OUT)
    assert refused.exit_code == 1
    assert "holds no" in refused.output
    assert "Traceback" not in refused.output


def test_the_check_finds_a_week_that_was_changed(season: Home, tmp_path: Path) -> None:
    home = Home(Path(shutil.copytree(season.folder, tmp_path / "home")))
    next((home.weeks / GIVEN_OUT).glob("*calls.parquet")).write_bytes(b"")

    done = run(home, NEWEST, "check")

    assert done.exit_code == 1
    assert f"week of {GIVEN_OUT}: decision.week_decisions.calls.parquet was changed" in done.output
