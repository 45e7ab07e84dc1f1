"""The small shop in a home, loaded without the graph, which takes seconds to begin."""

from datetime import datetime, timedelta
from pathlib import Path

from pipelines.dockside.certificates import own_certificates
from pipelines.dockside.journal import Journal
from pipelines.dockside.people import People
from pipelines.dockside.taking_in import take_journal_in
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import SESSIONS, Home
from pipelines.record_loading import load_kind
from ringland.contracts.record_kinds import RECORD_KINDS
from tests.dockside.small_shop import entry, small_files, stamped


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


def open_dockside(home: Home, now: datetime) -> None:
    """All that a dockside server leaves in a home: two entries, the second not taken in yet."""
    hull = warehouse_at(home.database).read("from shop_records.hulls")["hull_id"].sort()[0]
    for minute in (1, 2):
        cells = {"hull_id": hull, "filled_at": f"2026-08-16T09:{minute:02}:00Z", "volume_l": "5",
                 "source": "outside", "octane_aki": "91"}  # fmt: skip
        with Journal(home.dockside) as journal:
            journal.append([stamped(entry("fills", cells))])
        if minute == 1:
            take_journal_in(home)
    people = People(home.dockside)
    people.join(people.invite("Mia", "mechanic", now, None, None), "a long password", now)
    people.invite("Nils", "reader", now, None, None)
    people.link(hull, now + timedelta(days=1), "Mia")
    own_certificates(home.dockside, ["localhost"], now)
    (home.dockside / SESSIONS).write_text("{}", encoding="utf-8")
