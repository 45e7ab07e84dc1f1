"""Large invented fleets for the fuel-ledger benchmark: tanks that never clamp, 400 events each."""

from pathlib import Path

import numpy as np
import polars as pl

TANK_L = 70.0
CYCLES, EVENTS = 134, 402  # a fill and two rides a cycle: about two busy seasons
HOUR_US = 3_600_000_000


def write_fleet(folder: Path, events: int, buckets: int, seed: int = 1) -> int:
    """Write clustered events in bucket files; gives the number of tanks."""
    tanks = -(-events // EVENTS)
    for bucket, numbers in enumerate(np.array_split(np.arange(tanks, dtype=np.int32), buckets)):
        rng = np.random.default_rng([seed, bucket])
        frame = _events(numbers, rng)
        # One row group a bucket: its columns then come in one piece, with nothing to copy.
        frame.write_parquet(
            folder / f"bucket_{bucket:03d}.parquet", row_group_size=max(frame.height, 1)
        )
    return tanks


def _events(numbers: np.ndarray, rng: np.random.Generator) -> pl.DataFrame:
    shape = (len(numbers), CYCLES)
    full, heel = rng.uniform(48, 68, shape), rng.uniform(4, 20, shape)
    before = np.concatenate([np.zeros((len(numbers), 1)), heel[:, :-1]], axis=1)
    first = rng.uniform(0.3, 0.7, shape) * (full - heel)
    volume = np.stack([full - before, first, full - heel - first], axis=2)
    octane = np.zeros((*shape, 3))
    octane[:, :, 0] = rng.choice([87.0, 89.0, 91.0, 93.0], shape)
    gaps = (rng.exponential(12.0, (*shape, 3)) * HOUR_US).astype(np.int64) + 1
    at = gaps.reshape(len(numbers), -1).cumsum(axis=1)
    return pl.DataFrame(
        {
            "tank": np.repeat(numbers, EVENTS),
            "at_us": at.ravel(),
            "is_fill": np.tile(np.array([1, 0, 0], np.uint8), len(numbers) * CYCLES),
            "volume_l": volume.ravel(),
            "octane": octane.ravel(),
        }
    )


def write_time_ordered(folder: Path, target: Path) -> None:
    """The same events as two files in order of time, as an operator's exports come."""
    events = pl.read_parquet(folder / "*.parquet").sort("at_us", "is_fill", "tank")
    fills = events.filter(pl.col("is_fill") == 1).drop("is_fill")
    fills.write_parquet(target / "fills.parquet")
    events.filter(pl.col("is_fill") == 0).drop("is_fill", "octane").write_parquet(
        target / "sessions.parquet"
    )
