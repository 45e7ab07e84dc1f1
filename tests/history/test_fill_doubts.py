"""Fills that were probably written twice, told from their neighbour in time."""

from datetime import UTC, datetime, timedelta

import polars as pl

from ringland.contracts.records import Fills
from ringland.history.fill_doubts import fills_written_twice
from ringland.settings.assumptions import load_assumptions

BEGIN = datetime(2026, 6, 1, 9, tzinfo=UTC)


def doubted(*rows: tuple[str, float, float]) -> list[datetime]:
    """When the doubted fills were, of rows of hull, minutes and litres."""
    types = {name: column.dtype for name, column in Fills.columns().items()}
    fills = pl.DataFrame(
        [
            {"hull_id": hull, "filled_at": BEGIN + timedelta(minutes=at), "volume_l": litres}
            for hull, at, litres in rows
        ],
        schema=types,
    )
    return fills_written_twice({"fills": fills}, load_assumptions())["noted_at"].to_list()


def test_a_fill_is_held_against_the_one_before_it() -> None:
    assert doubted(("H1", 0, 20.0), ("H1", 4, 20.0)) == [BEGIN + timedelta(minutes=4)]
    assert doubted(("H1", 0, 20.0), ("H2", 4, 20.0)) == []
    assert doubted(("H1", 0, 20.0), ("H1", 4, 35.0)) == []
    assert doubted(("H1", 0, 20.0), ("H1", 4, 35.0), ("H1", 8, 20.0)) == []
