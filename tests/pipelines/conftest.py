"""Runs that many tests only read; a test that changes things makes its own or takes a copy."""

import sqlite3
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
import sqlalchemy
from alembic.script import ScriptDirectory
from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.home import Home
from ringland.settings.assumptions import Assumptions
from synthetic_data.fleet_simulator import simulate_fleet
from synthetic_data.record_files import write_records
from tests.built_once import BuiltOnce
from tests.pipelines.demo_run import FEW_HULLS, DemoRun, load, run_week
from tests.pipelines.tiny_shop import write_tiny


@sqlalchemy.event.listens_for(sqlalchemy.Engine, "connect")
def do_not_wait_for_the_disk(connection: object, _: object) -> None:
    """Dagster writes its run history a thousand times a week; a test's need not outlive a crash."""
    if isinstance(connection, sqlite3.Connection):
        connection.execute("pragma synchronous = off")


# Every new home's log and every run's own reads some hundred scripts of Dagster's schema anew.
ScriptDirectory.from_config = cache(ScriptDirectory.from_config)


@pytest.fixture(scope="session")
def demo(built_once: BuiltOnce) -> DemoRun:
    def make(folder: Path) -> None:
        asked: set[str] = set()
        with pytest.MonkeyPatch.context() as listening:
            listening.setattr(Assumptions, "number", noted(Assumptions.number, asked))
            run = CliRunner().invoke(main, ["--home", str(folder), "demo"], catch_exceptions=False)
        assert run.exit_code == 0, run.output
        (folder / "printed.txt").write_text(run.output, encoding="utf-8")
        (folder / "asked.txt").write_text("\n".join(sorted(asked)), encoding="utf-8")

    folder = built_once("demo", make)
    printed, asked = (
        (folder / name).read_text(encoding="utf-8") for name in ("printed.txt", "asked.txt")
    )
    return DemoRun(Home(folder / "demo"), printed, frozenset(asked.splitlines()))


def noted(number: Callable[[Assumptions, str], float], asked: set[str]) -> Callable[..., float]:
    """The same, noting the name of every setting whose value somebody asks for."""

    def note(settings: Assumptions, name: str) -> float:
        asked.add(name)
        return number(settings, name)

    return note


@pytest.fixture(scope="session")
def few_records(built_once: BuiltOnce) -> Path:
    """The record files of a small fleet."""
    return built_once(
        "records", lambda folder: write_records(simulate_fleet(FEW_HULLS, 11), folder)
    )


@pytest.fixture(scope="session")
def few_loaded(built_once: BuiltOnce, few_records: Path) -> Home:
    """A home with the records of the small fleet, no week worked out.  Not to be changed."""
    return Home(built_once("few-loaded", lambda folder: load(Home(folder).prepare(), few_records)))


@pytest.fixture(scope="session")
def few_week(built_once: BuiltOnce, few_records: Path) -> Home:
    """A home with the small fleet's demo week worked out.  Not to be changed."""

    def make(folder: Path) -> None:
        home = Home(folder).prepare()
        load(home, few_records)
        run_week(home)

    return Home(built_once("few-week", make))


@pytest.fixture(scope="session")
def tiny_loaded(built_once: BuiltOnce, tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A home with the records of two hulls, no week worked out.  Not to be changed."""

    def make(folder: Path) -> None:
        home = Home(folder).prepare()
        load(home, write_tiny(tmp_path_factory.mktemp("tiny")))
        aside = (folder / "set-aside.csv").read_text().splitlines()[1:]
        assert aside == [], "a shop whose own rows are refused tests nothing"

    return Home(built_once("tiny-loaded", make))


@pytest.fixture
def new_home(tmp_path: Path) -> Callable[[str], Home]:
    """A maker of empty homes."""
    return lambda name: Home(tmp_path / name).prepare()
