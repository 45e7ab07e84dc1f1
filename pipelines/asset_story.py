"""What the Dagster page says of every asset beyond its docstring: question, owner, columns.

Owners are teams of an invented operator; a shop puts its own here.  Columns come from the
contracts, so that the page says the same as the warehouse's comments.
"""

from collections.abc import Mapping

import dagster as dg
import dataframely as dy

from pipelines.week_graph import GRAPH
from pipelines.week_views import WEEKS_SCHEMA
from pipelines.weekly.assets import table_name
from ringland.contracts.record_kinds import ALL_KINDS

QUESTIONS = {
    "intake": "What did people write down?",
    "history": "What was known when?",
    "bench": "What does a reading mean?",
    "fuel": "What was in the tank?",
    "exposure": "What was the engine asked to stand?",
    "risk": "Who fails next, and how sure are we?",
    "decision": "What do we do this week, and what does it cost?",
    "score": "Were we right?",
    "causes": "Why did this engine break, and what must it pass before it goes back?",
    "pages": "What does the operator read?",
}
"""What a room's assets answer."""

OWNERS = {
    "intake": "team:office",
    "history": "team:office",
    "bench": "team:engine-shop",
    "fuel": "team:fuel-dock",
    "exposure": "team:fuel-dock",
    "risk": "team:reliability",
    "decision": "team:workshop",
    "score": "team:reliability",
    "causes": "team:engine-shop",
    "pages": "team:office",
}
"""Who answers for a room's assets when one of them fails."""

_TABLES: Mapping[str, tuple[str, type[dy.Schema]]] = {
    **{f"intake.{name}": (f"shop_records.{name}", kind.schema) for name, kind in ALL_KINDS.items()},
    **{
        step.label: (f"{WEEKS_SCHEMA}.{table_name(step, place)}", schema)
        for step in GRAPH.steps.values()
        for place, schema in list(step.tables.items())[:1]
    },
}
"""The table of an asset as the warehouse calls it, and its contract."""


def told(asset: dg.AssetSpec) -> dg.AssetSpec:
    """The asset with its room's question and owner and, where it is a table, its columns."""
    room, name = asset.key.path[0], ".".join(asset.key.path)
    facts: dict[str, object] = {"question": QUESTIONS[room]}
    if name in _TABLES:
        table, schema = _TABLES[name]
        facts |= {"dagster/table_name": table, "dagster/column_schema": _columns(schema)}
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
