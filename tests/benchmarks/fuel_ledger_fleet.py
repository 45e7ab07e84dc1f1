"""Large invented networks for the ledger's benchmark: typed records, docks that feed craft.

A hull has some 400 events (fills and rides) over two busy seasons; fifty hulls share a dock,
every tenth fill is from outside, one in a hundred is not on record.
"""

from datetime import UTC, datetime

import numpy as np
import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS

TANK_L, DOCK_L = 70.0, 30_000.0
CYCLES = 134  # a fill and two rides a cycle: about two busy seasons
EVENTS = 3 * CYCLES
HULLS_PER_DOCK = 50
HOUR_US = 3_600_000_000
BEGIN = datetime(2024, 4, 1, tzinfo=UTC)
BEGIN_US = int(BEGIN.timestamp() * 1e6)


def network(events: int, seed: int = 1) -> dict[str, pl.DataFrame]:
    """The typed records of a network with about that many fills and rides."""
    rng = np.random.default_rng(seed)
    hulls = max(events // EVENTS, 1)
    docks = -(-hulls // HULLS_PER_DOCK)
    shape = (hulls, CYCLES)
    hours = np.round(rng.uniform(0.4, 1.1, (*shape, 2)), 1)
    throttle = np.round(rng.beta(3.5, 10, (*shape, 2)), 2)
    burn = hours * (20 * (1 - throttle) + 60 * throttle) * np.exp(rng.normal(0, 0.05, (*shape, 2)))
    burn *= np.minimum(1.0, 60.0 / burn.sum(axis=2))[..., None]
    gaps = (rng.exponential(10.0, (*shape, 3)) * HOUR_US).astype(np.int64) + 2 * HOUR_US
    at = BEGIN_US + gaps.reshape(hulls, -1).cumsum(axis=1).reshape(*shape, 3)
    filled = np.concatenate([np.full((hulls, 1), 62.0), burn.sum(axis=2)[:, :-1]], axis=1)
    names = np.array([f"H{i:06d}" for i in range(hulls)])
    home = np.array([f"D{i // HULLS_PER_DOCK:05d}" for i in range(hulls)])
    is_outside = rng.random(shape) < 0.1
    kept = rng.random(shape) > 0.01
    whose = np.repeat(np.arange(hulls), CYCLES).reshape(shape)
    fills = {
        "hull_id": names[whose[kept]],
        "filled_at": at[..., 0][kept],
        "volume_l": np.round(filled[kept], 1),
        "source": np.where(is_outside, "outside", "dock")[kept],
        "source_dock_id": pl.Series(home[whose[kept]]),
        "octane_aki": np.where(is_outside, rng.choice([87.0, 91.0, 93.0], shape), np.nan)[kept],
    }
    ridden = at[..., 1:].reshape(-1)
    two = np.repeat(whose.reshape(-1), 2)
    out_us = (hours.reshape(-1) * 1.1 * HOUR_US).astype(np.int64)
    sessions = {
        "hull_id": names[two],
        "started_at": ridden - out_us,
        "ended_at": ridden,
        "running_h": hours.reshape(-1),
        "full_throttle_share": throttle.reshape(-1),
    }
    engines = np.array([f"E{i:06d}" for i in range(hulls)])
    meters = _readings(names, hours, at, rng)
    frames = {
        "docks": {"dock_id": [f"D{i:05d}" for i in range(docks)],
                  "bulk_tank_l": np.full(docks, DOCK_L), "time_zone": ["UTC"] * docks,
                  "country": ["US"] * docks},
        "hulls": {"hull_id": names, "dock_id": home, "tank_l": np.full(hulls, TANK_L),
                  "in_service_at": np.full(hulls, BEGIN_US)},
        "engines": {"engine_id": engines, "family": ["A"] * hulls,
                    "induction": ["supercharged"] * hulls,
                    "cylinders": np.full(hulls, 3), "cruise_burn_l_h": np.full(hulls, 20.0),
                    "full_burn_l_h": np.full(hulls, 60.0),
                    "first_recorded_at": np.full(hulls, BEGIN_US),
                    "first_recorded_engine_h": np.zeros(hulls)},
        "installations": {"engine_id": engines, "hull_id": names,
                          "installed_at": np.full(hulls, BEGIN_US)},
        "piston_sets": {"piston_set_id": [f"P{i:06d}" for i in range(hulls)],
                        "engine_id": engines, "fitted_at": np.full(hulls, BEGIN_US),
                        "fitted_engine_h": np.zeros(hulls), "piston_type": ["cast"] * hulls,
                        "supplier_grade": ["original"] * hulls, "reason": ["factory"] * hulls},
        "calibrations": {"engine_id": engines, "in_force_at": np.full(hulls, BEGIN_US),
                         "calibration": ["stock"] * hulls,
                         "octane_need_aki": np.full(hulls, 91.0)},
        "hour_readings": meters,
        "fills": fills,
        "sessions": sessions,
        "deliveries": _loads(fills, docks, rng),
        "failures": {}, "rebuilds": {}, "drains": {},
    }  # fmt: skip
    return {kind: _typed(kind, columns) for kind, columns in frames.items()}


def _readings(
    names: np.ndarray, hours: np.ndarray, at: np.ndarray, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    """A meter reading after every fifth cycle."""
    run = hours.sum(axis=2).cumsum(axis=1)[:, 4::5]
    seen = at[:, 4::5, 2] + HOUR_US
    which = np.repeat(np.arange(len(names)), run.shape[1])
    return {
        "hull_id": names[which],
        "meter_id": np.char.add("M", names[which]),
        "read_at": seen.reshape(-1),
        "meter_h": np.round(run.reshape(-1) * rng.normal(1.0, 0.002, run.size).clip(0.99, 1.01), 1),
    }


def _loads(
    fills: dict[str, np.ndarray], docks: int, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    """For each dock a load whenever some 20 000 l were drawn, a day before the first fill on."""
    drawn = (
        pl.DataFrame(fills).filter(pl.col("source") == "dock").sort("source_dock_id", "filled_at")
    )
    total = pl.col("volume_l").cum_sum().over("source_dock_id")
    loads = (
        drawn.with_columns(load=(total / 20_000).floor())
        .group_by("source_dock_id", "load", maintain_order=True)
        .agg(pl.col("filled_at").first() - HOUR_US, pl.col("volume_l").sum())
    )
    return {
        "dock_id": loads["source_dock_id"],
        "delivered_at": loads["filled_at"].to_numpy(),
        "volume_l": loads["volume_l"].to_numpy(),
        "octane_aki": rng.choice([87.0, 91.0, 93.0], loads.height),
    }


def _typed(kind: str, columns: dict[str, object]) -> pl.DataFrame:
    wanted = RECORD_KINDS[kind].schema.create_empty().schema
    given = pl.DataFrame(columns) if columns else pl.DataFrame(schema=wanted)
    cast = []
    for name in given.columns:
        is_count = isinstance(wanted[name], pl.Datetime) and given.schema[name].is_integer()
        instant = pl.from_epoch(name, "us").dt.replace_time_zone("UTC")
        cast.append((instant if is_count else pl.col(name).cast(wanted[name])).alias(name))
    frame = given.select(cast)
    if kind == "fills":
        frame = frame.with_columns(
            pl.col("octane_aki").fill_nan(None),
            pl.when(pl.col("source") == "dock").then("source_dock_id").alias("source_dock_id"),
        )
    blank = [pl.lit(None, t).alias(n) for n, t in wanted.items() if n not in frame.columns]
    return frame.with_columns(blank).select(wanted.names())
