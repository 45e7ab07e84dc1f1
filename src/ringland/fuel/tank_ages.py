"""How old the fuel in mixed tanks is: shares older than any age, and quantiles of age.

Two tanks in series: a fill drawn from a dock's tank brings the age distribution of that
tank at that moment, so the share of a craft's litres born before some moment is the sum
over its fills of (share of the fill) x (share of the poured fuel born before it).  Fills
that arrived before the moment count whole, through the ratio of the running products of
`tank_kernel`; only those since then are visited.
"""

# ruff: noqa: PLR0917 - compiled functions take their arrays by position
from __future__ import annotations

import numpy as np
from numba import njit

from ringland.fuel.tank_kernel import BLOCK, Floats, Ints, TankRun, compiled

_NOTHING = 1e-19  # a part below this changes no sum of shares
_STEP_US = 3_600_000_000
"""Ages of percentiles are found to the hour."""
_FIRST_STRIDE = 2


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
        compiled(at_us, np.int64),
        compiled(age_us, np.int64),
        *_ages_of(run),
        run.source_event,
        upstream.cohorts_so_far,
        upstream.first_cohort,
        *_ages_of(upstream),
        out,
    )
    return out


def age_quantile(
    run: TankRun, rows: Ints, at_us: Ints, mean_age_us: Floats, share: float, upstream: TankRun
) -> Floats:
    """Age in microseconds that `share` of the litres do not exceed, to the hour; shape (rows,).

    The smallest age with no more than 1 - share of the litres older than it.  It is at most
    mean age / (1 - share) (Markov's inequality), which is how far is searched.  A tank that
    has had no fill gives NaN.

    Args:
        run: the tanks' run.
        rows: events to tell it for.
        at_us: the instant of each of those rows.
        mean_age_us: the mean age then, for each of those rows.
        share: e.g. 0.9 for the 90th percentile; below 1.
        upstream: the run that poured the cohorts with a source; `run` itself if none has.
    """
    out = np.empty(len(rows))
    _age_quantile_rows(
        run.cohorts_so_far[rows],
        run.first_cohort[rows],
        compiled(at_us, np.int64),
        1.0 - share,
        compiled(mean_age_us, np.float64),
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


@njit("f8(f8,i8,f8,i8)", cache=True, nogil=True)
def _ratio(part, blocks, of_part, of_blocks):  # type: ignore[no-untyped-def]
    apart = blocks - of_blocks
    if apart == 0:
        return part / of_part
    if apart == 1:
        return part / of_part / BLOCK
    return 0.0  # below 2**-512


@njit("i8(i8[::1],i8,i8,i8)", cache=True, nogil=True)
def _first_at_or_after(arrived_us, low, high, at_us):  # type: ignore[no-untyped-def]
    while low < high:
        middle = (low + high) // 2
        if arrived_us[middle] < at_us:
            low = middle + 1
        else:
            high = middle
    return low


_RUN = "i8[::1],i8[::1],f8[::1],f8[::1],i8[::1],i8"


@njit(f"f8(i8,i8,i8,{_RUN})", cache=True, nogil=True)
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


@njit(f"f8(i8,f8,i8,i8,{_RUN},i8[::1],i8[::1],i8[::1],{_RUN})", cache=True, nogil=True)
def _born_before_in_series(  # type: ignore[no-untyped-def]
    limit_us,
    most,
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
    """The same for cohorts that may have been poured from another tank; no further than `most`.

    Fills between two deliveries were poured of the same cohorts: their share is told once.
    """
    low = _first_at_or_after(arrived_us, first, end, limit_us)
    share = 0.0
    if low > first:
        share += _ratio(mantissa[end - 1], block[end - 1], mantissa[low - 1], block[low - 1])
    told_first, told_end, of_poured = -1, -1, 0.0
    for k in range(end - 1, low - 1, -1):
        left = _ratio(mantissa[end - 1], block[end - 1], mantissa[k], block[k])
        if left < _NOTHING or share > most:
            return share
        poured = source_event[k]
        if poured >= 0:
            if up_first[poured] != told_first or up_so_far[poured] != told_end:
                told_first, told_end = up_first[poured], up_so_far[poured]
                of_poured = _born_before(
                    limit_us, told_first, told_end, up_arrived_us, up_born_us, up_keep,
                    up_mantissa, up_block, up_lag_us,
                )  # fmt: skip
            share += left * (1.0 - keep[k]) * of_poured
        elif born_us[k] < limit_us:
            share += left * (1.0 - keep[k])
    return share


@njit(
    f"void(i8[::1],i8[::1],i8[::1],i8[::1],{_RUN},i8[::1],i8[::1],i8[::1],{_RUN},f8[:,::1])",
    cache=True,
    nogil=True,
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
                    at_us[i] - age_us[a], np.inf, firsts[i], ends[i],
                    arrived_us, born_us, keep, mantissa, block, lag_us, source_event,
                    up_so_far, up_first, up_arrived_us, up_born_us, up_keep, up_mantissa,
                    up_block, up_lag_us,
                )  # fmt: skip


@njit(f"b1(i8,i8,f8,i8,i8,{_RUN},i8[::1],i8[::1],i8[::1],{_RUN})", cache=True, nogil=True)
def _is_enough(  # type: ignore[no-untyped-def]
    steps, at_us, older_share, first, end, arrived_us, born_us, keep, mantissa, block, lag_us,
    source_event, up_so_far, up_first, up_arrived_us, up_born_us, up_keep, up_mantissa, up_block,
    up_lag_us,
):  # fmt: skip
    """Whether no more than a share of the litres is older than so many steps."""
    older = _born_before_in_series(
        at_us - steps * _STEP_US, older_share, first, end, arrived_us, born_us, keep, mantissa,
        block, lag_us, source_event, up_so_far, up_first, up_arrived_us, up_born_us, up_keep,
        up_mantissa, up_block, up_lag_us,
    )  # fmt: skip
    return older <= older_share


@njit(
    f"void(i8[::1],i8[::1],i8[::1],f8,f8[::1],{_RUN},i8[::1],i8[::1],i8[::1],{_RUN},f8[::1])",
    cache=True,
    nogil=True,
)
def _age_quantile_rows(  # type: ignore[no-untyped-def]
    ends, firsts, at_us, older_share, mean_age_us, arrived_us, born_us, keep, mantissa, block,
    lag_us, source_event, up_so_far, up_first, up_arrived_us, up_born_us, up_keep,
    up_mantissa, up_block, up_lag_us, out,
):  # fmt: skip
    row = -1  # the row before, if its tank has had no fill since: births are the same then
    for i in range(len(ends)):
        if ends[i] == firsts[i] or np.isnan(mean_age_us[i]):
            out[i] = np.nan
            row = -1
            continue
        low = 0
        high = int(mean_age_us[i] / older_share) // _STEP_US + 1
        if row >= 0 and ends[row] == ends[i] and firsts[row] == firsts[i]:
            waited = at_us[i] - at_us[row]
            high = min(high, (int(out[row]) + waited) // _STEP_US + 1)
            low = max((int(out[row]) + waited) // _STEP_US - 1, 0)
        elif row >= 0 and firsts[row] == firsts[i]:
            # A fill since made it younger as a rule: gallop down from the age before, grown on.
            near = min((int(out[row]) + at_us[i] - at_us[row]) // _STEP_US + 1, high)
            step = _FIRST_STRIDE
            is_near = True
            while is_near and low < high:
                is_near = _is_enough(
                    near, at_us[i], older_share, firsts[i], ends[i], arrived_us, born_us, keep,
                    mantissa, block, lag_us, source_event, up_so_far, up_first, up_arrived_us,
                    up_born_us, up_keep, up_mantissa, up_block, up_lag_us,
                )  # fmt: skip
                if is_near:
                    high = near
                    near = max(high - step, 0)
                    step *= 2
                else:
                    low = near + 1
        while low < high:
            middle = (low + high) // 2
            if _is_enough(
                middle, at_us[i], older_share, firsts[i], ends[i], arrived_us, born_us, keep,
                mantissa, block, lag_us, source_event, up_so_far, up_first, up_arrived_us,
                up_born_us, up_keep, up_mantissa, up_block, up_lag_us,
            ):  # fmt: skip
                high = middle
            else:
                low = middle + 1
        out[i] = low * _STEP_US
        row = i
