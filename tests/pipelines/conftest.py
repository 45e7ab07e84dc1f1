"""One demo run for the tests that only read it; a test that changes things makes its own."""

from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.home import Home
from tests.pipelines.demo_run import DemoRun


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoRun:
    folder = tmp_path_factory.mktemp("demo")
    run = CliRunner().invoke(main, ["--home", str(folder), "demo"], catch_exceptions=False)
    assert run.exit_code == 0, run.output
    return DemoRun(Home(folder / "demo"), run.output)


@pytest.fixture
def new_home(tmp_path: Path) -> Callable[[str], Home]:
    """A maker of empty homes."""
    return lambda name: Home(tmp_path / name).prepare()
