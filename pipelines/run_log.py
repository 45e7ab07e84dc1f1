"""Dagster's log of runs in SQLite, written without waiting for the disk at every line.

Dagster opens a connection for each event and closes it again.  The last to close a file in WAL
mode folds its log up, and every commit waits for the disk (a tenth of a week's time).  While a
run lasts one connection to each file is held open here, and commits are synchronous=NORMAL:
a power cut may cost the last lines of this log, never the file (SQLite, "PRAGMA synchronous").
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import event
from sqlalchemy.engine import Engine


@contextmanager
def quick_log(folder: Path) -> Iterator[None]:
    """Spare the disk at the SQLite files below a folder while the block lasts."""
    held: dict[str, sqlite3.Connection] = {}

    def connected(connection: Any, _record: object) -> None:
        if not isinstance(connection, sqlite3.Connection):
            return
        path = connection.execute("PRAGMA database_list").fetchone()[2]
        if not path or folder.resolve() not in Path(path).resolve().parents:
            return
        connection.execute("PRAGMA synchronous=NORMAL")
        if path not in held:
            held[path] = sqlite3.connect(path, check_same_thread=False)
        held[path].execute("SELECT 1 FROM sqlite_master").fetchone()  # joins in a WAL begun since

    event.listen(Engine, "connect", connected)
    try:
        yield
    finally:
        event.remove(Engine, "connect", connected)
        for connection in held.values():
            connection.close()
