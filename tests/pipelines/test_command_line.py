"""The command line itself: quick to answer, and every command in its list."""

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.home import Home

HEAVY = ("dagster", "duckdb", "numba", "numpy", "plotly", "polars", "scipy", "sklearn")


def test_asking_for_help_imports_no_statistics() -> None:
    """It took seconds on a laptop to read what the commands are."""
    code = (
        "import sys; from click.testing import CliRunner; from pipelines.command_line import main; "
        "done = CliRunner().invoke(main, ['--help']); assert done.exit_code == 0; "
        f"print(sorted(set({HEAVY!r}) & set(sys.modules)))"
    )

    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)

    assert told.stdout.strip() == "[]"


@pytest.mark.parametrize("command", ["open", "today", "jobs"])
def test_a_home_without_a_week_says_where_the_demo_lies(command: str, tmp_path: Path) -> None:
    """Found in use: after `ringland demo` a newcomer was told that no week is worked out yet."""
    demo = Home(tmp_path / "demo").prepare()
    asked = ["--home", str(tmp_path), command]

    before = CliRunner().invoke(main, asked)
    demo.mark_as_demo()
    after = CliRunner().invoke(main, asked)

    assert str(demo.folder) not in before.output
    assert f"ringland --home {demo.folder} ..." in " ".join(after.output.split())
    assert before.exit_code == after.exit_code == 1
