"""Commands that only read leave the home as it is: not a byte, not a time, not a new file."""

import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from pipelines import command_line
from pipelines.command_line import main
from pipelines.home import Home
from tests.pipelines.demo_run import DEMO_WEEK
from tests.pipelines.dockside.shop_home import open_dockside

CHANGING = {
    "demo", "load", "week", "backfill", "done", "release", "rebuild", "restore", "retention",
    "graph", "draft", "hull-sheet", "customer-copy", "proof", "replace", "dockside",
    "dockside-people", "dockside-codes",
}  # fmt: skip
"""Commands whose product lies in the home: records, weeks, mappings, papers."""
READING = {
    "today": (),
    "changes": (),
    "jobs": ("--all",),
    "check": (),
    "open": (),
    "bundle": ("{beside}/bundle.zip",),
    "backup": ("{beside}/backup.zip",),
    "publish": ("{beside}/copy.duckdb",),
    "workbook": ("{beside}/book.xlsx",),
    "network": ("hand-in", "{beside}/network"),
}
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC
NOW = datetime.fromisoformat(f"{DEMO_WEEK}T12:00:00+00:00").astimezone(UTC)


class Heard:
    """The events by which Python changes files below a folder, while it listens."""

    def __init__(self) -> None:
        """Listen from now on; a process cannot stop it again."""
        self.folder: str | None = None
        self.events: list[str] = []
        sys.addaudithook(self._hear)

    @contextmanager
    def below(self, folder: Path) -> Iterator[list[str]]:
        """Collect what is changed below a folder."""
        self.folder, self.events = str(folder), []
        try:
            yield self.events
        finally:
            self.folder = None

    def _hear(self, event: str, arguments: tuple[Any, ...]) -> None:
        if self.folder is None or event not in _CHANGES or isinstance(arguments[0], int):
            return
        is_write = event != "open" or bool(int(arguments[2] or 0) & WRITES)
        if is_write and os.fsdecode(arguments[0]).startswith(self.folder):
            self.events.append(f"{event} {os.fsdecode(arguments[0])}")


_CHANGES = {"open", "os.rename", "os.remove", "os.link", "os.mkdir", "os.rmdir", "os.utime"}
HEARD = Heard()


@pytest.fixture(scope="module")
def home(few_week: Home, tmp_path_factory: pytest.TempPathFactory) -> Home:
    home = Home(Path(shutil.copytree(few_week.folder, tmp_path_factory.mktemp("read") / "home")))
    open_dockside(home, NOW)
    return home


def as_it_lies(home: Home) -> dict[str, tuple[int, int, bytes]]:
    return {
        path.relative_to(home.folder).as_posix(): (
            path.stat().st_size,
            path.stat().st_mtime_ns,
            b"" if path.is_dir() else path.read_bytes(),
        )
        for path in sorted(home.folder.rglob("*"))
    }


def test_every_command_is_said_to_read_or_to_change() -> None:
    assert CHANGING | READING.keys() == main.commands.keys()
    assert not CHANGING & READING.keys()


@pytest.mark.parametrize("command", READING)
def test_a_command_that_reads_writes_nothing_under_the_home(
    home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    """`changes` wrote its list into the home, and made a home where there was none."""
    monkeypatch.setattr(command_line, "_now", lambda: NOW)
    monkeypatch.setattr("webbrowser.open", lambda _: True)
    before = as_it_lies(home)
    arguments = [part.format(beside=tmp_path) for part in READING[command]]

    with HEARD.below(home.folder) as changed:
        run = CliRunner().invoke(main, ["--home", str(home.folder), command, *arguments])

    assert run.exit_code == (command == "check"), run.output  # an entry waits to be taken in
    assert (command == "today") == ("made at the dock counted, not taken in yet: 1" in run.output)
    assert changed == []
    assert as_it_lies(home) == before


@pytest.mark.parametrize("command", READING)
def test_a_command_that_reads_makes_no_home_where_there_is_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    monkeypatch.setattr("webbrowser.open", lambda _: True)
    arguments = [part.format(beside=tmp_path) for part in READING[command]]

    run = CliRunner().invoke(main, ["--home", str(tmp_path / "none"), command, *arguments])

    assert run.exception is None or isinstance(run.exception, SystemExit), run.exception
    assert not (tmp_path / "none").exists()
