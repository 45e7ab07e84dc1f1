"""Two docks of two operators, three hulls, a fill: the ground that entries are held against."""

from datetime import UTC, datetime
from uuid import uuid4

import polars as pl

from ringland.contracts.record_kinds import ALL_KINDS
from ringland.dockside.entries import Entry, StampedEntry
from ringland.dockside.ground import Ground
from ringland.intake.intake import take_in_file

NOW = datetime(2026, 8, 18, 12, tzinfo=UTC)
CAME = "2026-05-01T00:00:00Z"


def small_files(zone: str = "UTC") -> dict[str, str]:
    """Their record files by kind."""
    return {
        "docks": f"dock_id,time_zone,operator\nnorth,{zone},us\nsouth,{zone},them\n",
        "hulls": "hull_id,dock_id,tank_l,in_service_at\n"
        f"A1,north,70,{CAME}\nA2,north,70,{CAME}\nB1,south,70,{CAME}\n",
        "engines": "engine_id,family,induction,cylinders,first_recorded_at,"
        f"first_recorded_engine_h\nE1,S3,supercharged,3,{CAME},0\nE2,S3,supercharged,3,{CAME},0\n"
        f"E3,S3,supercharged,3,{CAME},0\n",
        "installations": "engine_id,hull_id,installed_at,removed_at\n"
        f"E1,A1,{CAME},2026-06-01T00:00:00Z\nE1,B1,2026-06-02T00:00:00Z,\nE2,A2,{CAME},\n"
        "E3,A1,2026-06-02T00:00:00Z,\n",
        "fills": "hull_id,filled_at,volume_l,source,octane_aki\n"
        "A1,2026-08-01T09:00:00Z,30,outside,91\n",
    }


def shop(zone: str = "UTC") -> Ground:
    """The ground."""
    records: dict[str, pl.DataFrame] = {}
    files = small_files(zone)
    for name, kind in ALL_KINDS.items():
        header = ",".join(kind.schema.column_names()) + "\n"
        text = files.get(name, header)
        known = {k: set(records[k][ALL_KINDS[k].key[0]]) for k in kind.refers_to.values()}
        records[name] = take_in_file(kind, f"{name}.csv", text.encode(), known).loaded
    return Ground(records, "us")


def entry(kind: str, cells: dict[str, str]) -> Entry:
    """An entry."""
    return Entry(str(uuid4()), kind, cells, NOW)


def stamped(one: Entry) -> StampedEntry:
    """The same, received now."""
    return StampedEntry(one, "H. Quist", "a phone", NOW)
