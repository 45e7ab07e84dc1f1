"""Do a factor's effects stay the same over the life?  Tests of proportional hazards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_maximum import CoxFitError
from ringland.survival.cox.cox_residuals import schoenfeld_residuals
from ringland.survival.cox.risk_sets import RiskSets
from ringland.survival.same_time import same_time_within
from ringland.survival.spell_checks import Floats

Transform = Literal["km", "identity", "log"]
Form = Literal["score", "grambsch_therneau_1994"]


# Of an added term, the share the coefficients do not already explain; rounding leaves 1e-12.
LEAST_LEFT = 1e-9


class TooFewEventsError(CoxFitError):
    """The events are too few, or at too few times, to test proportional hazards."""


@dataclass(frozen=True)
class ProportionalityTest:
    """Chi-squared and p of each column (1 df) and of all together (p df)."""

    names: tuple[str, ...]
    chi2: Floats
    p: Floats
    global_chi2: float
    global_p: float
    transform: Transform
    form: Form


def proportionality_test(
    fit: CoxFit,
    *,
    transform: Transform = "km",
    form: Form = "score",
    terms: Sequence[Sequence[str]] | None = None,
) -> ProportionalityTest:
    """The test that no coefficient changes with transformed time.

    "score" is the score test of added x g(t) terms, as R survival does since 3.0;
    "grambsch_therneau_1994" the older approximation with one common variance (Grambsch &
    Therneau 1994).  "km" is one less the pooled Kaplan-Meier just before each event.

    With `terms`, columns that stand for one factor are tested together, each term with as many
    degrees of freedom as it has columns (score form only).

    Raises:
        TooFewEventsError: the events leave nothing to test with.
        ValueError: a term names no column of the fit, or the form is not "score".
    """
    time, residuals = schoenfeld_residuals(fit)
    data = fit.data
    weight = data.weight[_events_in_slot_order(data)]
    g = _transformed(time, data, transform)
    mean = g.mean()
    g = g - mean
    pull = (g * weight) @ residuals
    n, p = len(time), len(fit.names)
    too_few = (
        f"Failures on record: {n}. They are too few, or at too few times, to test whether "
        f"effects change over the life."
    )
    if np.ptp(g) <= LEAST_LEFT * abs(mean):
        raise TooFewEventsError(too_few)
    if form == "grambsch_therneau_1994":
        scale = n / float(g @ g)
        chi2 = scale * (fit.covariance @ pull) ** 2 / np.diag(fit.covariance)
        overall = scale * float(pull @ fit.covariance @ pull)
    else:
        real = np.isfinite(data.slot_time)
        per_slot = np.zeros(len(data.slot_time))
        per_slot[real] = _transformed(data.slot_time[real], data, transform) - mean
        v = fit.sums.slot_information
        plain, crossed, squared = (np.tensordot(per_slot**power, v, axes=1) for power in (0, 1, 2))
        # the coefficients sit at their maximum: only the new terms have a score
        left = squared - crossed @ np.linalg.solve(plain, crossed)
        spread = np.sqrt(np.diag(squared))
        if p and np.linalg.eigvalsh(left / np.outer(spread, spread))[0] < LEAST_LEFT:
            raise TooFewEventsError(too_few)
        overall = float(pull @ np.linalg.solve(left, pull))
        chi2 = pull**2 / np.diag(left)
    names, freedom = fit.names, np.ones(p)
    if terms is not None:
        if form != "score" or not set().union(*terms) <= set(fit.names):
            raise ValueError(f"terms need the score form and columns of {', '.join(fit.names)}.")
        places = [[fit.names.index(name) for name in term] for term in terms]
        chi2 = np.array(
            [pull[at] @ np.linalg.solve(left[np.ix_(at, at)], pull[at]) for at in places]
        )
        names = tuple("+".join(term) for term in terms)
        freedom = np.array([len(at) for at in places], dtype=float)
    return ProportionalityTest(
        names=names,
        chi2=np.asarray(chi2),
        p=scipy.stats.chi2.sf(chi2, freedom),
        global_chi2=overall,
        global_p=float(scipy.stats.chi2.sf(overall, p)),
        transform=transform,
        form=form,
    )


def _events_in_slot_order(data: RiskSets) -> Floats:
    rows = data.event_rows
    return np.asarray(rows[np.argsort(data.last[rows], kind="stable")])


def _transformed(time: Floats, data: RiskSets, transform: Transform) -> Floats:
    if transform == "identity":
        return time
    if transform == "log":
        return np.asarray(np.log(time))
    apart = same_time_within(data.start, data.stop)
    at = np.unique(data.slot_time[np.isfinite(data.slot_time)])
    at = at[np.diff(at, prepend=-np.inf) > apart]  # strata name one time in two ways
    entered = np.searchsorted(np.sort(data.start), at - apart, side="left")
    left = np.searchsorted(np.sort(data.stop), at - apart, side="left")
    event_at = np.sort(data.stop[data.event])
    died = np.searchsorted(event_at, at + apart, side="right") - np.searchsorted(
        event_at, at - apart, side="left"
    )
    surviving = np.cumprod(1 - died / (entered - left))
    before = np.concatenate([[1.0], surviving])
    return np.asarray(1 - before[np.searchsorted(at, time - apart, side="left")])
