"""Where the order of events is not certain: what each order could have made of them.

Events of one instant, and those within what a fill's time may be off, may have come the other
way round.  A ride (or a draw of a dock) that may have come on the other side of a fill is
bounded by both blends; a fill that such litres may have left before or after met a level that
much higher or lower.
"""

# ruff: noqa: PLR0917 - compiled functions take their arrays by position
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from ringland.fuel.tank_events import TankEvents
from ringland.fuel.tank_kernel import FILL, HIGH, LOW, OUT, Floats, Ints

CUT_OFF = 0.25
"""How far the share of a ride's litres burned before a fill inside it may be off the time's."""


@dataclass(frozen=True)
class OtherOrders:
    """Pairs of events (outflow, fill) that may be the other way round, and what that does.

    `higher_l` and `lower_l` are, per event, how much higher or lower the level may have been
    before a fill than in the order taken.
    """

    outflow: Ints
    fill: Ints
    is_after: Ints
    """1 where the outflow is taken to have come after the fill"""
    higher_l: Floats
    lower_l: Floats


def other_orders(events: TankEvents, off_us: Ints, ride: Ints) -> OtherOrders:
    """The orders other than the one taken that the record leaves open.

    Args:
        events: of a set of tanks.
        off_us: per event, how far the time of a fill may be off.
        ride: per event, the ride it is part of; -1: none.  A fill inside a ride cuts its
            litres to within CUT_OFF of them.
    """
    n = len(events.at_us)
    higher, lower = np.zeros(n), np.zeros(n)
    added = (events.role != 0) & (events.role != 4)
    pairs = _pairs(
        events.starts, events.at_us, events.is_fill, added, events.volume_l, off_us, ride, higher,
        lower,
    )  # fmt: skip
    found = np.array(pairs, np.int64).reshape(-1, 3)
    return OtherOrders(found[:, 0], found[:, 1], found[:, 2], higher, lower)


@njit(cache=True, nogil=True)
def _pairs(  # type: ignore[no-untyped-def]
    starts, at_us, kind, added, volume_l, off_us, ride, higher_l, lower_l
):
    found = [(np.int64(0), np.int64(0), np.int64(0)) for _ in range(0)]
    for tank in range(len(starts) - 1):
        for j in range(starts[tank], starts[tank + 1]):
            if kind[j] != FILL or added[j]:
                continue
            after = j + 1
            while after < starts[tank + 1] and (kind[after] != OUT or added[after]):
                after += 1
            i = j - 1
            while i >= starts[tank] and at_us[i] >= at_us[j] - off_us[j]:
                if kind[i] == OUT and not added[i]:
                    is_cut = after < starts[tank + 1] and ride[i] >= 0 and ride[i] == ride[after]
                    if is_cut and off_us[j] == 0:
                        uneven = CUT_OFF * (volume_l[i] + volume_l[after])
                        higher_l[j] += min(uneven, volume_l[i])
                        lower_l[j] += min(uneven, volume_l[after])
                    else:
                        found.append((np.int64(i), np.int64(j), np.int64(0)))
                        higher_l[j] += volume_l[i]
                i -= 1
            i = j + 1
            while i < starts[tank + 1] and at_us[i] <= at_us[j] + off_us[j]:
                if kind[i] == OUT and not added[i]:
                    found.append((np.int64(i), np.int64(j), np.int64(1)))
                    lower_l[j] += volume_l[i]
                i += 1
    return found


def widen_by_order(quality: Floats, orders: OtherOrders, events: TankEvents) -> None:
    """Widen the bounds of each outflow to those on the other side of its fill, in place."""
    before = np.maximum(orders.fill - 1, 0)
    other = np.where(orders.is_after == 1, before, orders.fill)
    mine = events.tank_of[other] == events.tank_of[orders.fill]
    for column, widest in ((LOW, np.fmin), (HIGH, np.fmax)):
        beside = np.where(mine, quality[other, column], np.nan)
        widest.at(quality[:, column], orders.outflow, beside)
