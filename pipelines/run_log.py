"""Dagster's log of runs in SQLite, written without waiting for the disk at every line.

Dagster opens a connection for each event and closes it again.  The last to close a file in WAL
mode folds its log up, and every commit waits for the disk (a tenth of a week's time).  While a
run lasts one connection to each file is held open here, and commits are synchronous=NORMAL:
a power cut may cost the last lines of this log, never the file (SQLite, "PRAGMA synchronous").
It also makes an engine anew for each event, which compiles every statement anew; here one engine
a file serves the whole run, without a pool as before.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from dagster._core.storage.event_log.sqlite import sqlite_event_log
from dagster._core.storage.runs.sqlite import sqlite_run_storage
from dagster._core.storage.schedules.sqlite import sqlite_schedule_storage
from sqlalchemy import create_engine, event
from sqlalchemy.engine import Engine

_MAKER = "create_engine"
_STORES = (sqlite_event_log, sqlite_run_storage, sqlite_schedule_storage)


@contextmanager
def quick_log(folder: Path) -> Iterator[None]:
    """Spare the disk at the SQLite files below a folder while the block lasts."""
    held: dict[str, sqlite3.Connection] = {}
    home = folder.resolve()

    @cache
    def is_ours(path: str) -> bool:
        return bool(path) and home in Path(path).resolve().parents

    def connected(connection: Any, _record: object) -> None:
        if not isinstance(connection, sqlite3.Connection):
            return
        path = connection.execute("PRAGMA database_list").fetchone()[2]
        if not is_ours(path):
            return
        connection.execute("PRAGMA synchronous=NORMAL")
        if path not in held:
            held[path] = sqlite3.connect(path, check_same_thread=False)
        held[path].execute("SELECT 1 FROM sqlite_master").fetchone()  # joins in a WAL begun since

    engines: dict[str, Engine] = {}

    def engine_to(url: str, **options: Any) -> Engine:
        return engines.get(url) or engines.setdefault(url, create_engine(url, **options))

    event.listen(Engine, "connect", connected)
    for store in _STORES:
        setattr(store, _MAKER, engine_to)
    try:
        yield
    finally:
        for store in _STORES:
            setattr(store, _MAKER, create_engine)
        event.remove(Engine, "connect", connected)
        for connection in held.values():
            connection.close()
