"""The compiled sum of many draws' hazards over a bucket's spells.

Spells are walked once, all draws of a block side by side, so that a spell's zero columns cost
nothing and the draws fill the processor's lanes.  The exponential is a short
polynomial squared up ten times, which the compiler can do for eight draws at once; it is
right to 1e-14 of the larger of itself and 1.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from ringland.survival.spell_checks import Floats, Ints

ByDraw = tuple[Floats, Floats, Floats, Floats]
Placed = tuple[Ints, Floats, Ints, Floats]
BySpell = tuple[Floats, Ints, Ints, Floats]


def summed_hazards(
    by_draw: ByDraw, ages: Placed, by_spell: BySpell, n_own: int
) -> tuple[Floats, Floats, Floats]:
    """Cumulative hazard by draw and own group, and its first two moments with the open part.

    Args:
        by_draw: cumulative baseline (edges, draws), columns' coefficients (columns, draws),
            places' effects (places, draws), open slopes (blurred covariates, draws).
        ages: step and share of it that is over, of each spell's start and stop.
        by_spell: columns, place, own group and blur of each spell.
        n_own: own groups.

    Returns:
        Three arrays of shape (draws, groups).
    """
    hazard, first, second = _summed(by_draw, ages, by_spell, n_own)
    return hazard.T, first.T, second.T


@njit(cache=True, fastmath=True)
def _summed(
    by_draw: ByDraw, ages: Placed, by_spell: BySpell, n_own: int
) -> tuple[Floats, Floats, Floats]:
    cumulative, effects, places, slopes = by_draw
    start_at, start_part, stop_at, stop_part = ages
    columns, place, own, blur = by_spell
    n_draws, q = cumulative.shape[1], blur.shape[1]
    hazard = np.zeros((n_own, n_draws))
    first = np.zeros((n_own, n_draws))
    second = np.zeros((n_own, n_draws))
    effect = np.empty(n_draws)
    spent = np.empty(n_draws)
    for i in range(own.shape[0]):
        effect[:] = places[place[i]]
        for j in range(columns.shape[1]):
            value, slope = columns[i, j], effects[j]
            if value != 0.0:
                for m in range(n_draws):
                    effect[m] += value * slope[m]
        part_a, part_b, total = start_part[i], stop_part[i], hazard[own[i]]
        a0, a1 = cumulative[start_at[i]], cumulative[start_at[i] + 1]
        b0, b1 = cumulative[stop_at[i]], cumulative[stop_at[i] + 1]
        for m in range(n_draws):
            r = effect[m] / 1024.0
            # e^r - 1, squared up ten times as (e^r - 1)(e^r - 1 + 2)
            e = 1.0 + r / 6.0 * (1.0 + r / 7.0 * (1.0 + r / 8.0))
            e = 1.0 + r / 2.0 * (1.0 + r / 3.0 * (1.0 + r / 4.0 * (1.0 + r / 5.0 * e)))
            e = r * e
            for _ in range(10):
                e = e * (e + 2.0)
            low = a0[m] + part_a * (a1[m] - a0[m])
            high = b0[m] + part_b * (b1[m] - b0[m])
            spent[m] = (high - low) * (e + 1.0)
            total[m] += spent[m]
        if q == 1:
            blurred = blur[i, 0]
            if blurred != 0.0:
                total, squares, slope = first[own[i]], second[own[i]], slopes[0]
                for m in range(n_draws):
                    size = slope[m] * blurred
                    total[m] += spent[m] * size
                    squares[m] += spent[m] * size * size
        elif q > 1:
            for m in range(n_draws):
                square = 0.0
                for j in range(q):
                    square += (slopes[j, m] * blur[i, j]) ** 2
                first[own[i], m] += spent[m] * np.sqrt(square)
                second[own[i], m] += spent[m] * square
    return hazard, first, second
