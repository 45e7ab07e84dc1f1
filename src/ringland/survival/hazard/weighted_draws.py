"""Draws weighted by what the posterior says of them, and how far the weights can be trusted.

The largest weights are smoothed by a generalised Pareto fitted to their tail; its shape says
whether the proposal was near enough (Vehtari, Simpson, Gelman, Yao & Gabry 2024, Journal of
Machine Learning Research 25(72); fit of Zhang & Stephens 2009, Technometrics 51:316-325).
"""

from __future__ import annotations

import numpy as np

from ringland.survival.spell_checks import Floats, Ints

DRAW_BITS = 16
TRUSTED_SHAPE = 0.7
"""Pareto shape up to which weighted draws are trusted (Vehtari and others 2024)."""


def smoothed_weights(log_weight: Floats) -> tuple[Floats, float]:
    """Weights that sum to one, their tail smoothed, and the tail's Pareto shape.

    Args:
        log_weight: log of target over proposal; not finite: no weight.

    Raises:
        ValueError: no draw has a finite weight.
    """
    if not np.isfinite(log_weight).any():
        raise ValueError("The density is not finite at any draw: the proposal is far off.")
    log_weight = np.where(np.isfinite(log_weight), log_weight, -np.inf)
    weight = np.exp(log_weight - log_weight.max())
    n = len(weight)
    n_tail = int(min(n / 5, 3 * np.sqrt(n)))
    order = np.argsort(weight, kind="stable")
    if n_tail < 5 or weight[order[-n_tail - 1]] <= 0:
        return weight / weight.sum(), float("inf")
    tail = order[-n_tail:]
    cut = weight[order[-n_tail - 1]]
    over = weight[tail] - cut
    if over[-1] <= 1e-12 * weight[tail[-1]]:
        return weight / weight.sum(), 0.0  # all alike: nothing to smooth
    shape, scale = _pareto(np.maximum(over, 1e-300))
    at = (np.arange(n_tail) + 0.5) / n_tail
    shape_or_so = shape if abs(shape) > 1e-9 else 1e-9  # its limit is the exponential
    smooth = scale * np.expm1(-shape_or_so * np.log1p(-at)) / shape_or_so
    weight[tail] = np.minimum(cut + smooth, weight[tail[-1]])
    return weight / weight.sum(), float(shape)


def effective(weight: Floats) -> float:
    """How many independent draws weighted ones are worth (Kish)."""
    return 1.0 / float((weight**2).sum())


def resampled(weight: Floats, n_draws: int, rng: np.random.Generator) -> Ints:
    """Which draws to keep, systematically, so often as they weigh."""
    ticks = (rng.random() + np.arange(n_draws)) / n_draws
    return np.searchsorted(np.cumsum(weight), ticks).clip(max=len(weight) - 1).astype(np.int64)


def in_few_digits(drawn: Floats) -> Floats:
    """Draws to 16 binary digits, nearest: each within 8e-6 of itself, means far nearer.

    The chance of a draw is in its first digits; the others would be most of what a fit takes
    on disk, and it is kept for good.
    """
    mantissa, power = np.frexp(drawn)
    return np.asarray(np.ldexp(np.rint(np.ldexp(mantissa, DRAW_BITS)), power - DRAW_BITS))


def _pareto(over: Floats) -> tuple[float, float]:
    """Shape and scale of a generalised Pareto from sorted excesses, with a weak prior."""
    n = len(over)
    n_grid = 30 + int(np.sqrt(n))
    quartile = over[max(int(n / 4 + 0.5) - 1, 0)]
    grid = 1 / over[-1] + (1 - np.sqrt(n_grid / (np.arange(n_grid) + 0.5))) / (3 * quartile)
    shapes = np.log1p(-grid[:, None] * over).mean(axis=1)
    profile = n * (np.log(-grid / shapes) - shapes - 1)
    weight = 1 / np.exp(profile - profile[:, None]).sum(axis=1)
    rate = float((grid * weight).sum() / weight.sum())
    shape = float(np.log1p(-rate * over).mean())
    scale = -shape / rate
    return shape * n / (n + 10) + 0.5 * 10 / (n + 10), scale
