"""The rebuild comparison as sentences and table rows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.rebuilds import rebuild_words as said
from ringland.rebuilds.rebuild_comparison import RebuildComparison
from ringland.words.fixed_words import MODE_LABELS
from ringland.words.number_words import (
    UNKNOWN,
    chance_text,
    number_text,
    price_text,
    range_text,
)

Rows = tuple[tuple[str, ...], ...]
LARGE = 100.0
"""From here on a ratio or a rate says nothing by its decimals."""


def group_rows(comparison: RebuildComparison, currency: str) -> Rows:
    """Life and cost of each kind of rebuild."""
    return tuple(
        (
            row["group"],
            str(row["builds"]),
            str(row["failures"]),
            number_text(row["engine_h"], 0),
            number_text(row["per_1000_h"], 2),
            _limits(row["low"], row["high"], 2),
            price_text(row["cost_per_h"], currency),
            UNKNOWN
            if row["cost_low"] is None
            else said.FROM_TO.format(
                low=price_text(row["cost_low"], currency), high=_open(row["cost_high"], currency)
            ),
        )
        for row in comparison.groups.iter_rows(named=True)
    )


def comeback_rows(comebacks: pl.DataFrame) -> Rows:
    """Comebacks of each mechanic, machinist and part batch, with honest ranges."""
    return tuple(
        (
            row["kind"],
            row["name"],
            str(row["builds"]),
            str(row["comebacks"]),
            number_text(row["engine_h"], 0),
            number_text(row["per_1000_h"], 2),
            _limits(row["low"], row["high"], 2),
            _against_rest(row),
        )
        for row in comebacks.iter_rows(named=True)
    )


def _against_rest(row: Mapping[str, Any]) -> str:
    if row["ratio"] is None:
        return said.NOBODY_ELSE
    if math.isinf(row["ratio"]):
        return said.REST_HAD_NONE.format(low=number_text(row["ratio_low"], 2))
    ratio, low, high = (
        said.OPEN_END if math.isinf(row[name]) else number_text(row[name], 2)
        for name in ("ratio", "ratio_low", "ratio_high")
    )
    return said.AGAINST_REST.format(ratio=ratio, low=low, high=high)


def mode_rows(comparison: RebuildComparison) -> Rows:
    """Share failed by each mode, with the others competing."""
    return tuple(
        (
            row["group"],
            MODE_LABELS.get(row["mode"], row["mode"]),
            str(row["failures"]),
            chance_text(row["incidence"]),
            range_text(row["low"], row["high"]),
        )
        for row in comparison.modes.iter_rows(named=True)
    )


def ratio_rows(comparison: RebuildComparison) -> Rows:
    """Each ratio with its limits and what stands behind it."""
    return tuple(
        (
            row["reads"],
            said.HELD_ALIKE if row["adjusted"] else said.AS_IT_CAME,
            _number(row["hazard_ratio"], 2),
            _limits(row["low"], row["high"], 2),
            said.BEHIND_IT.format(failures=row["failures"], builds=row["builds"]),
            row["method"],
        )
        for row in comparison.ratios.iter_rows(named=True)
    )


def answer_lines(comparison: RebuildComparison) -> tuple[str, ...]:
    """Whether the record can tell the kinds of rebuild apart, in plain words."""
    lines = []
    for row in comparison.ratios.iter_rows(named=True):
        held = said.USE_HELD_ALIKE if row["adjusted"] else said.AS_IT_CAME
        compared = row["reads"].capitalize()
        lines.append(said.ANSWER.format(compared=compared, how=held, verdict=_verdict(row)))
    return (*(lines or [said.NOTHING_TO_COMPARE]), *comparison.notes)


def _verdict(row: Mapping[str, Any]) -> str:
    if row["is_doubtful"]:
        return said.DOUBTFUL.format(failures=row["failures"])
    if row["low"] > 1:
        return said.MORE_FAILURES
    if row["high"] < 1:
        return said.FEWER_FAILURES
    return said.CANNOT_TELL.format(low=_number(row["low"], 2), high=_number(row["high"], 2))


def _number(value: float | None, digits: int) -> str:
    if value == math.inf:
        return said.WITHOUT_LIMIT
    return number_text(value, digits if value is None or value < LARGE else 0)


def _limits(low: float | None, high: float | None, digits: int) -> str:
    if low is None or high is None:
        return UNKNOWN
    return said.FROM_TO.format(low=_number(low, digits), high=_number(high, digits))


def _open(value: float, currency: str) -> str:
    return said.WITHOUT_LIMIT if value == math.inf else price_text(value, currency)
