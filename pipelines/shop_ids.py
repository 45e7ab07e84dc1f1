"""What a shop has on record that names things: its docks, hulls and engines, and their clocks."""

from pipelines.duckdb_warehouse import record_rows, warehouse_at
from pipelines.home import Home
from pipelines.record_loading import dock_clocks
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.mapping.column_evidence import OnRecord

_OCTANES = ("octane_aki", "octane_ron", "octane_mon", "octane_unlabelled")
_NAMED = ("docks", "hulls", "engines")


def shop_on_record(home: Home) -> OnRecord:
    """The ids on record by kind, the docks' clocks and countries; nothing where none is loaded."""
    if not home.database.exists():
        return OnRecord()
    with warehouse_at(home.database).connect() as con:
        ids = {kind: record_rows(con, kind)[RECORD_KINDS[kind].key[0]].to_list() for kind in _NAMED}
        countries = record_rows(con, "docks")["country"].drop_nulls().unique().to_list()
        return OnRecord(ids, dock_clocks(con), countries)


def octanes_met(home: Home) -> list[float]:
    """The octane numbers of the deliveries and fills on record."""
    if not home.database.exists():
        return []
    with warehouse_at(home.database).connect() as con:
        met = {
            octane
            for kind in ("deliveries", "fills")
            for name in _OCTANES
            for octane in record_rows(con, kind)[name].drop_nulls().unique()
        }
    return sorted(met)
