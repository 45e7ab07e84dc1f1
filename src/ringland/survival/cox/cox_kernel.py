"""Compiled sums of the Cox partial likelihood over (start, stop] rows.

A row is at risk at the event slots `first` <= slot < `last`: it is added to its first slot
and taken off at its last, and one walk over the slots gives every risk set.  A slot is one
distinct event time of one stratum; each stratum ends in one empty slot that catches the
rows leaving it.

Method: Andersen & Gill 1982; Efron 1977 and Breslow 1974 ties; case weights as in
Therneau & Grambsch 2000, section 3.3 and appendix.
"""

# ruff: noqa: PLR0917 -- compiled functions take their arrays by position

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from ringland.survival.spell_checks import Flags, Floats, Ints, Slots

# A running sum loses digits when a large row is taken off it.  Once the sum has shrunk to
# this share of its peak, it is added up afresh from the rows: at most 5 of 16 digits go.
REBUILD_BELOW = 1e-5


class SlotSums(NamedTuple):
    """The partial likelihood at one coefficient vector, and its parts per event slot.

    The part arrays are empty unless asked for.  Hazards are those of a row at the centre.
    """

    loglik: float
    score: Floats
    information: Floats
    n_dead: Ints
    dead_weight: Floats
    hazard: Floats
    hazard_variance: Floats
    hazard_mean: Floats
    own_hazard: Floats
    own_hazard_mean: Floats
    mean: Floats
    slot_information: Floats


@njit(cache=True)
def _set_products(
    row: Floats, centre: Floats | tuple[float, ...], risk: float, out: Floats
) -> None:
    """Write risk, risk * x and the lower triangle of risk * x x' into `out`."""
    p = len(centre)
    out[0] = risk
    at = 1 + p
    for a in range(p):
        v = risk * (row[a] - centre[a])
        out[1 + a] = v
        for b in range(a + 1):
            out[at + b] = v * (row[b] - centre[b])
        at += a + 1


@njit(cache=True)
def log_risk_of(row: Floats, centre: Floats | tuple[float, ...], coef: Floats) -> float:
    """Log risk of a row relative to a row at the centre."""
    total = 0.0
    for a in range(len(centre)):
        total += (row[a] - centre[a]) * coef[a]
    return total


@njit(cache=True, nogil=True)
def net_sums(
    x: Floats,
    centre: Floats | tuple[float, ...],
    coef: Floats,
    weight: Floats,
    first: Slots,
    last: Slots,
    n_slots: int,
) -> Floats:
    """What each slot adds to the running sums: rows entering less rows leaving.

    Neighbouring rows are often consecutive spells of one life, one leaving where the next
    enters; the pair is then written once.  With `centre` a tuple the number of columns is
    known when compiling: twice as fast, at the price of compiling for each number.
    """
    n, p = x.shape[0], len(centre)
    m = 1 + p + p * (p + 1) // 2
    net = np.zeros((n_slots, m))
    now, leaving = np.empty(m), np.zeros(m)
    leaving_slot = -1
    for i in range(n):
        enter = first[i]
        if enter >= last[i] or weight[i] == 0.0:
            continue
        if enter != leaving_slot and leaving_slot >= 0:
            for j in range(m):
                net[leaving_slot, j] -= leaving[j]
                leaving[j] = 0.0
        risk = weight[i] * np.exp(log_risk_of(x[i], centre, coef))
        _set_products(x[i], centre, risk, now)
        for j in range(m):
            net[enter, j] += now[j] - leaving[j]
            leaving[j] = now[j]
        leaving_slot = last[i]
    if leaving_slot >= 0:
        for j in range(m):
            net[leaving_slot, j] -= leaving[j]
    return net


@njit(cache=True)
def _sums_from_rows(
    x: Floats,
    centre: Floats,
    coef: Floats,
    weight: Floats,
    first: Slots,
    last: Slots,
    slot: int,
    out: Floats,
) -> None:
    now = np.empty(out.shape[0])
    out[:] = 0.0
    for i in range(x.shape[0]):
        if first[i] <= slot < last[i] and weight[i] > 0:
            risk = weight[i] * np.exp(log_risk_of(x[i], centre, coef))
            _set_products(x[i], centre, risk, now)
            out += now


