"""The level of each tank along its record, how far it may be off, and what may have come unseen.

The level follows the litres.  `low_gap` and `high_gap` are how far the true level may lie
below and above it (about 95 %): estimated litres widen them as independent errors do, a tank
cannot hold less than nothing nor more than its size, a hull filled to a steady level and a dip
pull them in.  Where every litre is measured from a known level they are nothing.

`unseen_l` is the most that may have been poured in since the fill before without showing:
litres for which there was room, and after which everything written down later still fits.
What any of it was does not belong here.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled functions take their arrays by position
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from ringland.fuel.tank_kernel import DIP, FILL, Flags, Floats, Ints, compiled


@dataclass(frozen=True)
class TankLimits:
    """What bounds each tank's level; one entry per tank.

    `steady_l` is how far the level after a fill may lie from `filled_to_l` (NaN: any level);
    `opening_low_l` and `opening_high_l` how far the level before the first event may lie
    below and above what was taken; `most_l` the most that one unseen fill may bring, `usual_l`
    what a fill usually brings.
    """

    capacity_l: Floats
    filled_to_l: Floats
    steady_l: Floats
    opening_low_l: Floats
    opening_high_l: Floats
    most_l: Floats
    usual_l: Floats


@dataclass(frozen=True)
class TankLevels:
    """Per event: level before, litres that moved, gaps before it, unseen litres before it."""

    before_l: Floats
    after_l: Floats
    moved_l: Floats
    low_gap_l: Floats
    high_gap_l: Floats
    unseen_l: Floats


def tank_levels(
    starts: Ints, kind: Flags, volume_l: Floats, slack_l: Floats, limits: TankLimits
) -> TankLevels:
    """The levels of every tank, events ordered as `tank_kernel.mix_tanks` takes them.

    Args:
        starts: first event of each tank and, last, the number of events.
        kind: of each event (OUT, FILL, DIP, TEST).
        volume_l: litres moved; of a dip the level read.
        slack_l: how far the litres of each event may be off.
        limits: of each tank.
    """
    n = len(volume_l)
    out = TankLevels(*(np.empty(n) for _ in range(6)))
    _levels(
        compiled(starts, np.int64), limits.capacity_l, limits.filled_to_l, limits.steady_l,
        limits.opening_low_l, limits.opening_high_l, limits.most_l, compiled(kind, np.uint8),
        compiled(volume_l, np.float64), compiled(slack_l, np.float64), out.before_l, out.after_l,
        out.moved_l, out.low_gap_l, out.high_gap_l, out.unseen_l,
    )  # fmt: skip
    return out


_F = "f8[::1]"


@njit(f"void(i8[::1],{','.join([_F] * 6)},u1[::1],{','.join([_F] * 8)})", cache=True, nogil=True)
def _levels(  # type: ignore[no-untyped-def]  # numba types it by the signature
    starts, capacity_l, filled_to_l, steady_l, opening_low_l, opening_high_l, most_l, kind,
    volume_l, slack_l, before_l, after_l, moved_l, low_gap_l, high_gap_l, unseen_l,
):  # fmt: skip
    for tank in range(len(starts) - 1):
        holds = capacity_l[tank]
        filled_to = filled_to_l[tank]
        steady = steady_l[tank]
        is_steady = not np.isnan(filled_to)
        level = 0.0
        rest = 0.0  # level + rest is the level to twice the digits, so drift never shows
        low = 0.0
        high = 0.0
        first = starts[tank]
        for i in range(first, starts[tank + 1]):
            now = max(level + rest, 0.0)
            before_l[i] = now
            low_gap_l[i] = min(low, now)
            high_gap_l[i] = high
            slack = slack_l[i]
            if kind[i] == FILL:
                moved = max(min(volume_l[i], holds - now), 0.0)
                low = min(low, now)
                change = moved
            elif kind[i] == DIP:
                moved = 0.0
                change = volume_l[i] - now
                low = 0.0
                high = 0.0
            else:
                moved = min(volume_l[i], now)
                change = -moved
            summed = level + change
            shift = summed - level
            rest += (level - (summed - shift)) + (change - shift)
            level = summed + rest
            rest -= level - summed
            after = max(level + rest, 0.0)
            moved_l[i] = moved
            after_l[i] = after
            if slack > 0.0:
                low = np.sqrt(low * low + slack * slack)
                high = np.sqrt(high * high + slack * slack)
            if i == first and kind[i] == FILL:
                low = max(low, opening_low_l[tank])
                high = max(high, opening_high_l[tank])
            if high > 0.0:
                high = min(high, max(holds - after, 0.0))
            low = min(low, after)
            if is_steady and kind[i] == FILL:
                low = min(low, max(after - filled_to + steady, 0.0))
                high = min(high, max(filled_to + steady - after, 0.0))
        room = most_l[tank]
        for i in range(starts[tank + 1] - 1, first - 1, -1):
            if kind[i] == FILL:
                limit = holds
                if is_steady:
                    limit = min(limit, filled_to + steady)
                room = min(room, max(limit - after_l[i] + low_gap_l[i], 0.0))
            elif kind[i] == DIP:
                room = min(room, low_gap_l[i])
            elif after_l[i] <= 0.0 and before_l[i] > 0.0:
                room = most_l[tank]
            here = min(room, max(holds - before_l[i], 0.0))
            unseen_l[i] = here if here > 1e-6 else 0.0  # less is rounding
