"""A process of its own that loads a folder, for tests that kill it or race it.

It says "ready" when all is imported, so that a kill after the go meets the load and not the
imports.  Run as: python -m tests.pipelines.load_worker HOME RECORDS
"""

import sys
from pathlib import Path

from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.mended_loading import load_corrections, load_mended
from pipelines.record_loading import load_kind

KINDS = ("docks", "hulls", "fills", "sessions")


def load_all(home: Home, records: Path) -> None:
    warehouse = warehouse_at(home.database)
    for kind in KINDS:
        load_kind(warehouse, home.raw, kind, records, home.mappings)
        load_mended(warehouse, home.raw, kind, records)
    load_corrections(warehouse, home.raw, records)


if __name__ == "__main__":
    sys.stdout.write("ready\n")
    sys.stdout.flush()
    sys.stdin.readline()
    load_all(Home(Path(sys.argv[1])), Path(sys.argv[2]))
