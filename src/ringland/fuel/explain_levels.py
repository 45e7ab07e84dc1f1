"""The record of a tank made possible: what must have been burned, filled or lost besides.

The level is walked through the record: a tank holds neither less than nothing nor more than
it can, and a dip says what it held.  Estimated burns are stretched a little, and what cannot
be explained becomes an explicit unrecorded fill or unexplained outflow.  What was in those
litres does not belong here.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled functions take their arrays by position,
# and a walk that carries five levels along reads best in one piece
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from ringland.fuel.tank_kernel import DIP, FILL, Flags, Floats, Ints

ROUNDING_L = 1e-9
"""Litres that are rounding and no litres at all."""


@dataclass(frozen=True)
class Explained:
    """The events with burns stretched to fit, and what had to be added before each.

    `unrecorded_l` is a fill, `unexplained_l` an outflow, both just before the event.
    """

    volume_l: Floats
    unrecorded_l: Floats
    unexplained_l: Floats


@dataclass(frozen=True)
class TankHabits:
    """What is usual at each tank; one entry per tank.

    `filled_to_l` is the level it is usually filled to, NaN if that varies.  Litres short by
    more than `missing_from_l` mean a whole fill is missing.
    """

    capacity_l: Floats
    usual_fill_l: Floats
    first_level_l: Floats
    filled_to_l: Floats
    missing_from_l: Floats


def opening_levels(
    starts: Ints, kind: Flags, stretch: Floats, volume_l: Floats, capacity_l: Floats
) -> tuple[Floats, Floats]:
    """Lowest and highest level each tank may have had before its first event.

    What was on hand must have left room for all that was filled later and have served all
    that was burned before; a dip says it.  The bounds move apart as estimated litres add up,
    and what comes after them contradicting each other (a missing fill) is not looked at.
    """
    low, high = np.empty(len(capacity_l)), np.empty(len(capacity_l))
    _opening(starts, kind, stretch, volume_l, capacity_l, low, high)
    return low, high


@njit("void(i8[::1],u1[::1],f8[::1],f8[::1],f8[::1],f8[::1],f8[::1])", cache=True, nogil=True)
def _opening(  # type: ignore[no-untyped-def]
    starts, kind, stretch, volume_l, capacity_l, lowest, highest
):
    for tank in range(len(starts) - 1):
        holds = capacity_l[tank]
        low = 0.0
        high = holds
        gone = 0.0  # litres the record has moved since the opening
        off_sq = 0.0
        for i in range(starts[tank], starts[tank + 1]):
            off = np.sqrt(off_sq)
            if kind[i] == DIP:
                low = max(low, min(volume_l[i] - gone - off, high))
                high = min(high, max(volume_l[i] - gone + off, low))
                break
            if np.isnan(volume_l[i]):
                break
            gone += volume_l[i] if kind[i] == FILL else -volume_l[i]
            if kind[i] != FILL:
                off_sq += (stretch[i] * volume_l[i]) ** 2
            off = np.sqrt(off_sq)
            if kind[i] == FILL:
                if holds - gone + off < low:
                    break
                high = min(high, holds - gone + off)
            else:
                if -gone - off > high:
                    break
                low = max(low, -gone - off)
        lowest[tank] = low
        highest[tank] = high


def explain_levels(
    starts: Ints,
    kind: Flags,
    stretch: Floats,
    volume_l: Floats,
    tanks: TankHabits,
    gain: float,
) -> Explained:
    """Make every tank's record possible: its level never below nothing, nor above what it holds.

    Between two fills the outflows are stretched together, each by at most its `stretch`.
    If the tank would still run dry, an unrecorded fill of what is short, or of the usual size
    if that is much, is put in as soon as there is room for it (early, so that the bounds
    cover every session it may have fed).  If a fill would still not fit, the litres in its
    way left unexplained before it.  A tank usually filled to a steady level tells more:
    litres far short of that level, and still short at the fill after (a fill that was
    merely small would be made good by then), mean a missing fill; of a smaller gap the part
    `gain` is put down to the burns.  A dip, or one right after a fill, says the level: the
    whole gap is put down to the burns as far as they stretch, the rest was filled or lost.
    Litres on hand before the first event count as unrecorded.

    Args:
        starts: first event of each tank and, last, the number of events.
        kind: per event (OUT, FILL, DIP, TEST; a test has no litres).
        stretch: per event, by what share its volume may be off; 0 where it was measured.
        volume_l: per event; NaN for an outflow that empties the tank, whatever is in it.
        tanks: what is usual at each tank.
        gain: see above.
    """
    out = Explained(volume_l.copy(), np.zeros(len(volume_l)), np.zeros(len(volume_l)))
    _explain(
        starts,
        tanks.capacity_l,
        tanks.usual_fill_l,
        tanks.first_level_l,
        tanks.filled_to_l,
        tanks.missing_from_l,
        kind,
        stretch,
        gain,
        out.volume_l,
        out.unrecorded_l,
        out.unexplained_l,
    )
    return out


@njit("f8(i8,i8,u1[::1],f8[::1],f8,f8)", cache=True, nogil=True)
def _gap_at_fill_after(  # type: ignore[no-untyped-def]
    fill, stop, kind, volume_l, level, filled_to
):
    """Litres short of the usual level at the fill after this one; none if there is no other."""
    level += volume_l[fill]
    i = fill + 1
    while i < stop and kind[i] != FILL:
        if kind[i] == DIP:
            level = volume_l[i]
        else:
            level = 0.0 if np.isnan(volume_l[i]) else level - volume_l[i]
        i += 1
    if i == stop:
        return -np.inf
    return max(filled_to - volume_l[i], 0.0) - level


@njit(
    "void(i8[::1],f8[::1],f8[::1],f8[::1],f8[::1],f8[::1],u1[::1],f8[::1],f8,f8[::1],"
    "f8[::1],f8[::1])",
    cache=True,
    nogil=True,
)
def _explain(  # type: ignore[no-untyped-def]  # numba types it by the signature
    starts,
    capacity_l,
    usual_fill_l,
    first_level_l,
    filled_to_l,
    missing_from_l,
    kind,
    stretch,
    gain,
    volume_l,
    unrecorded_l,
    unexplained_l,
):
    for tank in range(len(starts) - 1):
        holds = capacity_l[tank]
        usual = usual_fill_l[tank]
        level = min(first_level_l[tank], holds)
        i = starts[tank]
        stop = starts[tank + 1]
        if i < stop:
            unrecorded_l[i] = level
        while i < stop:
            end = i
            burned = 0.0
            give = 0.0
            while end < stop and kind[end] != FILL and kind[end] != DIP:
                if np.isnan(volume_l[end]):
                    break
                burned += volume_l[end]
                give += stretch[end] * volume_l[end]
                end += 1
            has_fill = end < stop and kind[end] == FILL
            is_dipped = end < stop and kind[end] == DIP
            next_fill = min(volume_l[end], holds) if has_fill else 0.0
            is_brimmed = has_fill and end + 1 < stop and kind[end + 1] == DIP
            change = 0.0
            missing = 0.0
            lost = 0.0
            if is_dipped or is_brimmed:
                known = volume_l[end] if is_dipped else max(volume_l[end + 1] - next_fill, 0.0)
                gap = known - (level - burned)
                change = -min(max(gap, -give), give)
                missing = max(gap + change, 0.0)
                lost = max(-gap - change, 0.0)
                missing = 0.0 if missing <= ROUNDING_L else missing
                lost = 0.0 if lost <= ROUNDING_L else lost
                short = burned + change - level - missing
                if short > 0.0:
                    missing += short
                    lost += short
            else:
                if has_fill and not np.isnan(filled_to_l[tank]):
                    gap = max(filled_to_l[tank] - next_fill, 0.0) - (level - burned)
                    still = _gap_at_fill_after(
                        end, stop, kind, volume_l, level - burned, filled_to_l[tank]
                    )
                    if min(gap, still) > max(missing_from_l[tank], give):
                        missing = gap
                    else:
                        change = -min(max(gain * gap, -give), give)
                short = burned + change - level - missing
                if short > 0.0:
                    if burned - give <= level + missing:
                        change -= short
                    else:
                        wanted = usual if short > missing_from_l[tank] else 0.0
                        missing = max(min(wanted, holds - next_fill + short), missing + short)
                over = level + missing - burned - change + next_fill - holds
                if has_fill and over > 0.0:
                    change += min(over, max(give - change, 0.0))
            used = change / give if give > 0.0 else 0.0
            while i < end:
                volume_l[i] *= 1.0 + used * stretch[i]
                room = holds - level
                if missing > 0.0 and (room >= min(missing, usual) or level < volume_l[i]):
                    poured = min(missing, room)
                    unrecorded_l[i] += poured
                    missing -= poured
                    level += poured
                level = max(level - volume_l[i], 0.0)
                i += 1
            if has_fill:
                if missing > 0.0:
                    poured = max(min(missing, holds - level - next_fill), 0.0)
                    unrecorded_l[end] += poured
                    level += poured
                cut = max(level + next_fill - holds, lost, 0.0)
                cut = min(cut, level)
                if cut > ROUNDING_L:
                    unexplained_l[end] = cut
                    level -= cut
                level = min(level + next_fill, holds)
                i = end + 1
            elif is_dipped:
                if missing > 0.0:
                    poured = max(min(missing, holds - level), 0.0)
                    unrecorded_l[end] += poured
                    level += poured
                cut = min(max(lost, level - volume_l[end]), level)
                if cut > ROUNDING_L:
                    unexplained_l[end] = cut
                level = volume_l[end]
                i = end + 1
            elif end < stop:
                volume_l[end] = level
                level = 0.0
                i = end + 1
