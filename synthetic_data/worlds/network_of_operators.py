"""Many invented operators, each a world of its own with its own docks, hulls and engines.

One operator is made at a time, so that a network of any size is made in the memory of one.
"""

from __future__ import annotations

from io import StringIO

import polars as pl

from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.world_shapes import SHAPES, draw_world

_IDS = ("dock_id", "source_dock_id", "hull_id", "engine_id", "piston_set_id")


def operator_files(number: int, hulls: int, seed: int, season_days: int = 153) -> dict[str, str]:
    """One operator's record files, CSV by kind, over three seasons, the last cut off.

    The same arguments give the same files, whatever other operators are made.  Shapes of worlds
    take turns; every id begins with the operator's number, so no two operators share one.

    Args:
        number: of the operator, from 1.
        hulls: how many it has.
        seed: of the whole network.
        season_days: days of the last season that are on record.
    """
    shapes = list(SHAPES)
    fleet = LivingFleet(draw_world(shapes[number % len(shapes)], hulls, seed * 1000 + number))
    fleet.live_to(fleet.world.opening(fleet.world.years[-1]) + season_days)
    return {kind: _named(kind, text, number) for kind, text in fleet.hand_in().items()}


def _named(kind: str, text: str, number: int) -> str:
    rows = pl.read_csv(StringIO(text), infer_schema=False)
    named = rows.with_columns(
        pl.concat_str(pl.lit(f"{number:03d}-"), name).alias(name)
        for name in _IDS
        if name in rows.columns
    )
    if kind == "docks":
        named = named.with_columns(operator=pl.lit(f"operator {number:03d}"))
    return named.write_csv()
