"""The command line itself: quick to answer, and every command in its list."""

import subprocess
import sys

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
