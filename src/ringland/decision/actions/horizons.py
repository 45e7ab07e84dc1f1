"""The chance of each hull over the horizons its page tells of, and the fleet's middle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from ringland.risk.expected_use import DAY_S, hours_ahead
from ringland.risk.failure_risk import HORIZONS_D, chance_with_range
from ringland.risk.fleet_hazard import FleetFits
from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import number_text


@dataclass(frozen=True)
class Horizon:
    """One stretch ahead: its label, (chance, low, high) by hull, and the fleet's median."""

    label: str
    chances: Mapping[str, tuple[float, float, float]]
    fleet_middle: float | None


def planned_days(as_of: datetime, season_ends_at: datetime) -> float:
    """Days the plan looks ahead: to the season's end, 30 once it is over."""
    left = (season_ends_at - as_of).total_seconds() / DAY_S
    return left if left > 0 else float(HORIZONS_D["30d"])


def page_horizons(
    *,
    fits: FleetFits,
    running: pl.DataFrame,
    chances: pl.DataFrame,
    as_of: datetime,
    season_ends_at: datetime | None,
    assumptions: Assumptions,
) -> tuple[Horizon, ...]:
    """7 and 30 days as in `HullChances`, the look-back's engine hours, and the season's rest.

    Args:
        fits: the fleet's fits.
        running: as `running_sets` returns it.
        chances: `HullChances` made from both.
        as_of: the instant the report speaks of.
        season_ends_at: the season's last day; None, or past: that horizon is left out.
        assumptions: settings.
    """
    told = running.filter(pl.col("why_not").is_null())
    if told.is_empty():
        return ()
    found = [_from_table(f"{days} days", f"chance_{days}d", chances) for days in (7, 30)]
    hours = assumptions.number("exposure.trailing_h")
    given = np.full(told.height, hours)
    ahead: list[tuple[str, np.ndarray, float | None]] = [
        (f"next {number_text(hours, 0)} engine hours", given, None)
    ]
    if season_ends_at is not None and season_ends_at > as_of:
        days_left = (season_ends_at - as_of).total_seconds() / DAY_S
        label = f"season's end, {number_text(days_left, 0)} days"
        ahead.append((label, hours_ahead(told, days_left), days_left))
    for label, run_h, days in ahead:
        triples = np.column_stack(chance_with_range(fits, told, run_h, assumptions, days=days))
        found.append(
            Horizon(
                label,
                {
                    hull: (float(row[0]), float(row[1]), float(row[2]))
                    for hull, row in zip(told["hull_id"], triples, strict=True)
                },
                float(np.median(triples[:, 0])),
            )
        )
    return tuple(found)


def _from_table(label: str, name: str, chances: pl.DataFrame) -> Horizon:
    told = chances.filter(pl.col(name).is_not_null())
    middle = told[name].median()
    return Horizon(
        label,
        {
            row[0]: (row[1], row[2], row[3])
            for row in told.select("hull_id", name, f"{name}_low", f"{name}_high").rows()
        },
        None if middle is None else float(middle),  # type: ignore[arg-type]  # Polars: any scalar
    )
