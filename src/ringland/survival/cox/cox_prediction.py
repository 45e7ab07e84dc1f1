"""Survival along a future covariate path, given survival to the path's start.

The cumulative hazard of a path is the sum over baseline events in each stretch of
exp(b (x - centre)) times the baseline step.  Its variance has two parts: of the baseline
steps, and of the coefficients, by the gradient of the cumulative hazard in them (Andersen
& Gill 1982; Therneau & Grambsch 2000, section 10.2).  R `survfit(newdata, id)` gives the
same cumulative hazard, and the same variance for a path with unchanging covariates from
the start of the record; where covariates change, its second part uses the whole baseline
before each time with the latest covariates, ours the path itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.estimates import normal_deviate
from ringland.survival.spell_checks import (
    Floats,
    SpellError,
    covariate_matrix,
    number_column,
    require_same_length,
    require_start_before_stop,
)

Scale = Literal["log-log", "log", "plain"]


class BeyondRecordError(ValueError):
    """The path runs past the last age at which anything on record was at risk."""


@dataclass(frozen=True)
class PathSurvival:
    """Survival at each baseline event along a path, given survival to the path's start.

    Empty where no event on record falls within the path: the record is silent there.
    `standard_error` is of the cumulative hazard.  `low` and `high` bound the survival.
    """

    time: Floats
    cumulative_hazard: Floats
    standard_error: Floats
    survival: Floats
    low: Floats
    high: Floats
    confidence: float
    scale: Scale


@dataclass(frozen=True)
class Baseline:
    """Hazard steps of one stratum for a row at `centre`, the columns' weighted means."""

    time: Floats
    hazard: Floats
    variance: Floats
    mean_hazard: Floats
    centre: Floats
    observed_to: float

    @property
    def cumulative_hazard(self) -> Floats:
        """Up to and including each event time."""
        return np.asarray(np.cumsum(self.hazard))


def baseline(fit: CoxFit, *, stratum: object = None) -> Baseline:
    """The baseline hazard of one stratum, by the fit's own treatment of ties.

    `mean_hazard` holds each step times the risk-set mean of each column, less the centre:
    the part of the variance that comes from the coefficients needs it.

    Raises:
        SpellError: the fit has no such stratum, or has several and none is named.
    """
    data = fit.data
    labels = data.stratum_labels
    if stratum is None and len(labels) > 1:
        raise SpellError(f"Name a stratum; the fit has {', '.join(map(str, labels))}.")
    if stratum is not None and stratum not in labels:
        raise SpellError(
            f"The fit has no stratum {stratum!r}; it has {', '.join(map(str, labels))}."
        )
    s = 0 if stratum is None else labels.index(stratum)
    slots = np.flatnonzero((data.slot_stratum == s) & np.isfinite(data.slot_time))
    return Baseline(
        time=data.slot_time[slots],
        hazard=fit.sums.hazard[slots],
        variance=fit.sums.hazard_variance[slots],
        mean_hazard=fit.sums.hazard_mean[slots],
        centre=data.centre,
        observed_to=float(data.stop[data.stratum == s].max()),
    )


def predict_survival(
    fit: CoxFit,
    start: ArrayLike,
    stop: ArrayLike,
    x: ArrayLike,
    *,
    confidence: float,
    stratum: object = None,
    scale: Scale = "log-log",
) -> PathSurvival:
    """Survival along the stretches (start, stop] of one path with covariates `x`.

    The coefficients' part of the variance uses the robust covariance where the fit has one.

    Args:
        fit: the Cox fit.
        start: start of each stretch, in order; the first is "now".
        stop: end of each stretch; the next must start there.
        x: covariates in each stretch, shape (n, p).
        confidence: two-sided level of the limits.
        stratum: whose baseline to use; needed when the fit has several.
        scale: limits are symmetric in log(-log S), in log S or in S.

    Raises:
        SpellError: stretches overlap, leave a gap or hold a missing value.
        BeyondRecordError: the path ends after the last age on record.
    """
    begin, end = number_column("start", start), number_column("stop", stop)
    require_same_length(start=begin, stop=end)
    require_start_before_stop(begin, end)
    if (bad := np.flatnonzero(begin[1:] != end[:-1])).size:
        i = bad[0] + 1
        raise SpellError(f"Row {i}: starts at {begin[i]:g}, the row before ends at {end[i - 1]:g}.")
    base = baseline(fit, stratum=stratum)
    centred = covariate_matrix(x, len(begin), fit.names) - base.centre
    if len(end) and end[-1] > base.observed_to:
        raise BeyondRecordError(
            f"The path runs to {end[-1]:g}, the record ends at {base.observed_to:g}: "
            f"cut the path there or use the Weibull hazard."
        )
    stretch = np.searchsorted(end, base.time, side="left")
    inside = (base.time > begin[0]) & (stretch < len(end)) if len(end) else np.zeros(0, bool)
    rows = stretch[inside]
    risk = np.exp(centred[rows] @ fit.coef)
    steps = risk * base.hazard[inside]
    total = np.cumsum(steps)
    gradient = np.cumsum(
        centred[rows] * steps[:, None] - risk[:, None] * base.mean_hazard[inside], axis=0
    )
    from_coef = np.einsum("ij,jk,ik->i", gradient, fit.best_covariance, gradient)
    error = np.sqrt(np.cumsum(risk**2 * base.variance[inside]) + from_coef)
    low, high = _survival_limits(total, error, confidence, scale)
    return PathSurvival(
        time=base.time[inside],
        cumulative_hazard=total,
        standard_error=error,
        survival=np.exp(-total),
        low=low,
        high=high,
        confidence=confidence,
        scale=scale,
    )


def _survival_limits(
    total: Floats, error: Floats, confidence: float, scale: Scale
) -> tuple[Floats, Floats]:
    z = normal_deviate(confidence)
    if scale == "log-log":
        factor = np.exp(z * error / total)
        return np.exp(-total * factor), np.exp(-total / factor)
    if scale == "log":
        return np.exp(-total - z * error), np.minimum(np.exp(-total + z * error), 1.0)
    surviving = np.exp(-total)
    half = z * error * surviving
    return np.maximum(surviving - half, 0.0), np.minimum(surviving + half, 1.0)
