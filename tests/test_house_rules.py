"""The rules every file keeps: lint, format, types, imports, pins without hosts, module sizes."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent
CODE = [*(ROOT / "src").rglob("*.py"), *(ROOT / "pipelines").rglob("*.py"),
        *(ROOT / "synthetic_data").rglob("*.py")]  # fmt: skip


def tracked_files() -> list[Path]:
    listing = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True
    ).stdout
    return [ROOT / name for name in listing.split("\0") if name and (ROOT / name).is_file()]


@pytest.mark.parametrize(
    "command",
    [["ruff", "check"], ["ruff", "format", "--check"], ["mypy"], ["lint-imports"]],
    ids=["lint", "format", "types", "imports"],
)
def test_tool_finds_no_fault(command: list[str]) -> None:
    tool, *arguments = command
    run = subprocess.run(
        [BIN / tool, *arguments], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr


def test_both_pin_lists_hold_the_same_versions() -> None:
    lock = (ROOT / "requirements.txt").read_text()
    pinned = re.findall(r"^([A-Za-z0-9_.\-]+==[^\\\n]+?)\s*\\?$", lock, re.MULTILINE)
    pyproject = tomllib.loads((ROOT / "pyproject.toml").read_text())

    assert len(pinned) > 50
    assert [pin.strip() for pin in pinned] == pyproject["tool"]["uv"]["constraint-dependencies"]


def test_no_lock_or_settings_file_holds_an_address() -> None:
    for path in tracked_files():
        if path.suffix in {".txt", ".toml", ".lock", ".json", ".cfg"} or ".ci" in path.parts:
            text = path.read_text(encoding="utf-8", errors="replace")
            assert not re.search(r"https?://", text), path


def test_no_file_holds_a_path_of_one_machine() -> None:
    machine_path = re.compile(r"(?:^|[^A-Za-z0-9_.])/" + r"(?:work|root|farm|home/\w+)/")
    for path in tracked_files():
        if path.suffix not in {".png", ".jpg", ".parquet", ".xlsx", ".pdf"}:
            match = machine_path.search(path.read_text(encoding="utf-8", errors="replace"))
            assert match is None, f"{path}: {match.group(0) if match else ''}"


def test_no_module_is_longer_than_one_idea() -> None:
    long = {
        str(path.relative_to(ROOT)): lines
        for path in CODE
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 350
    }
    assert long == {}


def test_readme_opens_with_the_job() -> None:
    opening = (ROOT / "README.md").read_text(encoding="utf-8").split("\n\n")[1]
    for word in ("ring land", "fuel", "week", "records"):
        assert word in opening


def test_ci_calls_exactly_the_readmes_test_command() -> None:
    commands = re.findall(r"^```\n(.+)\n```$", (ROOT / "README.md").read_text(), re.MULTILINE)
    (test_command,) = [command for command in commands if command.endswith("pytest")]

    assert (ROOT / ".ci" / "run").read_text().splitlines()[-1] == test_command
