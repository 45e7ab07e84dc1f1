"""Were the forecast chances any good?  Brier scores when some lives left early.

A forecast is a survival (or risk) made at time 0 for each life; the record is how long each
was then followed and whether it failed.  Lives that left unfailed are made up for by
weighting the others by the inverse chance of still being followed (IPCW).
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ringland.survival.estimates import CONFIDENCE, Estimate
from ringland.survival.lives.life_data import (
    CensoredLives,
    Floats,
    LifeDataError,
    ended_lives,
    number_column,
)
from ringland.survival.lives.life_tables import risk_counts, survival_of_counts

Convention = Literal["at failure", "before failure"]
CONVENTIONS = {
    "at failure": "chance of being followed taken at the failure time, as scikit-survival does",
    "before failure": "chance of being followed taken just before the failure time (Graf et al.)",
}
BRIER_SOURCE = "Graf et al. (1999), Statistics in Medicine 18:2529-2545"


@dataclass(frozen=True)
class BrierScores:
    """Mean squared error of forecast survival by horizon; lower is better.

    `base` is the score of one forecast for all, the fleet's own Kaplan-Meier, and `skill`
    is 1 - score / base: above 0 the forecasts beat the base rate.  `integrated` is the mean
    over the horizons (trapezium), nan for a single one.
    """

    horizon: Floats
    score: Floats
    base: Floats
    skill: Floats
    failures: Floats
    followed: Floats
    integrated: float
    convention: str
    method: str
    source: str


def censoring_weights(
    time: ArrayLike,
    is_failure: ArrayLike,
    horizons: ArrayLike,
    *,
    convention: Convention = "at failure",
) -> Floats:
    """Inverse-probability-of-censoring weight of each life (rows) by horizon (columns).

    A life failed by the horizon weighs 1 over the chance of being followed to its failure,
    one followed beyond it 1 over that to the horizon, one that left before it nothing.
    """
    lives = ended_lives(time, is_failure)
    wanted = checked_horizons(horizons)
    chance_at = _chance_followed(lives)
    if convention == "at failure":
        own = chance_at(lives.lower, "right")
    elif convention == "before failure":
        own = chance_at(lives.lower, "left")
    else:
        raise ValueError(f"convention is {convention!r}; choose from {', '.join(CONVENTIONS)}.")
    failed_by = (lives.lower[:, None] <= wanted) & lives.is_exact[:, None]
    beyond = lives.lower[:, None] > wanted
    with np.errstate(divide="ignore"):
        of_own = np.where(own > 0, 1.0 / own, 0.0)[:, None]
        at_horizon = chance_at(wanted, "right")
        of_horizon = np.where(at_horizon > 0, 1.0 / at_horizon, 0.0)
    return np.where(failed_by, of_own, np.where(beyond, of_horizon, 0.0))


def brier_score(
    time: ArrayLike,
    is_failure: ArrayLike,
    survival: ArrayLike,
    horizons: ArrayLike,
    *,
    convention: Convention = "at failure",
) -> BrierScores:
    """Brier score of forecast survival, a row per life and a column per horizon.

    Raises:
        LifeDataError: as for `ended_lives`; a forecast outside [0, 1]; a horizon that no
            life was followed beyond.
    """
    lives = ended_lives(time, is_failure)
    wanted = checked_horizons(horizons, lives)
    forecast = np.asarray(survival, dtype=np.float64)
    forecast = forecast.reshape(-1, 1) if forecast.ndim == 1 else forecast
    if forecast.shape != (lives.lower.size, wanted.size):
        raise LifeDataError(
            f"survival has shape {forecast.shape}; give {lives.lower.size} lives by "
            f"{wanted.size} horizons."
        )
    if np.any(is_bad := ~((forecast >= 0) & (forecast <= 1)).all(axis=1)):
        row = int(np.flatnonzero(is_bad)[0])
        raise LifeDataError(f"row {row + 1}: forecast survival {forecast[row]} is not in [0, 1].")
    weights = censoring_weights(time, is_failure, wanted, convention=convention)
    outlived = lives.lower[:, None] > wanted
    score = (weights * (outlived - forecast) ** 2).mean(axis=0)
    table = survival_of_counts(risk_counts(lives)).at(wanted)
    base = (weights * (outlived - table.estimate) ** 2).mean(axis=0)
    integrated = float("nan")
    if wanted.size > 1:
        integrated = float(np.trapezoid(score, wanted) / (wanted[-1] - wanted[0]))
    return BrierScores(
        horizon=wanted,
        score=score,
        base=base,
        skill=1.0 - np.divide(score, base, out=np.full_like(base, np.nan), where=base > 0),
        failures=table.failures,
        followed=outlived.sum(axis=0).astype(np.float64),
        integrated=integrated,
        convention=CONVENTIONS[convention],
        method="Brier score weighted by the inverse chance of being followed (IPCW)",
        source=BRIER_SOURCE,
    )


def score_limits(
    score: Callable[[NDArray[np.int64]], float],
    cluster: Sequence[Hashable],
    rng: np.random.Generator,
    *,
    n_draws: int,
    confidence: float = CONFIDENCE,
) -> Estimate:
    """Percentile limits of any score by drawing whole clusters (e.g. hulls) with replacement.

    `score` takes the row numbers to use.  Draws on which it cannot be computed (no failure
    drawn) are left out and counted in `method`.
    """
    rows_of: dict[Hashable, list[int]] = {}
    for row, name in enumerate(cluster):
        rows_of.setdefault(name, []).append(row)
    groups = [np.array(rows, dtype=np.int64) for rows in rows_of.values()]
    values, failed = [], 0
    for _ in range(n_draws):
        drawn = rng.integers(0, len(groups), len(groups))
        try:
            values.append(score(np.concatenate([groups[k] for k in drawn])))
        except LifeDataError:
            failed += 1
    if not values:
        raise LifeDataError("The score could not be computed on any draw; too few failures.")
    tail = (1.0 - confidence) / 2.0
    low, high = np.quantile(values, [tail, 1.0 - tail])
    return Estimate(
        score(np.arange(len(cluster))),
        float(low),
        float(high),
        confidence,
        f"percentile of {n_draws} draws of {len(groups)} clusters; {failed} without an answer",
    )


def _chance_followed(
    lives: CensoredLives,
) -> Callable[[Floats, Literal["left", "right"]], Floats]:
    """Reverse Kaplan-Meier: at a tie failures leave the risk set before censorings."""
    counts = risk_counts(lives)
    still = counts.at_risk - counts.failures
    share = np.divide(counts.censored, still, out=np.zeros_like(still), where=still > 0)
    chance = np.concatenate(([1.0], np.cumprod(1.0 - share)))

    def at(times: Floats, side: Literal["left", "right"]) -> Floats:
        return np.asarray(chance[np.searchsorted(counts.time, times, side=side)])

    return at


def checked_horizons(horizons: ArrayLike, lives: CensoredLives | None = None) -> Floats:
    """The horizons as a rising column; with lives, some must be followed beyond the last.

    Raises:
        LifeDataError: horizons that are not positive and rising, or that nobody was
            followed beyond.
    """
    wanted = number_column("horizon", horizons)
    if wanted.size == 0 or np.any(wanted <= 0) or np.any(np.diff(wanted) <= 0):
        raise LifeDataError("Horizons must be positive and rising.")
    if lives is not None and wanted[-1] >= (longest := float(lives.lower.max())):
        raise LifeDataError(
            f"No life was followed beyond {wanted[-1]:g} (longest {longest:g}); "
            "ask for earlier horizons."
        )
    return wanted
