"""Readings that cannot be: what no instrument shows, no engine gives, or only a dead gauge.

Such a reading says nothing of the engine, good or bad.  It is named as a doubt, and it
takes no part in judging the readings beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import exact_text

NO_LEAK = (
    "a leak of nothing cannot be, every ring gap leaks a little: look whether the air was on and "
    "reached the cylinder, and set the gauge again"
)
"""Common practice, no source: a new engine reads 1 % and more, so 0 is the tester's."""

_NEVER_ZERO = {
    **dict.fromkeys(
        ("ring_end_gap", "bearing_clearance"), "{shown} cannot be: nothing was measured"
    ),
    "leak_down": NO_LEAK,
}
"""Gaps, without which an engine does not turn, and what goes through them."""

_DEAD_GAUGE = {
    "compression": ((0.0,), "every cylinder reads 0: look whether the gauge was connected"),
    "leak_down": (
        (100.0,),
        "every cylinder reads the end of the scale: look whether supply and gauge were "
        "connected and set",
    ),
    "valve_seal_vacuum": ((0.0,), "every port reads 0: look whether pump and gauge were connected"),
}
"""Readings that, on every place of a test at once, speak of the tester; and what to say."""


def why_it_cannot_be(
    measure: str, value: float, supply: float | None, limits: Assumptions
) -> str | None:
    """Why one reading, whatever stands beside it, cannot be; None: it can.

    Args:
        measure: a measure of the Inspections contract.
        value: the reading in the measure's standard unit.
        supply: kPa of air a leak-down in pressure was fed with; None: no such reading.
        limits: `<measure>.most`, the end of the scale of instrument or engine, and
            `leak_down.most_supply`.
    """
    if supply is not None and not 0 < supply <= limits.number("leak_down.most_supply"):
        return (
            f"a leak-down with {exact_text(supply, 'kPa')} of supply cannot be: write the supply "
            f"gauge's reading"
        )
    if not math.isfinite(value):
        return "no number was read"
    most = limits[f"{measure}.most"]
    shown = exact_text(round(value, 3), most.unit)
    if value < 0:
        return f"{shown}, below zero, cannot be: check the sign, and the zero of the gauge"
    if value == 0 and measure in _NEVER_ZERO:
        return _NEVER_ZERO[measure].format(shown=shown)
    if value > most.value:
        return (
            f"{shown} cannot be, the most is {exact_text(most.value, most.unit)}: check the unit "
            f"and the decimal point"
        )
    return None


def with_dead_gauges(rows: pl.DataFrame) -> pl.DataFrame:
    """Say of every reading of a test what only a tester that was not connected can show.

    0 in one cylinder beside good ones is a dead cylinder and stays a reading; 0 in all of
    two or more is not.

    Args:
        rows: engine_id, inspected_at, measure, standard_value, cannot_be (null: it can be).

    Returns:
        `rows` with `cannot_be` filled where a whole test shows it.
    """
    test = ["engine_id", "inspected_at", "measure"]
    value = pl.when(pl.col("cannot_be").is_null()).then(pl.col("standard_value"))
    is_same = (value.count().over(test) >= 2) & (value.min().over(test) == value.max().over(test))
    why = pl.lit(None, pl.String)
    for measure, (ends, said) in _DEAD_GAUGE.items():
        is_dead = is_same & (pl.col("measure") == measure) & value.is_in(list(ends))
        why = pl.when(is_dead).then(pl.lit(said)).otherwise(why)
    return rows.with_columns(cannot_be=pl.coalesce("cannot_be", why))


def is_number(reading: Mapping[str, Any], name: str) -> bool:
    """Whether a figure a judgement needs beside its reading is there and above zero."""
    value = reading[name]
    return value is not None and math.isfinite(value) and value > 0
