"""The acceptance readings of a rebuild: target, limit, before, after, signature."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import MEASURE_LABELS
from ringland.words.number_words import (
    exact_text,
    figure_text,
    number_text,
    quantity_text,
    reading_text,
    share_text,
)


@dataclass(frozen=True)
class RebuildBasis:
    """One engine, what was read of it before the work, and what accepts the work."""

    engine: Mapping[str, Any]
    """Row of the Engines contract."""
    before: pl.DataFrame
    """`BenchVerdicts` of this engine from before the work."""
    after: pl.DataFrame
    """`BenchVerdicts` whose `rebuilt_at` is this rebuild's; empty while nothing is measured."""
    limits: Assumptions

    @property
    def cylinders(self) -> int:
        """Number of cylinders; 0: not on record."""
        return int(self.engine["cylinders"] or 0)

    @property
    def is_boosted(self) -> bool:
        """Whether the stricter limits for boost apply; they do where induction is unknown."""
        return bool(self.engine["induction"] != "naturally_aspirated")


_SIDES = ("intake", "exhaust")


@dataclass(frozen=True)
class AcceptanceLine:
    """One reading the engine must pass, and how it stands."""

    measure: str
    cylinder: int | None
    port: str | None
    target: str
    limit: str
    mark: str
    """Mark of the limit."""
    before: str
    after: str
    verdict: str
    """As judged; 'missing' where nothing was measured."""
    reason: str
    signed_by: str | None
    accepted_because: str | None

    @property
    def place(self) -> str:
        """Where it is measured, e.g. 'cylinder 2, exhaust'."""
        parts = [f"cylinder {self.cylinder}" if self.cylinder else "whole engine", self.port or ""]
        return ", ".join(part for part in parts if part)

    @property
    def obstacle(self) -> str | None:
        """Why the sheet cannot be closed on this line; None: it can."""
        name = f"{MEASURE_LABELS[self.measure]}, {self.place}"
        if self.verdict != "pass" and not self.accepted_because:
            return f"{name}: {self.verdict}, and no reason is recorded for letting it go."
        if not self.signed_by:
            return f"{name}: not signed."
        return None


def acceptance_lines(basis: RebuildBasis, wanted: Mapping[str, str]) -> tuple[AcceptanceLine, ...]:
    """One line per wanted reading, in the order of `wanted`.

    Args:
        basis: the engine and its readings; the latest per place is shown.
        wanted: measure -> 'port', 'cylinder' or 'engine'.  An unknown number of cylinders
            gives no line by cylinder or port.
    """
    before, after = _latest(basis.before), _latest(basis.after)
    return tuple(
        _line(_TARGETS[measure](basis), place, before.get(place), after.get(place))
        for measure, by in wanted.items()
        for place in _places(measure, by, basis.cylinders)
    )


_Target = tuple[str, str, str]
"""Target, limit, and the limit's mark."""
_Place = tuple[str, int | None, str | None]
"""Measure, cylinder, port."""


def _places(measure: str, by: str, cylinders: int) -> list[_Place]:
    if by == "engine":
        return [(measure, None, None)]
    sides: tuple[str | None, ...] = _SIDES if by == "port" else (None,)
    return [(measure, cylinder, side) for cylinder in range(1, cylinders + 1) for side in sides]


def _line(
    aim: _Target, place: _Place, old: Mapping[str, Any] | None, new: Mapping[str, Any] | None
) -> AcceptanceLine:
    target, limit, mark = aim
    measure, cylinder, port = place
    return AcceptanceLine(
        measure,
        cylinder,
        port,
        target,
        limit,
        mark,
        _shown(old),
        _shown(new),
        new["verdict"] if new and new["state"] != "not_looked_at" else "missing",
        new["reason"] if new else "not measured",
        new["signed_by"] if new else None,
        new["accepted_because"] if new else None,
    )


def _latest(judged: pl.DataFrame) -> dict[_Place, dict[str, Any]]:
    """The latest reading at each place."""
    return {
        (row["measure"], row["cylinder"], row["port"]): row
        for row in judged.sort("inspected_at", maintain_order=True).iter_rows(named=True)
    }


def _shown(row: Mapping[str, Any] | None) -> str:
    if row is None or row["state"] == "not_looked_at":
        return "not measured"
    if row["state"] == "stated_ok":
        return "stated ok, no number"
    raw = reading_text(row["value"], row["unit"])
    if row["judged_unit"] == "seal ratio" and row["judged_value"] is not None:
        return f"{raw} (ratio {number_text(row['judged_value'], 2)})"
    return raw


def _vacuum_target(basis: RebuildBasis) -> _Target:
    accept = basis.limits["valve_seal_vacuum.accept"]
    shop = basis.limits["valve_seal_vacuum.not_enough_to_inhg"]
    limit = (
        f"ratio {number_text(accept.value, 2)} and over {number_text(shop.value, 0)} "
        f"inHg as at sea level"
    )
    return f"as the blanked pad (ratio {number_text(1.0, 2)})", limit, f"{accept.mark}, {shop.mark}"


def _gap_target(basis: RebuildBasis) -> _Target:
    least = basis.limits[
        "ring_end_gap.boosted_share" if basis.is_boosted else "ring_end_gap.plain_share"
    ]
    most, bore = basis.limits.number("ring_end_gap.widest_share"), basis.engine["bore_mm"]
    if not bore:
        return f"{least.value} x bore", f"{least.value} to {most} x bore", least.mark
    target, widest = (quantity_text(x * bore, "mm", 2) for x in (least.value, most))
    return target, f"{figure_text(least.value * bore, 'mm', 2)} to {widest}", least.mark


def _bearing_target(basis: RebuildBasis) -> _Target:
    usual, low, high = (
        basis.limits.number(f"bearing_clearance.{end}_share")
        for end in ("usual", "least", "widest")
    )
    mark, journal = basis.limits["bearing_clearance.widest_share"].mark, basis.engine["journal_mm"]
    if not journal:
        return f"{usual} x journal", f"{low} to {high} x journal", mark
    return (
        quantity_text(usual * journal, "mm", 3),
        f"{figure_text(low * journal, 'mm', 3)} to {quantity_text(high * journal, 'mm', 3)}",
        mark,
    )


def _deck_target(basis: RebuildBasis) -> _Target:
    limit = basis.limits[
        "deck_flatness.boosted_limit" if basis.is_boosted else "deck_flatness.plain_limit"
    ]
    return "flat", exact_text(limit.value, "mm"), limit.mark


def _compression_target(basis: RebuildBasis) -> _Target:
    spread = basis.limits["compression.spread"]
    return "all cylinders alike", f"within {share_text(spread.value)} of the highest", spread.mark


def _leak_target(basis: RebuildBasis) -> _Target:
    weak, number = basis.limits["leak_down.weak_from"], basis.limits.number
    return (
        f"{number_text(number('leak_down.good_to'), 0)} % or less",
        f"{number_text(weak.value, 0)} %, within "
        f"{number_text(number('leak_down.within_points'), 0)} points",
        weak.mark,
    )


def _taper_target(basis: RebuildBasis) -> _Target:
    limit = basis.limits["bore_taper.limit"]
    return "none", exact_text(limit.value, "mm"), limit.mark


_TARGETS: dict[str, Callable[[RebuildBasis], _Target]] = {
    "valve_seal_vacuum": _vacuum_target,
    "ring_end_gap": _gap_target,
    "bearing_clearance": _bearing_target,
    "deck_flatness": _deck_target,
    "compression": _compression_target,
    "leak_down": _leak_target,
    "bore_taper": _taper_target,
}
