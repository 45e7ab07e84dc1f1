"""Spells of invented fleets whose true hazard the test writes down."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import Spells

BEGIN = datetime(2025, 5, 1, tzinfo=UTC)
SPELL_H = 5.0
SPELL_D = 2.5


def made_spells(
    hazard: Callable[[pl.DataFrame], np.ndarray],
    *,
    n_sets: int = 80,
    spells_a_set: int = 80,
    mode: str = "ring_land_fracture",
    seed: int = 1,
) -> pl.DataFrame:
    """Spells of five hours each, run one after another until the set fails.

    `hazard` gives failures per hour from a frame with the covariates and `middle_h`.
    Covariates are drawn afresh each spell, calibration and piston type once a set.
    """
    rng = np.random.default_rng(seed)
    n = n_sets * spells_a_set
    which = np.repeat(np.arange(n_sets), spells_a_set)
    number = np.tile(np.arange(spells_a_set), n_sets)
    dock = rng.choice(["north", "south"], n_sets)[which]
    raised, forged = rng.random(n_sets) < 0.25, rng.random(n_sets) < 0.25
    shortfall = rng.choice([0.0, 1.0, 3.0], n, p=[0.5, 0.25, 0.25])
    frame = pl.DataFrame(
        {
            "piston_set_id": [f"S{i}" for i in which],
            "engine_id": [f"E{i}" for i in which],
            "hull_id": [f"H{i // 2}" for i in which],
            "dock_id": dock,
            "shortfall_25h_on": shortfall,
            "shortfall_25h_low_on": shortfall,
            "shortfall_25h_high_on": shortfall,
            "shortfall_life_onh": shortfall,
            "fuel_age_25h_d": rng.exponential(10, n),
            "share_over_28d_25h": np.zeros(n),
            "full_throttle_25h": rng.uniform(0.1, 0.5, n),
            "is_raised_calibration": raised[which],
            "is_forged": forged[which],
            "build_number": np.ones(n, dtype=np.int64),
            "known_share_25h": np.ones(n),
            "start_h": number * SPELL_H,
            "stop_h": (number + 1) * SPELL_H,
            "middle_h": (number + 0.5) * SPELL_H,
            "start_at": [BEGIN + timedelta(days=SPELL_D * int(i)) for i in number],
            "stop_at": [BEGIN + timedelta(days=SPELL_D * (int(i) + 1)) for i in number],
        },
        schema_overrides=dict.fromkeys(("start_at", "stop_at"), pl.Datetime("us", "UTC")),
    )
    fails = rng.random(n) < -np.expm1(-hazard(frame) * SPELL_H)
    frame = frame.with_columns(
        mode=pl.when(pl.Series(fails)).then(pl.lit(mode)).otherwise(pl.lit(None, pl.String))
    )
    # A set runs until its first failure.
    is_over = pl.col("mode").is_not_null().cast(pl.Int64).cum_sum().over("piston_set_id")
    before = is_over - pl.col("mode").is_not_null().cast(pl.Int64)
    return Spells.validate(frame.filter(before == 0).select(Spells.column_names()))


def weibull_truth(shortfall_effect: float = 0.45) -> Callable[[pl.DataFrame], np.ndarray]:
    """A Weibull hazard with log-linear effects: the champion's own kind of world."""

    def hazard(frame: pl.DataFrame) -> np.ndarray:
        age = frame["middle_h"].to_numpy()
        log_effect = shortfall_effect * frame["shortfall_25h_on"].to_numpy()
        return 1.5 / 900 * np.sqrt(age / 900) * np.exp(log_effect)

    return hazard
