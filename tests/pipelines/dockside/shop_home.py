"""The small shop in a home, loaded without the graph, which takes seconds to begin."""

from pathlib import Path

from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.record_loading import load_kind
from ringland.contracts.record_kinds import RECORD_KINDS
from tests.dockside.small_shop import small_files


def loaded_home(folder: Path) -> Home:
    """A home with the shop's records."""
    home = Home(folder).prepare()
    records = folder.with_name("records")
    records.mkdir(exist_ok=True)
    for kind, text in small_files().items():
        (records / f"{kind}.csv").write_text(text, encoding="utf-8")
    warehouse = warehouse_at(home.database)
    for kind in RECORD_KINDS:
        load_kind(warehouse, home.raw, kind, records)
    return home
