"""Docks side by side: fuel, hours, failures, and whether a dock stands out once fuel is counted.

Failures seen at a dock are held against those expected there from the fleet's own hazard with
the dock's fuel, use, calibrations and set ages, but no hazard of the dock's or its engines'
own (indirect standardisation: Breslow and Day 1987, Statistical Methods in Cancer Research
II, chapter 2).  Limits of a count are exact
(Garwood 1936, Biometrika 28:437-442); those of the ratio mix them with the draws of the
expected failures.  The fleet's hazard was fitted with the dock in it, which draws the ratio
towards one.
"""

from __future__ import annotations

from collections.abc import Callable

import dataframely as dy
import numpy as np
import polars as pl
import scipy
from numpy.typing import NDArray

from ringland.exposure.octane_margin import ROUNDING_ON
from ringland.risk.fleet_hazard import GROUPS, MODES_AT_STAKE
from ringland.settings.assumptions import Assumptions

Floats = NDArray[np.float64]

HazardDraws = Callable[[Floats, Floats, pl.DataFrame], Floats]
"""Cumulative hazard over (start_h, stop_h] of set age by draw, shape (draws, rows)."""

PER_HOURS = 1000.0
GRID = 199
"""Points of each Poisson limit's distribution mixed over the draws; odd, so the middle is one."""


class DockRows(dy.Schema):
    """One row per dock whose hulls ran: its fuel, its failures, and what was expected of it."""

    dock_id = dy.String(primary_key=True)
    n_hulls = dy.Int64(min=1)
    n_sets = dy.Int64(min=1)
    running_h = dy.Float64(min=0)
    burned_l = dy.Float64(min=0)
    below_need_share = dy.Float64(nullable=True, description="of litres whose margin is known")
    below_need_l = dy.Float64(min=0)
    unknown_share = dy.Float64(nullable=True, description="of litres: octane not on record")
    fuel_age_d = dy.Float64(nullable=True, description="litres-weighted mean")
    over_28d_share = dy.Float64(nullable=True)
    n_failures = dy.Int64(min=0, description="of the modes at stake")
    rate = dy.Float64(min=0, description="failures per 1000 engine hours")
    rate_low = dy.Float64(min=0)
    rate_high = dy.Float64(min=0)
    expected = dy.Float64(nullable=True, min=0, description="failures, by the fleet's hazard")
    ratio = dy.Float64(nullable=True, description="failures seen over expected")
    ratio_low = dy.Float64(nullable=True)
    ratio_high = dy.Float64(nullable=True)
    is_one_grade = dy.Bool(description="its hulls burned one grade: dock and fuel inseparable")


def compare_docks(
    spells: pl.DataFrame,
    sessions: pl.DataFrame,
    hazard: HazardDraws | None,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """Each dock's fuel and failures over the whole record, with limits.

    Args:
        spells: `Spells`, a row per interval.
        sessions: `SessionExposure` of the same record.
        hazard: the fleet's hazard of all modes at stake; None: no dock has a ratio.
        assumptions: settings.

    Returns:
        `DockRows`, the highest rate first; empty without spells.
    """
    if spells.is_empty():
        return DockRows.create_empty()
    level = assumptions.number("survival.confidence")
    one_grade = assumptions.number("record.one_grade_sd_on")
    fuel = _fuel(sessions, one_grade)
    expected = None
    if hazard is not None:
        # The hazards a dock and its engines bear of their own are what is looked for here:
        # they must not enter what is expected of the dock.
        unnamed = spells.drop(GROUPS)
        expected = hazard(spells["start_h"].to_numpy(), spells["stop_h"].to_numpy(), unnamed)
    rows = []
    for dock in spells["dock_id"].unique().sort():
        inside = spells["dock_id"] == dock
        here = spells.filter(inside)
        hours = float((here["stop_h"] - here["start_h"]).sum())
        failures = int(here["mode"].is_in(list(MODES_AT_STAKE)).sum())
        low, high = poisson_limits(failures, level)
        rows.append(
            {
                "dock_id": dock,
                "n_hulls": here["hull_id"].n_unique(),
                "n_sets": here["piston_set_id"].n_unique(),
                "running_h": hours,
                "n_failures": failures,
                "rate": failures / hours * PER_HOURS,
                "rate_low": low / hours * PER_HOURS,
                "rate_high": high / hours * PER_HOURS,
            }
            | _ratio(
                failures,
                None if expected is None else expected[:, inside.to_numpy()].sum(axis=1),
                level,
            )
        )
    table = pl.DataFrame(rows, infer_schema_length=None).join(fuel, on="dock_id", how="left")
    return DockRows.validate(
        table.with_columns(
            pl.col("burned_l", "below_need_l").fill_null(0.0),
            pl.col("is_one_grade").fill_null(False),
        )
        .sort("rate", "dock_id", descending=[True, False])
        .select(DockRows.column_names()),
        cast=True,
    )


def poisson_limits(count: int, level: float) -> tuple[float, float]:
    """Exact two-sided limits of a Poisson mean from one count (Garwood 1936)."""
    tail = (1 - level) / 2
    low = 0.0 if count == 0 else float(scipy.stats.gamma.ppf(tail, count))
    return low, float(scipy.stats.gamma.isf(tail, count + 1))


def _ratio(failures: int, expected: Floats | None, level: float) -> dict[str, float | None]:
    """Seen over expected, its limits mixed over the draws of the expected failures."""
    if expected is None:
        return dict.fromkeys(("expected", "ratio", "ratio_low", "ratio_high"))
    tail = (1 - level) / 2
    at = (np.arange(GRID) + 0.5) / GRID
    low = scipy.stats.gamma.ppf(at, failures) if failures else np.zeros(GRID)
    high = scipy.stats.gamma.ppf(at, failures + 1)
    middle = float(expected.mean())
    return {
        "expected": middle,
        "ratio": failures / middle,
        "ratio_low": float(np.quantile(np.divide.outer(low, expected), tail)),
        "ratio_high": float(np.quantile(np.divide.outer(high, expected), 1 - tail)),
    }


def _fuel(sessions: pl.DataFrame, one_grade_sd_on: float) -> pl.DataFrame:
    """What each dock's hulls burned; a mean is over the litres that know the value."""
    litres, margin = pl.col("burn_l"), pl.col("octane_margin_on")
    is_short = margin < -ROUNDING_ON

    def mean(name: str) -> pl.Expr:
        known = pl.col(name).is_not_null()
        weight = litres.filter(known).sum()
        return pl.when(weight > 0).then((litres * pl.col(name)).filter(known).sum() / weight)

    known_l = litres.filter(margin.is_not_null()).sum()
    return sessions.group_by("dock_id", maintain_order=True).agg(
        burned_l=litres.sum(),
        below_need_l=litres.filter(is_short).sum(),
        below_need_share=pl.when(known_l > 0).then(litres.filter(is_short).sum() / known_l),
        unknown_share=mean("unknown_share"),
        fuel_age_d=mean("fuel_age_d"),
        over_28d_share=mean("share_over_28d"),
        is_one_grade=pl.col("octane_aki").std().fill_null(0.0) < one_grade_sd_on,
    )
