"""The perfectly mixed tank, exact: what is in each tank at each event.

Every litre that leaves a mixed tank takes all earlier fills along in proportion, so a burn
changes no share; a fill of x litres on a heel of v multiplies the shares of all earlier
fills by keep = v / (v + x).  Anything that blends by volume (octane, day of birth, share of
unknown origin) follows the recursion blend <- keep * blend + (1 - keep) * filled.  The
share of a fill at a later moment is (1 - keep) times the product of the later keeps, so the
running product R of keeps gives the share of all litres filled before some moment as a
ratio R(now) / R(then): exact, and constant work per event (`tank_ages`).  Derived here; the
tests hold it against an explicit list of parcels in rational arithmetic.

R would underflow after some hundred fills; it is kept as a mantissa and a count of
factors 2**-512, which loses no digit.  An emptied tank starts R afresh.

Bounds of octane and age follow the same recursion from those of each fill.  What may have
happened unseen (`Unseen`: a level off the one taken, a fill nobody wrote down) widens them by what
it alone could have done; that shrinks with every later fill, and independent ones add by squares.

Pure arrays, ordered by tank and then by time; events of one instant are taken in the order
given, by convention outflows before fills (`event_order`).  A set of tanks is a bucket:
buckets can run anywhere, in any order.  Where the volumes, grades and missing fills come
from does not belong here.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled functions take their arrays by position,
# and one pass that hardly ever calls out is what makes it fast
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.uint8]

US_PER_DAY = 86_400_000_000
BLOCK = 2.0**512
"""One block of `TankRun.block`: R = mantissa * BLOCK ** -block."""
EMPTY = 2.0**-500  # a smaller heel share is no share: the tank starts afresh
OUT, FILL, DIP, TEST = 0, 1, 2, 3
"""Kinds of event.  A dip says what stood in the tank, a test what it was; neither moves fuel."""
LOW, BEST, HIGH, YOUNGEST, OLDEST, UNKNOWN = 0, 1, 2, 4, 5, 6
"""Columns of a quality with bounds: lowest, best and highest octane, latest and earliest day of
birth since 1970, share not on record."""


@dataclass(frozen=True)
class Unseen:
    """What may have happened without being written down, per event.

    `low_gap_l` and `high_gap_l` (the level's before each event), `slack_l` (of its litres) and
    `unseen_l` (of a fill before it) are of `tank_levels`; `chance` is how likely such a fill
    is; where `is_bounded` is 0 it is too unlikely for the bounds and counts in the unknown share
    only.  `lowest_aki` and `highest_aki` are what it may have brought.
    """

    low_gap_l: Floats
    high_gap_l: Floats
    slack_l: Floats
    unseen_l: Floats
    chance: Floats
    is_bounded: Flags
    lowest_aki: Floats
    highest_aki: Floats
    oldest_d: float
    """how old it may have been; it may also have been fresh"""


@dataclass(frozen=True)
class TankRun:
    """What a set of tanks held; one row per event, and one per fill ("cohort").

    `quality` is the blend an outflow took, or the blend after a fill; NaN while a tank has
    had no fill.  `moved_l` is what of the event's volume fitted: an outflow stops at an
    empty tank, a fill at a full one, so `volume - moved_l` is what was clamped.
    `cohorts_so_far` counts, over all tanks, the fills up to and including the event.
    """

    quality: Floats
    before_l: Floats
    after_l: Floats
    moved_l: Floats
    cohorts_so_far: Ints
    first_cohort: Ints
    """for each event, the first cohort of its tank"""
    arrived_us: Ints
    born_us: Ints
    keep: Floats
    mantissa: Floats
    block: Ints
    source_event: Ints
    """per cohort, the upstream event that poured it; -1: of one age"""
    lag_us: int
    """longest time between birth and arrival of a cohort of one age"""


def event_order(tank: Ints, at_us: Ints, is_fill: Flags) -> Ints:
    """Row order the kernel needs: by tank, by time, outflows before fills at one instant.

    Rows alike in all three keep the order they came in.
    """
    return np.lexsort((is_fill, at_us, tank))


def compiled(values: npt.ArrayLike, kind: type[np.generic]) -> npt.NDArray[Any]:
    """The array as the compiled functions take it: of one kind, in one piece, not read-only."""
    return np.require(values, kind, ["C", "W"])


def mix_tanks(
    starts: Ints,
    capacity_l: Floats,
    at_us: Ints,
    is_fill: Flags,
    volume_l: Floats,
    quality: Floats,
    born_us: Ints,
    source_event: Ints | None = None,
    unseen: Unseen | None = None,
) -> TankRun:
    """What every tank held at every event.

    Args:
        starts: first event of each tank and, last, the number of events; shape (tanks + 1,).
        capacity_l: litres each tank holds.
        at_us: instant of each event, not falling within a tank; see `event_order`.
        is_fill: OUT, FILL, DIP or TEST for each event.
        volume_l: litres of each event, not negative; of a dip the level read.
        quality: shape (events, k), k quantities that blend by volume; read at fills, and at
            tests as what was found (a NaN bound: no octane; UNKNOWN: how much lower it may be
            for the water in it).
        born_us: birth of the fuel of each fill, not after the fill; ignored where
            `source_event` names an upstream event.
        source_event: for each fill the event of the upstream run that poured it, else -1.
        unseen: widens the bounds of octane and age and raises UNKNOWN; none: they blend only.

    Raises:
        ValueError: events out of order, a negative or missing volume, fuel filled before
            it was born.
    """
    starts, at_us, born_us = (compiled(x, np.int64) for x in (starts, at_us, born_us))
    capacity_l, volume_l, quality = (
        compiled(x, np.float64) for x in (capacity_l, volume_l, quality)
    )
    is_fill = compiled(is_fill, np.uint8)
    source = np.full(len(at_us), -1, np.int64) if source_event is None else source_event
    fills = is_fill == FILL
    cohorts = int(fills.sum())
    _check_events(starts, at_us, volume_l, born_us, fills & (source < 0))
    events = len(at_us)
    out = TankRun(
        quality=np.empty((events, quality.shape[1])),
        before_l=np.empty(events),
        after_l=np.empty(events),
        moved_l=np.empty(events),
        cohorts_so_far=np.empty(events, np.int64),
        first_cohort=np.empty(events, np.int64),
        arrived_us=at_us[fills],
        born_us=born_us[fills],
        keep=np.empty(cohorts),
        mantissa=np.empty(cohorts),
        block=np.empty(cohorts, np.int64),
        source_event=compiled(source[fills], np.int64),
        lag_us=int(np.max((at_us - born_us)[fills & (source < 0)], initial=0)),
    )
    none = np.empty(0)
    may = unseen or Unseen(none, none, none, none, none, np.empty(0, np.uint8), none, none, 0.0)
    reach = np.stack([may.lowest_aki, may.highest_aki], axis=-1)
    _mix(
        starts, capacity_l, at_us, is_fill, volume_l, quality, unseen is not None, may.low_gap_l,
        may.high_gap_l, may.slack_l, may.unseen_l, reach, may.oldest_d, may.chance,
        may.is_bounded, out.quality, out.before_l, out.after_l, out.moved_l, out.cohorts_so_far,
        out.first_cohort, out.keep, out.mantissa, out.block,
    )  # fmt: skip
    return out


def _check_events(
    starts: Ints,
    at_us: Ints,
    volume_l: Floats,
    born_us: Ints,
    of_one_age: npt.NDArray[np.bool_],
) -> None:
    if not (volume_l >= 0).all():
        row = int(np.argmin(volume_l >= 0))
        raise ValueError(f"event {row}: volume {volume_l[row]} is not a number of litres >= 0.")
    if (born_us > at_us)[of_one_age].any():
        row = int(np.argmax((born_us > at_us) & of_one_age))
        raise ValueError(f"event {row}: fuel filled before it was born.")
    same_tank = np.ones(max(len(at_us) - 1, 0), bool)
    inner = starts[1:-1]
    same_tank[inner[(inner > 0) & (inner < len(at_us))] - 1] = False
    late = np.diff(at_us) < 0
    if (late & same_tank).any():
        row = int(np.argmax(late & same_tank)) + 1
        raise ValueError(f"event {row}: out of order; sort with event_order().")


@njit("UniTuple(i8,2)(i8)", cache=True, nogil=True, inline="always")
def _bounds(pair):  # type: ignore[no-untyped-def]
    """The columns of the lower and the upper bound: of octane, of the day of birth."""
    return (LOW, HIGH) if pair == 0 else (OLDEST, YOUNGEST)


@njit("f8(f8,f8,f8,f8,f8,f8)", cache=True, nogil=True, inline="always")
def _off_by_level(  # type: ignore[no-untyped-def]
    better_on, now, moved, low_gap, high_gap, slack
):
    """How much worse the blend is if the level, or the litres filled, were the least kind ones."""
    total = now + moved
    if better_on > 0.0:  # the fill helps: a higher level or a smaller fill dilutes it
        off = better_on * moved * high_gap / (total * (total + high_gap))
        less = min(slack, moved)
        short = better_on * now * less / (total * max(total - less, 1e-9))
    else:
        low = min(low_gap, now)
        off = -better_on * moved * low / (total * max(total - low, 1e-9))
        short = -better_on * now * slack / (total * (total + slack))
    return np.sqrt(off * off + short * short)


@njit(
    "void(i8[::1],f8[::1],i8[::1],u1[::1],f8[::1],f8[:,::1],b1,f8[::1],f8[::1],f8[::1],f8[::1],"
    "f8[:,::1],f8,f8[::1],u1[::1],f8[:,::1],f8[::1],f8[::1],f8[::1],i8[::1],i8[::1],f8[::1],"
    "f8[::1],i8[::1])",
    cache=True,
    nogil=True,
)
def _mix(  # type: ignore[no-untyped-def]  # numba types it by the signature
    starts, capacity_l, at_us, is_fill, volume_l, filled, has_unseen, low_gap_l, high_gap_l,
    slack_l, unseen_l, reach, oldest_d, chance, is_bounded, quality, before_l, after_l, moved_l,
    cohorts_so_far, first_cohort, keep, mantissa, block,
):  # fmt: skip
    kinds = filled.shape[1]
    blend = np.empty(kinds)
    # squares of how far below and above the blend's own bounds octane and birth may be
    low_sq, high_sq, least, most = np.empty(2), np.empty(2), np.empty(2), np.empty(2)
    cohort = 0
    for tank in range(len(starts) - 1):
        first = cohort
        level = 0.0
        rest = 0.0  # level + rest is the level to twice the digits, so drift never shows
        part = 1.0
        blocks = 0
        blend[:] = np.nan
        low_sq[:] = 0.0
        high_sq[:] = 0.0
        for i in range(starts[tank], starts[tank + 1]):
            now = max(level + rest, 0.0)
            before_l[i] = now
            first_cohort[i] = first
            moved = 0.0
            change = 0.0
            if has_unseen:
                least[0], most[0] = reach[i, 0], reach[i, 1]
                most[1] = at_us[i] / US_PER_DAY
                least[1] = most[1] - oldest_d
            if is_fill[i] == FILL:
                moved = max(min(volume_l[i], capacity_l[tank] - now), 0.0)
                total = now + moved
                kept = now / total if total > 0.0 else 1.0
                is_first = kept < EMPTY or cohort == first
                if has_unseen and is_first:
                    low_sq[:] = 0.0
                    high_sq[:] = 0.0
                elif has_unseen and total > 0.0:
                    for p in range(2):
                        low, high = _bounds(p)
                        better, worse = filled[i, low] - blend[low], blend[high] - filled[i, high]
                        below = _off_by_level(
                            better, now, moved, low_gap_l[i], high_gap_l[i], slack_l[i]
                        )
                        above = _off_by_level(
                            worse, now, moved, low_gap_l[i], high_gap_l[i], slack_l[i]
                        )
                        low_sq[p] = kept * kept * low_sq[p] + below * below
                        high_sq[p] = kept * kept * high_sq[p] + above * above
                if is_first:
                    for q in range(kinds):
                        blend[q] = filled[i, q]
                else:
                    for q in range(kinds):
                        blend[q] += (1.0 - kept) * (filled[i, q] - blend[q])
                if has_unseen and unseen_l[i] > 0.0:
                    share = unseen_l[i] / (total + unseen_l[i])
                    blend[UNKNOWN] += (1.0 - blend[UNKNOWN]) * chance[i] * share
                    if is_bounded[i]:
                        for p in range(2):
                            low, high = _bounds(p)
                            low_sq[p] += (max(blend[low] - least[p], 0.0) * share) ** 2
                            high_sq[p] += (max(most[p] - blend[high], 0.0) * share) ** 2
                if kept < EMPTY:
                    part = 1.0
                    blocks += 4
                else:
                    part *= kept
                    if part < 1.0 / BLOCK:
                        part *= BLOCK
                        blocks += 1
                keep[cohort] = kept
                mantissa[cohort] = part
                block[cohort] = blocks
                cohort += 1
                change = moved
            elif is_fill[i] == DIP:
                change = volume_l[i] - now
            elif is_fill[i] == OUT:
                moved = min(volume_l[i], now)
                change = -moved
            elif has_unseen and cohort > first:
                if not np.isnan(filled[i, LOW]):
                    low_on = max(blend[LOW] - np.sqrt(low_sq[0]), filled[i, LOW])
                    high_on = min(blend[HIGH] + np.sqrt(high_sq[0]), filled[i, HIGH])
                    if low_on > high_on:  # the record disagrees: the test was of this fuel
                        low_on, high_on = filled[i, LOW], filled[i, HIGH]
                    blend[LOW], blend[HIGH] = low_on, high_on
                    blend[BEST] = min(max(blend[BEST], low_on), high_on)
                    blend[UNKNOWN] = 0.0
                    low_sq[0], high_sq[0] = 0.0, 0.0
                blend[LOW] -= filled[i, UNKNOWN]
            summed = level + change
            shift = summed - level
            rest += (level - (summed - shift)) + (change - shift)
            level = summed + rest
            rest -= level - summed
            moved_l[i] = moved
            after_l[i] = max(level + rest, 0.0)
            cohorts_so_far[i] = cohort
            for q in range(kinds):
                quality[i, q] = blend[q]
            if has_unseen and cohort > first:
                share = 0.0
                if is_fill[i] == OUT and unseen_l[i] > 0.0 and now > 0.0:
                    share = unseen_l[i] / (now + unseen_l[i])
                    quality[i, UNKNOWN] += (1.0 - blend[UNKNOWN]) * chance[i] * share
                    share *= is_bounded[i]
                for p in range(2):
                    low, high = _bounds(p)
                    less = low_sq[p] + (max(blend[low] - least[p], 0.0) * share) ** 2
                    more = high_sq[p] + (max(most[p] - blend[high], 0.0) * share) ** 2
                    if less > 0.0:
                        quality[i, low] = max(blend[low] - np.sqrt(less), min(blend[low], least[p]))
                    if more > 0.0:
                        top = max(blend[high], most[p])
                        quality[i, high] = min(blend[high] + np.sqrt(more), top)
