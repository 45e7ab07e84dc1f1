"""Runs that many tests only read; a test that changes things makes its own or takes a copy."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.home import Home
from synthetic_data.fleet_simulator import simulate_fleet
from synthetic_data.record_files import write_records
from tests.pipelines.demo_run import FEW_HULLS, DemoRun, load, run_week
from tests.pipelines.tiny_shop import write_tiny


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoRun:
    folder = tmp_path_factory.mktemp("demo")
    run = CliRunner().invoke(main, ["--home", str(folder), "demo"], catch_exceptions=False)
    assert run.exit_code == 0, run.output
    return DemoRun(Home(folder / "demo"), run.output)


@pytest.fixture(scope="session")
def few_records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The record files of a small fleet."""
    folder = tmp_path_factory.mktemp("records")
    write_records(simulate_fleet(FEW_HULLS, 11), folder)
    return folder


@pytest.fixture(scope="session")
def few_loaded(tmp_path_factory: pytest.TempPathFactory, few_records: Path) -> Home:
    """A home with the records of the small fleet, no week worked out.  Not to be changed."""
    home = Home(tmp_path_factory.mktemp("few") / "home").prepare()
    load(home, few_records)
    return home


@pytest.fixture(scope="session")
def few_week(tmp_path_factory: pytest.TempPathFactory, few_records: Path) -> Home:
    """A home with the small fleet's demo week worked out.  Not to be changed."""
    home = Home(tmp_path_factory.mktemp("few") / "home").prepare()
    load(home, few_records)
    run_week(home)
    return home


@pytest.fixture(scope="session")
def tiny_loaded(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A home with the records of two hulls, no week worked out.  Not to be changed."""
    folder = tmp_path_factory.mktemp("tiny")
    home = Home(folder / "home").prepare()
    load(home, write_tiny(folder / "records"))
    aside = (home.folder / "set-aside.csv").read_text().splitlines()[1:]
    assert aside == [], "a shop whose own rows are refused tests nothing"
    return home


@pytest.fixture
def new_home(tmp_path: Path) -> Callable[[str], Home]:
    """A maker of empty homes."""
    return lambda name: Home(tmp_path / name).prepare()
