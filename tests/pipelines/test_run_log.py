"""Dagster's log in SQLite while a run lasts: held open, and whole afterwards."""

import sqlite3
from pathlib import Path

from sqlalchemy import create_engine, text
from sqlalchemy.pool import NullPool

from pipelines.run_log import quick_log


def write(path: Path, number: int) -> int:
    """Add a row by a connection of its own, as Dagster does; its `PRAGMA synchronous`."""
    with create_engine(f"sqlite:///{path}", poolclass=NullPool).connect() as con:
        con.execute(text("PRAGMA journal_mode=WAL"))
        con.execute(text("CREATE TABLE IF NOT EXISTS lines (number INT)"))
        con.execute(text("INSERT INTO lines VALUES (:n)"), {"n": number})
        con.commit()
        return int(con.execute(text("PRAGMA synchronous")).scalar_one())


def test_the_log_is_folded_up_once_at_the_end_and_whole(tmp_path: Path) -> None:
    folder = tmp_path / "dagster"
    folder.mkdir()
    path, wal = folder / "runs.db", folder / "runs.db-wal"

    with quick_log(folder):
        modes = [write(path, number) for number in range(3)]
        assert wal.exists()  # nobody folded it up in between

    assert modes == [1, 1, 1]  # NORMAL
    assert not wal.exists()
    con = sqlite3.connect(path)
    assert con.execute("SELECT number FROM lines").fetchall() == [(0,), (1,), (2,)]
    con.close()


def test_files_elsewhere_and_later_wait_for_the_disk_as_ever(tmp_path: Path) -> None:
    folder = tmp_path / "dagster"
    folder.mkdir()
    usual = write(tmp_path / "other.db", 1)

    with quick_log(folder):
        assert write(tmp_path / "other.db", 1) == usual

    assert write(folder / "runs.db", 1) == usual
