"""The perfectly mixed tank, exact: what is in each tank at each event, and how old it is.

Every litre that leaves a mixed tank takes all earlier fills along in proportion, so a burn
changes no share; a fill of x litres on a heel of v multiplies the shares of all earlier
fills by keep = v / (v + x).  Anything that blends by volume (octane, day of birth, share of
unknown origin) follows the recursion blend <- keep * blend + (1 - keep) * filled.  The
share of a fill at a later moment is (1 - keep) times the product of the later keeps, so the
running product R of keeps gives the share of all litres filled before some moment as a
ratio R(now) / R(then): exact, and constant work per event.  Derived here; the tests hold it
against an explicit list of parcels in rational arithmetic.

R would underflow after some hundred fills; it is kept as a mantissa and a count of
factors 2**-512, which loses no digit.  An emptied tank starts R afresh.

Two tanks in series: a fill drawn from a dock's tank brings the age distribution of that
tank at that moment, taken from the run of the upstream tank.

Pure arrays, ordered by tank and then by time; events of one instant are taken in the order
given, by convention outflows before fills (`event_order`).  A set of tanks is a bucket:
buckets can run anywhere, in any order.  Where the volumes, grades and missing fills come
from does not belong here.
"""

# ruff: noqa: PLR0917 - compiled functions take their arrays by position
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.uint8]

