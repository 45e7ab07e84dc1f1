"""Teardown frames made from short rows."""

from collections.abc import Iterable
from datetime import UTC, datetime

import polars as pl

from ringland.shop_records.contracts import Teardowns

OPENED = datetime(2025, 7, 1, 9, tzinfo=UTC)


def teardown(
    seen: Iterable[str] = (),
    not_seen: Iterable[str] = (),
    not_looked_at: Iterable[str] = (),
    engine_id: str = "E1",
    opened_at: datetime = OPENED,
) -> pl.DataFrame:
    """Rows from 'part | finding' or 'cylinder | part | finding'."""
    rows = []
    states = {"seen": seen, "not_seen": not_seen, "not_looked_at": not_looked_at}
    for state, entries in states.items():
        for entry in entries:
            *cylinder, part, finding = (piece.strip() for piece in entry.split("|"))
            rows.append(
                {
                    "engine_id": engine_id,
                    "opened_at": opened_at,
                    "cylinder": int(cylinder[0]) if cylinder else None,
                    "part": part,
                    "finding": finding,
                    "state": state,
                }
            )
    schema = {name: column.dtype for name, column in Teardowns.columns().items()}
    return pl.DataFrame(rows, schema=schema)
