"""The rebuild comparison as sentences and table rows."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from ringland.failure_causes.rebuild_comparison import RebuildComparison
from ringland.wording.fixed_words import MODE_LABELS
from ringland.wording.number_words import (
    UNKNOWN,
    chance_text,
    number_text,
    price_text,
    range_text,
)

Rows = tuple[tuple[str, ...], ...]

GROUP_HEADINGS = (
    "Rebuild",
    "Builds",
    "Failures",
    "Engine hours since",
    "Failures per 1,000 h",
    "95 % limits",
    "Cost per engine hour so far",
    "95 % limits",
)
MODE_HEADINGS = ("Rebuild", "Failure", "Count", "Failed by then", "95 % limits")
RATIO_HEADINGS = ("Compared", "Use and fuel", "Hazard ratio", "95 % limits", "Behind it", "How")

CHOSEN = (
    "The shop chose which engine got which rebuild, so these figures say what goes with a "
    "kind of rebuild. They do not prove that the rebuild made the difference."
)


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
            else f"{price_text(row['cost_low'], currency)} to {_open(row['cost_high'], currency)}",
        )
        for row in comparison.groups.iter_rows(named=True)
    )


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
            "held alike" if row["adjusted"] else "as it came",
            _number(row["hazard_ratio"], 2),
            _limits(row["low"], row["high"], 2),
            f"{row['failures']} failures, {row['builds']} builds",
            row["method"],
        )
        for row in comparison.ratios.iter_rows(named=True)
    )


def answer_lines(comparison: RebuildComparison) -> tuple[str, ...]:
    """Whether the record can tell the kinds of rebuild apart, in plain words."""
    lines = []
    for row in comparison.ratios.iter_rows(named=True):
        held = "with use and fuel held alike" if row["adjusted"] else "as it came"
        lines.append(f"{row['reads'].capitalize()}, {held}: {_verdict(row)}")
    return (*(lines or ["No failure after a rebuild is on record: nothing to compare."]),
            *comparison.notes)  # fmt: skip


def _verdict(row: Mapping[str, Any]) -> str:
    if row["low"] > 1:
        return "it goes with more failures in this record."
    if row["high"] < 1:
        return "it goes with fewer failures in this record."
    return (
        f"the record cannot tell them apart; anything from {_number(row['low'], 2)} to "
        f"{_number(row['high'], 2)} times the hazard agrees with it."
    )


def _number(value: float | None, digits: int) -> str:
    return "without limit" if value == math.inf else number_text(value, digits)


def _limits(low: float | None, high: float | None, digits: int) -> str:
    if low is None or high is None:
        return UNKNOWN
    return f"{_number(low, digits)} to {_number(high, digits)}"


def _open(value: float, currency: str) -> str:
    return "without limit" if value == math.inf else price_text(value, currency)
