"""Octane ratings onto one scale, and how fuels blend.

The scale is AKI, the pump number: (RON + MON) / 2 (16 CFR 306.0; RON by ASTM D2699, MON
by ASTM D2700).  Pump gasolines are blended linearly by volume: the usual shop assumption,
exact neither for ethanol nor for boosters.  What an engine needs does not belong here.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import polars as pl

from ringland.fuel.octane_scale import scale_chances
from ringland.settings.assumptions import Assumptions


def with_aki(frame: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """Add the fuel's AKI with bounds and how it was come by: octane_{low,best,high}_aki, scale.

    `octane_aki` is taken as it stands.  RON and MON together give AKI exactly.  One of them
    alone is converted with octane.sensitivity_on, with bounds from octane.sensitivity_spread_on,
    and `is_octane_converted` is true.  A number without a scale counts by the chances of
    `with_scale_chances`: its best estimate is their mean, its bounds hold every scale with
    at least octane_scale.ruled_out_chance.  With nothing of this everything is null: unknown
    stays unknown.  `octane_open_share` is the chance that the likeliest scale is the wrong
    one, 0 for a number with its scale.

    Args:
        frame: has octane_aki, octane_ron and octane_mon, each nullable; may have the columns
            of `with_scale_chances`.
        assumptions: gives the sensitivity RON - MON and its spread.
    """
    aki, ron, mon = pl.col("octane_aki"), pl.col("octane_ron"), pl.col("octane_mon")
    sensitivity = assumptions.number("octane.sensitivity_on")
    spread = assumptions.number("octane.sensitivity_spread_on")
    lone = aki.is_null() & (ron.is_null() != mon.is_null())
    best = pl.coalesce(aki, (ron + mon) / 2, ron - sensitivity / 2, mon + sensitivity / 2)
    width = pl.when(lone).then(spread / 2).otherwise(0.0)
    graded = frame.with_columns(
        octane_low_aki=best - width,
        octane_best_aki=best,
        octane_high_aki=best + width,
        is_octane_converted=lone,
        octane_open_share=pl.when(best.is_not_null()).then(0.0),
    )
    return _by_chances(graded, assumptions) if SCALE_CHANCES[0] in frame.columns else graded


def _by_chances(graded: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """The same with the numbers that have no scale put in by the chances of each."""
    half = assumptions.number("octane.sensitivity_on") / 2
    spread = assumptions.number("octane.sensitivity_spread_on") / 2
    least = assumptions.number("octane_scale.ruled_out_chance")
    number = pl.col("octane_unlabelled")
    shifts = dict(zip(SCALE_CHANCES, ((0.0, 0.0), (-half, spread), (half, spread)), strict=True))
    possible = {name: pl.col(name) >= least for name in shifts}
    mean = pl.sum_horizontal(pl.col(name) * (number + shift) for name, (shift, _) in shifts.items())
    low, high = (
        pick(
            pl.when(possible[name]).then(number + shift + sign * width)
            for name, (shift, width) in shifts.items()
        )
        for pick, sign in ((pl.min_horizontal, -1.0), (pl.max_horizontal, 1.0))
    )
    is_bare = (
        pl.col("octane_best_aki").is_null()
        & number.is_not_null()
        & pl.col(SCALE_CHANCES[0]).is_not_null()
    )
    found = {
        "octane_low_aki": low,
        "octane_best_aki": mean.clip(low, high),
        "octane_high_aki": high,
        "is_octane_converted": pl.lit(value=True),
        "octane_open_share": 1.0 - pl.max_horizontal(SCALE_CHANCES),
    }
    return graded.with_columns(
        pl.when(is_bare).then(value).otherwise(name).alias(name) for name, value in found.items()
    )


def with_scale_chances(
    records: Mapping[str, pl.DataFrame], assumptions: Assumptions
) -> dict[str, pl.DataFrame]:
    """The records with SCALE_CHANCES beside each octane number without a scale; null elsewhere.

    Fills and deliveries without any such number come back as they are.  The records
    themselves stay unresolved.
    """
    if all(records[kind]["octane_unlabelled"].null_count() == records[kind].height
           for kind in _OCTANE_KEYS):  # fmt: skip
        return dict(records)
    chances = scale_chances(records, assumptions)
    joined = {}
    for kind, (key, at) in _OCTANE_KEYS.items():
        mine = chances.filter(pl.col("kind") == kind).select(
            key, pl.col("at").alias(at), *SCALE_CHANCES
        )
        joined[kind] = records[kind].join(mine, on=[key, at], how="left", maintain_order="left")
    return dict(records) | joined


SCALE_CHANCES = ("chance_aki", "chance_ron", "chance_mon")
_OCTANE_KEYS = {"fills": ("hull_id", "filled_at"), "deliveries": ("dock_id", "delivered_at")}


def octane_index(
    aki: npt.ArrayLike, sensitivity_on: npt.ArrayLike, weight_k: float
) -> npt.NDArray[np.float64]:
    """Octane index OI = RON - K * S of a fuel known by its AKI; K = 0.5 gives AKI itself.

    K is negative in conventional boosted engines (SAE 2017-01-0666, read through DOMAIN.md).
    For sensitivity runs: a need stated in AKI is not a need stated in OI.
    """
    s = np.asarray(sensitivity_on, float)
    return np.asarray(np.asarray(aki, float) + s / 2 - weight_k * s)


def boosted_on(booster_points: npt.ArrayLike, assumptions: Assumptions) -> npt.NDArray[np.float64]:
    """Octane numbers a booster adds to the litres it was poured with, as labelled.

    Labels count points, tenths of a number (common practice, from memory).
    """
    points = np.asarray(booster_points, float)
    return np.asarray(points / assumptions.number("octane.points_per_number"))
