"""Residuals of a Cox fit on (start, stop] rows.

Method: Therneau & Grambsch 2000, chapter 4; under Efron ties a row that dies with d - 1
others is at risk for all of the first of the d steps and for less of each later one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ringland.ring_survival.cox_kernel import log_risks
from ringland.ring_survival.risk_sets import RiskSets
from ringland.ring_survival.spell_checks import Floats, Ints

if TYPE_CHECKING:
    from ringland.ring_survival.cox_regression import CoxFit


def martingale_residuals(fit: CoxFit) -> Floats:
    """Events less expected events of each row, shape (n,), in the order of the input."""
    data, sums = fit.data, fit.sums
    expected = _between(sums.hazard, data)
    own = _own_slots(data)
    expected[data.event_rows] += (sums.own_hazard - sums.hazard)[own]
    return data.event - _risk(fit) * expected


def score_residuals(fit: CoxFit) -> Floats:
    """Each row's part of the score, unweighted, shape (n, p), in the order of the input."""
    data, sums = fit.data, fit.sums
    risk = _risk(fit)
    centred = data.x - data.centre
    hazard = _between(sums.hazard, data)
    hazard_mean = _between(sums.hazard_mean, data)
    own = _own_slots(data)
    rows = data.event_rows
    hazard[rows] += (sums.own_hazard - sums.hazard)[own]
    hazard_mean[rows] += (sums.own_hazard_mean - sums.hazard_mean)[own]
    residuals = -risk[:, None] * (centred * hazard[:, None] - hazard_mean)
    residuals[rows] += centred[rows] - sums.mean[own]
    return residuals


def schoenfeld_residuals(fit: CoxFit) -> tuple[Floats, Floats]:
    """Time and covariate less risk-set mean of each event row, shapes (d,) and (d, p).

    Rows are in order of stratum and time, ties in the order of the input.
    """
    data = fit.data
    order = np.argsort(data.last[data.event_rows], kind="stable")
    rows = data.event_rows[order]
    slot = data.last[rows] - 1
    return data.slot_time[slot], data.x[rows] - data.centre - fit.sums.mean[slot]


def _risk(fit: CoxFit) -> Floats:
    return np.asarray(np.exp(log_risks(fit.data.x, fit.data.centre, fit.coef)))


def _own_slots(data: RiskSets) -> Ints:
    return np.asarray(data.last[data.event_rows] - 1)


def _between(per_slot: Floats, data: RiskSets) -> Floats:
    """The sum of `per_slot` over the slots each row is at risk in."""
    cumulative = np.zeros((len(per_slot) + 1, *per_slot.shape[1:]))
    np.cumsum(per_slot, axis=0, out=cumulative[1:])
    return np.asarray(cumulative[data.last] - cumulative[data.first])
