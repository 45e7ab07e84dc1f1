"""Counting-process spells with a known hazard, for the tests and studies of this room."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

Array = np.ndarray


@dataclass(frozen=True)
class Simulated:
    """Spells (start, stop] of many lives; `hull` is the cluster of each row."""

    start: Array
    stop: Array
    event: Array
    x: Array
    hull: Array

    @property
    def names(self) -> list[str]:
        return [f"x{j + 1}" for j in range(self.x.shape[1])]

    def rows(self, chosen: Array) -> Simulated:
        return Simulated(
            self.start[chosen],
            self.stop[chosen],
            self.event[chosen],
            self.x[chosen],
            self.hull[chosen],
        )


def weibull_spells(
    rng: np.random.Generator,
    *,
    n_hulls: int,
    effect: list[float],
    lives_each: int = 1,
    shape: float = 1.5,
    scale: float = 300.0,
    spell: float = 25.0,
    watched: float = 250.0,
    late_entry: float = 100.0,
    frailty: float = 0.0,
) -> Simulated:
    """Lives with hazard (t / scale)^shape e^{x b}; x of half hull, half spell; late entry.

    `frailty` is the variance of a gamma factor that a hull's lives share, with mean 1.
    """
    b = np.asarray(effect, dtype=float)
    p = len(b)
    rows: list[tuple[float, ...]] = []
    for hull in range(n_hulls):
        of_hull = rng.normal(size=p)
        shared = rng.gamma(1 / frailty, frailty) if frailty else 1.0
        for _life in range(lives_each):
            start = float(rng.uniform(0, late_entry)) if late_entry else 0.0
            end = start + watched * float(rng.uniform(0.5, 1.5))
            while start < end:
                x = np.sqrt(0.5) * (of_hull + rng.normal(size=p))
                stop = min(start + spell, end)
                risk = shared * float(np.exp(x @ b))
                fails_at = scale * ((start / scale) ** shape + rng.exponential() / risk) ** (
                    1 / shape
                )
                stop = min(stop, fails_at)
                rows.append((start, stop, fails_at <= stop, hull, *x))
                if fails_at <= stop:
                    break
                start = stop
    table = np.array(rows, dtype=float)
    return Simulated(
        table[:, 0], table[:, 1], table[:, 2] > 0, table[:, 4:], table[:, 3].astype(int)
    )


def gridded_spells(seed: int, *, p: int = 2, n_lives: int = 40) -> Simulated:
    """Short lives on a whole-number time grid: many ties, starts that equal event times."""
    rng = np.random.default_rng(seed)
    rows: list[tuple[float, ...]] = []
    for life in range(n_lives):
        start = int(rng.integers(0, 5))
        for _ in range(int(rng.integers(1, 5))):
            stop = start + int(rng.integers(1, 5))
            x = rng.normal(size=p)
            event = rng.random() < 0.3 * np.exp(0.4 * x[0])
            rows.append((start, stop, event, life // 2, *x))
            start = stop
            if event:
                break
    table = np.array(rows, dtype=float)
    return Simulated(
        table[:, 0], table[:, 1], table[:, 2] > 0, table[:, 4:], table[:, 3].astype(int)
    )
