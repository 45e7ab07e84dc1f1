"""What the Dagster page says of every asset beyond its docstring: question, owner, columns.

Owners are teams of an invented operator; a shop puts its own here.  Columns come from the
contracts, so that the page says the same as the warehouse's comments.
"""

from collections.abc import Mapping

import dagster as dg
import dataframely as dy

from pipelines.week_checks import CONTRACTS
from ringland.contracts.record_kinds import ALL_KINDS

QUESTIONS = {
    "shop_records": "What did people write down?",
    "fuel_exposure": "What did each engine burn, against what it needed?",
    "fleet_risk": "Who fails next, how sure are we, and were we right?",
    "service_week": "What do we do this week, and what does it cost?",
    "failure_causes": "Why did this engine break, and what must it pass before it goes back?",
    "week_pages": "What does the operator read?",
}
"""What a room's assets answer."""

OWNERS = {
    "shop_records": "team:office",
    "fuel_exposure": "team:fuel-dock",
    "fleet_risk": "team:reliability",
    "service_week": "team:workshop",
    "failure_causes": "team:engine-shop",
    "week_pages": "team:office",
}
"""Who answers for a room's assets when one of them fails."""

_TABLES: Mapping[str, type[dy.Schema]] = {
    **{f"shop_records.{name}": kind.schema for name, kind in ALL_KINDS.items()},
    **{table: schema for _, table, schema in CONTRACTS},
}
"""The contract of each table by its name in the warehouse."""


def told(asset: dg.AssetSpec) -> dg.AssetSpec:
    """The asset with its room's question and owner and, where it is a table, its columns."""
    room, name = asset.key.path[0], ".".join(asset.key.path)
    facts: dict[str, object] = {"question": QUESTIONS[room]}
    if name in _TABLES:
        facts |= {"dagster/table_name": name, "dagster/column_schema": _columns(_TABLES[name])}
    return asset.replace_attributes(owners=[OWNERS[room]]).merge_attributes(metadata=facts)


def _columns(schema: type[dy.Schema]) -> dg.TableSchema:
    return dg.TableSchema(
        columns=[
            dg.TableColumn(
                name=name,
                type=str(column.dtype),
                description=getattr(column, "description", None),
                constraints=dg.TableColumnConstraints(nullable=column.nullable),
            )
            for name, column in schema.columns().items()
        ]
    )
