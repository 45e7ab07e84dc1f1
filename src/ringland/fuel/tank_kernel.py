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

Pure arrays, ordered by tank and then by time; events of one instant are taken in the order
given, by convention outflows before fills (`event_order`).  A set of tanks is a bucket:
buckets can run anywhere, in any order.  Where the volumes, grades and missing fills come
from does not belong here.
"""

# ruff: noqa: PLR0917 - compiled functions take their arrays by position
from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.uint8]

BLOCK = 2.0**512
"""One block of `TankRun.block`: R = mantissa * BLOCK ** -block."""
EMPTY = 2.0**-500  # a smaller heel share is no share: the tank starts afresh


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
) -> TankRun:
    """What every tank held at every event.

    Args:
        starts: first event of each tank and, last, the number of events; shape (tanks + 1,).
        capacity_l: litres each tank holds.
        at_us: instant of each event, not falling within a tank; see `event_order`.
        is_fill: 1 for a fill, 0 for an outflow.
        volume_l: litres of each event, not negative.
        quality: shape (events, k), k quantities that blend by volume; read at fills only.
        born_us: birth of the fuel of each fill, not after the fill; ignored where
            `source_event` names an upstream event.
        source_event: for each fill the event of the upstream run that poured it, else -1.

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
    fills = is_fill == 1
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
    _mix(
        starts,
        capacity_l,
        is_fill,
        volume_l,
        quality,
        out.quality,
        out.before_l,
        out.after_l,
        out.moved_l,
        out.cohorts_so_far,
        out.first_cohort,
        out.keep,
        out.mantissa,
        out.block,
    )
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


@njit(
    "void(i8[::1],f8[::1],u1[::1],f8[::1],f8[:,::1],f8[:,::1],f8[::1],f8[::1],f8[::1],"
    "i8[::1],i8[::1],f8[::1],f8[::1],i8[::1])",
    cache=True,
)
def _mix(  # type: ignore[no-untyped-def]  # numba types it by the signature
    starts,
    capacity_l,
    is_fill,
    volume_l,
    filled,
    quality,
    before_l,
    after_l,
    moved_l,
    cohorts_so_far,
    first_cohort,
    keep,
    mantissa,
    block,
):
    kinds = filled.shape[1]
    blend = np.empty(kinds)
    cohort = 0
    for tank in range(len(starts) - 1):
        first = cohort
        level = 0.0
        rest = 0.0  # level + rest is the level to twice the digits, so drift never shows
        part = 1.0
        blocks = 0
        blend[:] = np.nan
        for i in range(starts[tank], starts[tank + 1]):
            now = max(level + rest, 0.0)
            before_l[i] = now
            first_cohort[i] = first
            if is_fill[i]:
                moved = max(min(volume_l[i], capacity_l[tank] - now), 0.0)
                total = now + moved
                kept = now / total if total > 0.0 else 1.0
                if kept < EMPTY or cohort == first:
                    for q in range(kinds):
                        blend[q] = filled[i, q]
                else:
                    for q in range(kinds):
                        blend[q] += (1.0 - kept) * (filled[i, q] - blend[q])
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
            else:
                moved = min(volume_l[i], now)
                change = -moved
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
