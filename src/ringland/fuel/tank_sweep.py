"""One lean pass over very many tanks, each filled with fuel of known age, for large networks.

The method of `tank_kernel` and `tank_ages`, with only the results of outflows kept and the
births of one tank not falling from fill to fill: then the first fill younger than an
age limit only ever moves forward, and every event costs the same.  A bucket of tanks is
swept on its own; the interpreter lock is released, so buckets may run in threads.
Tanks in series, other blended quantities and clamped litres are `tank_kernel`'s.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled functions take their arrays by position, and
# one pass that never calls out is what makes it fast
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import b1, f8, i4, i8, njit, types, u1

from ringland.fuel.tank_kernel import BLOCK, EMPTY, Flags, Floats, Ints

Tanks = npt.NDArray[np.int32]
_TANKS, _INTS, _FLAGS, _FLOATS = (
    types.Array(kind, 1, "C", readonly=True)  # as frames hand out their columns uncopied
    for kind in (i4, i8, u1, f8)
)
_NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Burned:
    """One row per outflow, in the order of the events.

    `share_older` has one column per age limit; NaN in all three while a tank was never filled.
    """

    octane: Floats
    mean_age_us: Floats
    share_older: Floats


def sweep_tanks(
    tank: Tanks, capacity_l: float, at_us: Ints, is_fill: Flags, volume_l: Floats,
    octane: Floats, fill_age_us: int, age_us: Ints,
) -> Burned:  # fmt: skip
    """Octane, mean age and share older than each limit of every outflow.

    Args:
        tank: number of the tank, rising; events of a tank in order of time, at one instant
            outflows before fills.
        capacity_l: litres each tank of the bucket holds; more is not taken in.
        at_us: instant of each event.
        is_fill: 1 for a fill, 0 for an outflow.
        volume_l: litres; an outflow stops at an empty tank.
        octane: of the fuel filled; read at fills only.
        fill_age_us: age of all fuel when it is filled.
        age_us: age limits, at most 8; "older" is strict.

    Raises:
        ValueError: events out of order.
    """
    outflows = len(is_fill) - int(np.count_nonzero(is_fill))
    # One large block: the system hands it out in large pages, small ones cost more than the sums.
    out = np.empty((outflows, 2 + len(age_us)))
    wrong = _sweep(
        tank, capacity_l, at_us, is_fill, volume_l, octane, fill_age_us, age_us, out
    )  # fmt: skip
    if wrong >= 0:
        raise ValueError(f"event {wrong}: out of order; cluster with cluster_by_tank().")
    return Burned(out[:, 0], out[:, 1], out[:, 2:])


@njit(
    i8(_TANKS, f8, _INTS, _FLAGS, _FLOATS, _FLOATS, i8, _INTS, f8[:, ::1]),
    cache=True,
    nogil=True,
)
def _sweep(  # type: ignore[no-untyped-def]  # numba types it by the signature
    tank, capacity_l, at_us, is_fill, volume_l, octane, fill_age_us, age_us, out
):
    ages = len(age_us)
    most = cohorts = 0
    for i in range(len(tank)):
        if i > 0 and tank[i] != tank[i - 1]:
            cohorts = 0
        cohorts += is_fill[i]
        most = max(most, cohorts)
    # Per cohort and one beyond: its arrival, and 1 / R before it, R the product of keeps.
    arrived = np.empty(most + 1, np.int64)
    whole = np.empty(most + 1)
    block = np.empty(most + 1, np.int64)
    young = np.empty(ages, np.int64)  # first cohort not older than each limit
    row = cohorts = blocks = 0
    level = blend = age = 0.0
    part = 1.0
    before = np.int64(0)
    for i in range(len(tank)):
        now = at_us[i]
        if i == 0 or tank[i] != tank[i - 1]:
            if i > 0 and tank[i] < tank[i - 1]:
                return i
            level = 0.0
            part = 1.0
            cohorts = blocks = 0
            young[:] = 0
            arrived[0] = _NEVER
            whole[0] = 0.0
            block[0] = 0
            before = now
        elif now < before:
            return i
        age += float(now - before)
        before = now
        if is_fill[i]:
            moved = max(min(volume_l[i], capacity_l - level), 0.0)
            kept = level / (level + moved) if level + moved > 0.0 else 1.0
            if kept < EMPTY or cohorts == 0:
                blend = octane[i]
                age = float(fill_age_us)
            else:
                blend += (1.0 - kept) * (octane[i] - blend)
                age += (1.0 - kept) * (fill_age_us - age)
            if kept < EMPTY:
                part = 1.0
                blocks += 4
            else:
                part *= kept
                if part < 1.0 / BLOCK:
                    part *= BLOCK
                    blocks += 1
            level += moved
            arrived[cohorts] = now
            cohorts += 1
            arrived[cohorts] = _NEVER
            whole[cohorts] = 1.0 / part
            block[cohorts] = blocks
        else:
            if cohorts == 0:
                out[row, :] = np.nan
            else:
                out[row, 0] = blend
                out[row, 1] = age
                for a in range(ages):
                    limit = now - age_us[a] + fill_age_us
                    first = young[a]
                    first += np.int64(arrived[first] < limit)  # twice without a branch:
                    first += np.int64(arrived[first] < limit)  # seldom are there more
                    while arrived[first] < limit:
                        first += 1
                    young[a] = first
                    older = part * whole[first]
                    if blocks != block[first]:
                        older = older / BLOCK if blocks == block[first] + 1 else 0.0
                    out[row, 2 + a] = older
            row += 1
            level = max(level - volume_l[i], 0.0)
    return -1


@dataclass(frozen=True)
class Clustered:
    """Events of both kinds, by tank and time; what `sweep_tanks` reads."""

    tank: Tanks
    at_us: Ints
    is_fill: Flags
    volume_l: Floats
    octane: Floats


def cluster_by_tank(
    fills: tuple[Tanks, Ints, Floats, Floats], sessions: tuple[Tanks, Ints, Floats], tanks: int
) -> Clustered:
    """Merge time-ordered fills and sessions of all tanks into events by tank and time.

    One stable counting pass, so it grows linearly.  At one instant sessions come first.

    Args:
        fills: tank (from 0), instant, litres, octane; in order of time.
        sessions: tank, instant of its end, litres; in order of time.
        tanks: number of tanks.

    Raises:
        ValueError: one of the two is not in order of time.
    """
    n = len(fills[0]) + len(sessions[0])
    out = Clustered(
        np.empty(n, np.int32),
        np.empty(n, np.int64),
        np.empty(n, np.uint8),
        np.empty(n),
        np.empty(n),
    )
    next_row = np.bincount(fills[0], minlength=tanks) + np.bincount(sessions[0], minlength=tanks)
    next_row = np.concatenate([[0], np.cumsum(next_row)[:-1]]).astype(np.int64)
    if not _cluster(
        *fills, *sessions, next_row, out.tank, out.at_us, out.is_fill, out.volume_l, out.octane
    ):
        raise ValueError("fills and sessions must each be in order of time.")
    return out


@njit(
    b1(
        _TANKS,
        _INTS,
        _FLOATS,
        _FLOATS,
        _TANKS,
        _INTS,
        _FLOATS,
        i8[::1],
        i4[::1],
        i8[::1],
        u1[::1],
        f8[::1],
        f8[::1],
    ),
    cache=True,
    nogil=True,
)
def _cluster(  # type: ignore[no-untyped-def]
    fill_tank, fill_at, fill_l, fill_octane, ride_tank, ride_at, ride_l, next_row,
    tank, at_us, is_fill, volume_l, octane,
):  # fmt: skip
    f = r = 0
    while f < len(fill_tank) or r < len(ride_tank):
        if r < len(ride_tank) and (f == len(fill_tank) or ride_at[r] <= fill_at[f]):
            if r > 0 and ride_at[r] < ride_at[r - 1]:
                return False
            whose = ride_tank[r]
            row = next_row[whose]
            at_us[row] = ride_at[r]
            is_fill[row] = 0
            volume_l[row] = ride_l[r]
            octane[row] = 0.0
            r += 1
        else:
            if f > 0 and fill_at[f] < fill_at[f - 1]:
                return False
            whose = fill_tank[f]
            row = next_row[whose]
            at_us[row] = fill_at[f]
            is_fill[row] = 1
            volume_l[row] = fill_l[f]
            octane[row] = fill_octane[f]
            f += 1
        tank[row] = whose
        next_row[whose] = row + 1
    return True
