"""Residuals of a Cox fit on (start, stop] rows.

Method: Therneau & Grambsch 2000, chapter 4; under Efron ties a row that dies with d - 1
others is at risk for all of the first of the d steps and for less of each later one.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_kernel import SlotSums, log_risk_of
from ringland.survival.cox.cox_maximum import known_length
from ringland.survival.spell_checks import Flags, Floats, Ints, Slots, SpellError


def martingale_residuals(fit: CoxFit) -> Floats:
    """Events less expected events of each row, shape (n,), in the order of the input."""
    return _of_rows(fit)[0]


def score_residuals(fit: CoxFit) -> Floats:
    """Each row's part of the score, unweighted, shape (n, p), in the order of the input."""
    return _of_rows(fit)[1]


def cluster_scores(fit: CoxFit) -> Floats:
    """Weighted score residuals summed over each cluster, shape (n_clusters, p).

    Raises:
        SpellError: the fit has no clusters.
    """
    if fit.data.cluster is None or fit.data.n_clusters is None:
        raise SpellError("No clusters were given: a robust error needs them.")
    return _summed(fit, fit.data.weight, fit.data.cluster, fit.data.n_clusters)[1]


def schoenfeld_residuals(fit: CoxFit) -> tuple[Floats, Floats]:
    """Time and covariate less risk-set mean of each event row, shapes (d,) and (d, p).

    Rows are in order of stratum and time, ties in the order of the input.
    """
    data = fit.data
    order = np.argsort(data.last[data.event_rows], kind="stable")
    rows = data.event_rows[order]
    slot = data.last[rows] - 1
    return data.slot_time[slot], data.x[rows] - data.centre - fit.sums.mean[slot]


def _of_rows(fit: CoxFit) -> tuple[Floats, Floats]:
    n = len(fit.data.start)
    return _summed(fit, np.ones(n), np.arange(n), n)


def _summed(fit: CoxFit, weight: Floats, group: Ints, n_groups: int) -> tuple[Floats, Floats]:
    data = fit.data
    martingale, score = residual_sums(
        data.x,
        known_length(data, data.centre),
        fit.coef,
        weight,
        data.event,
        data.first,
        data.last,
        group,
        n_groups,
        fit.sums,
    )
    return np.asarray(martingale), np.asarray(score)


@njit(cache=True)
def residual_sums(  # noqa: PLR0917 -- compiled functions take arrays by position
    x: Floats,
    centre: Floats | tuple[float, ...],
    coef: Floats,
    weight: Floats,
    event: Flags,
    first: Slots,
    last: Slots,
    group: Ints,
    n_groups: int,
    sums: SlotSums,
) -> tuple[Floats, Floats]:
    """Weighted martingale and score residuals of the rows, summed over each group.

    A row's hazard is a difference of running totals over the slots; a row that dies under
    Efron ties meets less of its own slot's.
    """
    p = len(centre)
    n_slots = sums.hazard.shape[0]
    hazard, hazard_mean = np.zeros(n_slots + 1), np.zeros((n_slots + 1, p))
    for k in range(n_slots):
        hazard[k + 1] = hazard[k] + sums.hazard[k]
        for a in range(p):
            hazard_mean[k + 1, a] = hazard_mean[k, a] + sums.hazard_mean[k, a]
    martingale, score = np.zeros(n_groups), np.zeros((n_groups, p))
    for i in range(x.shape[0]):
        g, begin, end = group[i], first[i], last[i]
        if begin >= end:
            continue
        risk = np.exp(log_risk_of(x[i], centre, coef))
        own = end - 1
        met = hazard[end] - hazard[begin]
        if event[i]:
            met += sums.own_hazard[own] - sums.hazard[own]
            martingale[g] += weight[i]
        martingale[g] -= weight[i] * risk * met
        for a in range(p):
            d = x[i, a] - centre[a]
            met_mean = hazard_mean[end, a] - hazard_mean[begin, a]
            if event[i]:
                met_mean += sums.own_hazard_mean[own, a] - sums.hazard_mean[own, a]
                score[g, a] += weight[i] * (d - sums.mean[own, a])
            score[g, a] -= weight[i] * risk * (d * met - met_mean)
    return martingale, score