@njit(cache=True)
def _deaths(
    x: Floats,
    centre: Floats,
    coef: Floats,
    weight: Floats,
    last: Slots,
    event_rows: Ints,
    n_slots: int,
    is_efron: bool,
) -> tuple[float, Ints, Floats, Floats, Ints, Floats]:
    """Events of weight above zero per slot, and the products of those that are tied."""
    p = x.shape[1]
    m = 1 + p + p * (p + 1) // 2
    n_dead = np.zeros(n_slots, dtype=np.int64)
    for i in event_rows:
        if weight[i] > 0:
            n_dead[last[i] - 1] += 1
    tied = np.full(n_slots, -1, dtype=np.int64)
    n_tied = 0
    for k in range(n_slots):
        if n_dead[k] > 1 and is_efron:
            tied[k] = n_tied
            n_tied += 1
    tied_sums = np.zeros((n_tied, m))
    dead_weight = np.zeros(n_slots)
    dead_x = np.zeros((n_slots, p))
    now = np.empty(m)
    loglik = 0.0
    for i in event_rows:
        if weight[i] > 0:
            k = last[i] - 1
            dead_weight[k] += weight[i]
            log_risk = log_risk_of(x[i], centre, coef)
            loglik += weight[i] * log_risk
            for a in range(p):
                dead_x[k, a] += weight[i] * (x[i, a] - centre[a])
            if tied[k] >= 0:
                _set_products(x[i], centre, weight[i] * np.exp(log_risk), now)
                tied_sums[tied[k]] += now
    return loglik, n_dead, dead_weight, dead_x, tied, tied_sums


@njit(cache=True, error_model="numpy")  # an underflown risk set gives NaN; the caller halves
def slot_sums(  # noqa: PLR0912, PLR0915 -- one walk; split, it would pass every sum about
    net: Floats,
    x: Floats,
    centre: Floats,
    coef: Floats,
    weight: Floats,
    first: Slots,
    last: Slots,
    event_rows: Ints,
    opens_stratum: Flags,
    is_efron: bool,
    keep: bool,
) -> SlotSums:
    """Log partial likelihood, score and information, with parts per slot if `keep`.

    `net` comes from `net_sums` with the same arguments.
    """
    p = x.shape[1]
    n_slots = opens_stratum.shape[0]
    loglik, n_dead, dead_weight, dead_x, tied, tied_sums = _deaths(
        x, centre, coef, weight, last, event_rows, n_slots, is_efron
    )

    kept = n_slots if keep else 0
    hazard, hazard_variance = np.zeros(kept), np.zeros(kept)
    own_hazard = np.zeros(kept)
    hazard_mean, own_hazard_mean = np.zeros((kept, p)), np.zeros((kept, p))
    slot_mean = np.zeros((kept, p))
    slot_information = np.zeros((kept, p, p))
    score, information = np.zeros(p), np.zeros((p, p))
    running, mean = np.zeros(net.shape[1]), np.empty(p)
    peak = 0.0
    for k in range(n_slots):
        if opens_stratum[k]:
            running[:] = 0.0
            peak = 0.0
        for j in range(net.shape[1]):
            running[j] += net[k, j]
        d = n_dead[k]
        if d > 0:
            if running[0] < REBUILD_BELOW * peak:
                _sums_from_rows(x, centre, coef, weight, first, last, k, running)
                peak = 0.0
            for a in range(p):
                score[a] += dead_x[k, a]
            steps = d if is_efron else 1
            share = dead_weight[k] / steps
            for step in range(steps):
                part = step / d
                t = tied[k]
                at_risk = running[0] - (part * tied_sums[t, 0] if step > 0 else 0.0)
                loglik -= share * np.log(at_risk)
                for a in range(p):
                    mean[a] = running[1 + a]
                    if step > 0:
                        mean[a] -= part * tied_sums[t, 1 + a]
                    mean[a] /= at_risk
                    score[a] -= share * mean[a]
                at = 1 + p
                for a in range(p):
                    for b in range(a + 1):
                        v = running[at + b]
                        if step > 0:
                            v -= part * tied_sums[t, at + b]
                        v = share * (v / at_risk - mean[a] * mean[b])
                        information[a, b] += v
                        if keep:
                            slot_information[k, a, b] += v
                    at += a + 1
                if keep:
                    h = share / at_risk
                    own = h * (1.0 - part)
                    hazard[k] += h
                    hazard_variance[k] += h / at_risk
                    own_hazard[k] += own
                    for a in range(p):
                        hazard_mean[k, a] += h * mean[a]
                        own_hazard_mean[k, a] += own * mean[a]
                        slot_mean[k, a] += mean[a] / steps
        peak = max(peak, running[0])
    for a in range(p):
        for b in range(a):
            information[b, a] = information[a, b]
            for k in range(kept):
                slot_information[k, b, a] = slot_information[k, a, b]
    return SlotSums(
        loglik,
        score,
        information,
        n_dead,
        dead_weight,
        hazard,
        hazard_variance,
        hazard_mean,
        own_hazard,
        own_hazard_mean,
        slot_mean,
        slot_information,
    )