_BLOCK = 2.0**512
_EMPTY = 2.0**-500  # a smaller heel share is no share: the tank starts afresh
_NOTHING = 1e-19  # a part below this changes no sum of shares
_MINUTE_US = 60_000_000


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
        source_event=source[fills],
        lag_us=int(np.max((at_us - born_us)[fills & (source < 0)], initial=0)),
    )
    _mix(
        starts,
        capacity_l,
        is_fill,
        volume_l,
        np.ascontiguousarray(quality),
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


def share_older(run: TankRun, rows: Ints, at_us: Ints, age_us: Ints, upstream: TankRun) -> Floats:
    """Share of the tank's litres older than each age; shape (rows, ages).

    Args:
        run: the tanks' run.
        rows: events to tell it for; the state after the event's fill or during its outflow.
        at_us: the instant of each of those rows.
        age_us: ages; "older" is strict.
        upstream: the run that poured the cohorts with a source; `run` itself if none has.

    A tank that has had no fill gives NaN.
    """
    out = np.empty((len(rows), len(age_us)))
    _share_older_rows(
        run.cohorts_so_far[rows],
        run.first_cohort[rows],
        at_us,
        age_us,
        *_ages_of(run),
        run.source_event,
        upstream.cohorts_so_far,
        upstream.first_cohort,
        *_ages_of(upstream),
        out,
    )
    return out


def age_quantile(
    run: TankRun, rows: Ints, at_us: Ints, share: float, oldest_us: int, upstream: TankRun
) -> Floats:
    """Age in microseconds that `share` of the litres do not exceed, to one minute; shape (rows,).

    The smallest age with no more than 1 - share of the litres older than it, searched up
    to `oldest_us`.  A tank that has had no fill gives NaN.
    """
    out = np.empty(len(rows))
    _age_quantile_rows(
        run.cohorts_so_far[rows],
        run.first_cohort[rows],
        at_us,
        1.0 - share,
        oldest_us,
        *_ages_of(run),
        run.source_event,
        upstream.cohorts_so_far,
        upstream.first_cohort,
        *_ages_of(upstream),
        out,
    )
    return out


def _ages_of(run: TankRun) -> tuple[Ints, Ints, Floats, Floats, Ints, int]:
    return run.arrived_us, run.born_us, run.keep, run.mantissa, run.block, run.lag_us


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
                if kept < _EMPTY or cohort == first:
                    for q in range(kinds):
                        blend[q] = filled[i, q]
                else:
                    for q in range(kinds):
                        blend[q] += (1.0 - kept) * (filled[i, q] - blend[q])
                if kept < _EMPTY:
                    part = 1.0
                    blocks += 4
                else:
                    part *= kept
                    if part < 1.0 / _BLOCK:
                        part *= _BLOCK
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


@njit("f8(f8,i8,f8,i8)", cache=True)
def _ratio(part, blocks, of_part, of_blocks):  # type: ignore[no-untyped-def]
    apart = blocks - of_blocks
    if apart == 0:
        return part / of_part
    if apart == 1:
        return part / of_part / _BLOCK
    return 0.0  # below 2**-512


@njit("i8(i8[::1],i8,i8,i8)", cache=True)
def _first_at_or_after(arrived_us, low, high, at_us):  # type: ignore[no-untyped-def]
    while low < high:
        middle = (low + high) // 2
        if arrived_us[middle] < at_us:
            low = middle + 1
        else:
            high = middle
    return low


_RUN = "i8[::1],i8[::1],f8[::1],f8[::1],i8[::1],i8"


@njit(f"f8(i8,i8,i8,{_RUN})", cache=True)
def _born_before(  # type: ignore[no-untyped-def]
    limit_us, first, end, arrived_us, born_us, keep, mantissa, block, lag_us
):
    """Share of one tank's litres, all its cohorts of one age, that were born before a moment."""
    low = _first_at_or_after(arrived_us, first, end, limit_us)
    high = _first_at_or_after(arrived_us, low, end, limit_us + lag_us)
    share = 0.0
    for k in range(high - 1, low - 1, -1):
        left = _ratio(mantissa[end - 1], block[end - 1], mantissa[k], block[k])
        if left < _NOTHING:
            return share
        if born_us[k] < limit_us:
            share += left * (1.0 - keep[k])
    if low > first:
        share += _ratio(mantissa[end - 1], block[end - 1], mantissa[low - 1], block[low - 1])
    return share


@njit(f"f8(i8,i8,i8,{_RUN},i8[::1],i8[::1],i8[::1],{_RUN})", cache=True)
def _born_before_in_series(  # type: ignore[no-untyped-def]
    limit_us,
    first,
    end,
    arrived_us,
    born_us,
    keep,
    mantissa,
    block,
    lag_us,
    source_event,
    up_so_far,
    up_first,
    up_arrived_us,
    up_born_us,
    up_keep,
    up_mantissa,
    up_block,
    up_lag_us,
):
    """The same for cohorts that may have been poured from another tank."""
    low = _first_at_or_after(arrived_us, first, end, limit_us)
    share = 0.0
    for k in range(end - 1, low - 1, -1):
        left = _ratio(mantissa[end - 1], block[end - 1], mantissa[k], block[k])
        if left < _NOTHING:
            return share
        poured = source_event[k]
        if poured >= 0:
            share += (
                left
                * (1.0 - keep[k])
                * _born_before(
                    limit_us,
                    up_first[poured],
                    up_so_far[poured],
                    up_arrived_us,
                    up_born_us,
                    up_keep,
                    up_mantissa,
                    up_block,
                    up_lag_us,
                )
            )
        elif born_us[k] < limit_us:
            share += left * (1.0 - keep[k])
    if low > first:
        share += _ratio(mantissa[end - 1], block[end - 1], mantissa[low - 1], block[low - 1])
    return share


@njit(
    f"void(i8[::1],i8[::1],i8[::1],i8[::1],{_RUN},i8[::1],i8[::1],i8[::1],{_RUN},f8[:,::1])",
    cache=True,
)
def _share_older_rows(  # type: ignore[no-untyped-def]
    ends, firsts, at_us, age_us, arrived_us, born_us, keep, mantissa, block, lag_us,
    source_event, up_so_far, up_first, up_arrived_us, up_born_us, up_keep, up_mantissa,
    up_block, up_lag_us, out,
):  # fmt: skip
    is_single = True
    for k in range(len(source_event)):
        if source_event[k] >= 0:
            is_single = False
            break
    for i in range(len(ends)):
        for a in range(len(age_us)):
            if ends[i] == firsts[i]:
                out[i, a] = np.nan
            elif is_single:
                out[i, a] = _born_before(
                    at_us[i] - age_us[a], firsts[i], ends[i],
                    arrived_us, born_us, keep, mantissa, block, lag_us,
                )  # fmt: skip
            else:
                out[i, a] = _born_before_in_series(
                    at_us[i] - age_us[a], firsts[i], ends[i],
                    arrived_us, born_us, keep, mantissa, block, lag_us, source_event,
                    up_so_far, up_first, up_arrived_us, up_born_us, up_keep, up_mantissa,
                    up_block, up_lag_us,
                )  # fmt: skip


@njit(
    f"void(i8[::1],i8[::1],i8[::1],f8,i8,{_RUN},i8[::1],i8[::1],i8[::1],{_RUN},f8[::1])",
    cache=True,
)
def _age_quantile_rows(  # type: ignore[no-untyped-def]
    ends, firsts, at_us, older_share, oldest_us, arrived_us, born_us, keep, mantissa, block,
    lag_us, source_event, up_so_far, up_first, up_arrived_us, up_born_us, up_keep,
    up_mantissa, up_block, up_lag_us, out,
):  # fmt: skip
    for i in range(len(ends)):
        if ends[i] == firsts[i]:
            out[i] = np.nan
            continue
        low = 0
        high = oldest_us // _MINUTE_US
        while low < high:
            middle = (low + high) // 2
            older = _born_before_in_series(
                at_us[i] - middle * _MINUTE_US, firsts[i], ends[i],
                arrived_us, born_us, keep, mantissa, block, lag_us, source_event,
                up_so_far, up_first, up_arrived_us, up_born_us, up_keep, up_mantissa,
                up_block, up_lag_us,
            )  # fmt: skip
            if older <= older_share:
                high = middle
            else:
                low = middle + 1
        out[i] = low * _MINUTE_US
