"""Octane ratings onto one scale, and how fuels blend.

The scale is AKI, the pump number: (RON + MON) / 2 (16 CFR 306.0; RON by ASTM D2699, MON
by ASTM D2700).  Pump gasolines are blended linearly by volume: the usual shop assumption,
exact neither for ethanol nor for boosters.  What an engine needs does not belong here.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import polars as pl

from ringland.assumptions import Assumptions

ETHANOL_KG_L = 0.789  # density and molar mass of ethanol: handbook constants, from memory
ETHANOL_KG_MOL = 0.04607


def with_aki(frame: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """Add the fuel's AKI with bounds and how it was come by: octane_{low,best,high}_aki, scale.

    `octane_aki` is taken as it stands.  RON and MON together give AKI exactly.  One of them
    alone is converted with octane.sensitivity_on, with bounds from octane.sensitivity_spread_on,
    and `is_octane_converted` is true.  With none of the three everything is null: unknown
    stays unknown.

    Args:
        frame: has octane_aki, octane_ron and octane_mon, each nullable.
        assumptions: gives the sensitivity RON - MON and its spread.
    """
    aki, ron, mon = pl.col("octane_aki"), pl.col("octane_ron"), pl.col("octane_mon")
    sensitivity = assumptions.number("octane.sensitivity_on")
    spread = assumptions.number("octane.sensitivity_spread_on")
    lone = aki.is_null() & (ron.is_null() != mon.is_null())
    best = pl.coalesce(aki, (ron + mon) / 2, ron - sensitivity / 2, mon + sensitivity / 2)
    width = pl.when(lone).then(spread / 2).otherwise(0.0)
    return frame.with_columns(
        octane_low_aki=best - width,
        octane_best_aki=best,
        octane_high_aki=best + width,
        is_octane_converted=lone,
    )


def octane_index(
    aki: npt.ArrayLike, sensitivity_on: npt.ArrayLike, weight_k: float
) -> npt.NDArray[np.float64]:
    """Octane index OI = RON - K * S of a fuel known by its AKI; K = 0.5 gives AKI itself.

    K is negative in conventional boosted engines (SAE 2017-01-0666, read through DOMAIN.md).
    For sensitivity runs: a need stated in AKI is not a need stated in OI.
    """
    s = np.asarray(sensitivity_on, float)
    return np.asarray(np.asarray(aki, float) + s / 2 - weight_k * s)


def blend_by_volume(volume_l: npt.ArrayLike, octane_aki: npt.ArrayLike) -> float:
    """Octane of gasolines mixed by volume; NaN if there is no litre or an octane is unknown."""
    volume, octane = np.asarray(volume_l, float), np.asarray(octane_aki, float)
    total = volume.sum()
    return float((volume * octane).sum() / total) if total > 0 else float("nan")


def boosted_on(booster_points: npt.ArrayLike, assumptions: Assumptions) -> npt.NDArray[np.float64]:
    """Octane numbers a booster adds to the litres it was poured with, as labelled.

    Labels count points, tenths of a number (common practice, from memory).
    """
    points = np.asarray(booster_points, float)
    return np.asarray(points / assumptions.number("octane.points_per_number"))


def ethanol_mole_fraction(
    ethanol_share_vol: npt.ArrayLike, assumptions: Assumptions
) -> npt.NDArray[np.float64]:
    """Mole fraction of ethanol in gasoline from its share of the volume, e.g. 0.10 -> about 0.2."""
    v = np.asarray(ethanol_share_vol, float)
    ethanol = v * ETHANOL_KG_L / ETHANOL_KG_MOL
    gasoline = (
        (1 - v)
        * assumptions.number("octane.gasoline_density_kg_l")
        / assumptions.number("octane.gasoline_molar_mass_kg_mol")
    )
    return np.asarray(ethanol / (ethanol + gasoline))


def blend_with_ethanol(
    base_on: npt.ArrayLike,
    ethanol_on: npt.ArrayLike,
    mole_fraction: npt.ArrayLike,
    interaction_on: npt.ArrayLike,
) -> npt.NDArray[np.float64]:
    """Octane of gasoline blended with neat ethanol: (1-x) ONg + x ONe + Z x (1-x).

    Linear in moles with an interaction term Z (Anderson et al., through Anderson &
    Wallington 2020).  For fuel made up with neat ethanol; pump gasolines that already
    hold some are blended by volume.
    """
    x = np.asarray(mole_fraction, float)
    return np.asarray(
        (1 - x) * np.asarray(base_on, float)
        + x * np.asarray(ethanol_on, float)
        + np.asarray(interaction_on, float) * x * (1 - x)
    )
