"""Cox regression on (start, stop] rows: what raises and lowers the hazard, and by how much.

Method: partial likelihood with Efron or Breslow ties (Therneau & Grambsch 2000, chapter 3),
Newton-Raphson; robust errors are the Lin-Wei sandwich of score residuals summed over
clusters (Lin & Wei 1989), which with entry times needs our own residuals: the libraries'
are up to 41 % off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import linalg, stats

from ringland.ring_survival.cox_kernel import SlotSums, slot_sums
from ringland.ring_survival.cox_residuals import score_residuals
from ringland.ring_survival.risk_sets import RiskSets, build_risk_sets
from ringland.ring_survival.spell_checks import Floats

Ties = Literal["efron", "breslow"]

MAX_STEPS, MAX_HALVINGS = 60, 40
# Newton doubles its correct digits: a last step this small (in standard deviations of the
# covariate) leaves errors at rounding, and the information right to nine digits.
LAST_STEP = 1e-9
# A coefficient still moves over the covariate's whole range by this much while the
# likelihood has stopped rising: the data set no limit to it.
RUNAWAY_MOVE, RUNAWAY_GAIN = 0.05, 1e-7
# A column of which all but this share is explained by earlier ones; rounding alone leaves
# about 1e-12.
DISTINCT_SHARE = 1e-9
# From this many rows on, Newton starts from a fit to all event rows and every 16th other
# row, weighted 16: it lies within a few thousandths and saves two passes over everything.
THIN_FROM, THIN_BY = 100_000, 16


class CoxFitError(ValueError):
    """No Cox fit exists for these rows; the message says why and what to do."""


class NoEventsError(CoxFitError):
    """Not one row ends in the event."""


class SeparationError(CoxFitError):
    """A coefficient runs to infinity; `columns` names the columns it happens to."""

    def __init__(self, columns: Sequence[str], signs: Sequence[float]) -> None:
        self.columns = tuple(columns)
        listed = ", ".join(
            f"{name} to {'plus' if sign > 0 else 'minus'} infinity"
            for name, sign in zip(columns, signs, strict=True)
        )
        super().__init__(
            f"Separation: the coefficient runs off for {listed}: at every event the column "
            f"alone picks out who fails. Drop or coarsen it, or use the model with priors."
        )


class CollinearityError(CoxFitError):
    """A column carries nothing of its own; `columns` names it and those that explain it."""

    def __init__(self, column: str, others: Sequence[str]) -> None:
        self.columns = (column, *others)
        reason = (
            f"is a combination of {', '.join(others)}"
            if others
            else "does not vary among the rows at risk at any event"
        )
        super().__init__(f"Collinearity: {column} {reason}. Drop it.")


class ScoreTest(NamedTuple):
    """Test that all coefficients are zero."""

    chi2: float
    df: int
    p: float


@dataclass(frozen=True)
class CoxFit:
    """A Cox fit: coefficients per unit of each column, their errors, and its data.

    `covariance` is the inverse information; `robust_covariance` the sandwich over
    clusters, None when no clusters were given.
    """

    names: tuple[str, ...]
    coef: Floats
    covariance: Floats
    robust_covariance: Floats | None
    loglik_null: float
    loglik: float
    score_test: ScoreTest
    ties: Ties
    n_rows: int
    n_events: int
    n_clusters: int | None
    n_steps: int
    data: RiskSets = field(repr=False)

    @cached_property
    def sums(self) -> SlotSums:
        """The parts per event slot at the fitted coefficients."""
        return partial_likelihood(self.data, self.coef, self.data.weight, self.ties, keep=True)

    @property
    def best_covariance(self) -> Floats:
        """The robust covariance where there is one, else the model's."""
        return self.covariance if self.robust_covariance is None else self.robust_covariance

    @property
    def standard_errors(self) -> Floats:
        """From the model's information."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def robust_errors(self) -> Floats | None:
        """From the sandwich over clusters; None when no clusters were given."""
        if self.robust_covariance is None:
            return None
        return np.sqrt(np.diag(self.robust_covariance))

    def limits(self, confidence: float) -> Floats:
        """Lower and upper limit of each coefficient, shape (p, 2), from `best_covariance`."""
        half = stats.norm.ppf(0.5 + confidence / 2) * np.sqrt(np.diag(self.best_covariance))
        return np.column_stack([self.coef - half, self.coef + half])


def fit_cox(
    start: ArrayLike,
    stop: ArrayLike,
    event: ArrayLike,
    x: ArrayLike,
    *,
    names: Sequence[str],
    weights: ArrayLike | None = None,
    strata: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    ties: Ties = "efron",
) -> CoxFit:
    """The Cox fit to (start, stop] rows; arguments as in `build_risk_sets`.

    Raises:
        SpellError: a row cannot be used.
        NoEventsError: no row ends in the event.
        CollinearityError: a column does not vary, or others explain it.
        SeparationError: a coefficient has no finite estimate.
    """
    data = build_risk_sets(
        start, stop, event, x, names=names, weights=weights, strata=strata, cluster=cluster
    )
    return fit_risk_sets(data, ties=ties)


def fit_risk_sets(data: RiskSets, *, ties: Ties = "efron") -> CoxFit:
    """The Cox fit to rows already checked; raises as `fit_cox`."""
    if ties not in ("efron", "breslow"):
        raise CoxFitError(f"ties is {ties!r}; use 'efron' or 'breslow'.")
    if data.n_events == 0:
        raise NoEventsError("No row ends in the event: there is no hazard to fit.")
    p = len(data.names)
    at_zero = partial_likelihood(data, np.zeros(p), data.weight, ties)
    check_columns_distinct(data, at_zero.information)
    begin = _thinned_coefficients(data, ties)
    coef, at_coef, n_steps = maximise(data, data.weight, ties, begin, at_zero)
    covariance = inverse_information(at_coef.information, data.spread)
    null_step = inverse_information(at_zero.information, data.spread) @ at_zero.score
    chi2 = float(at_zero.score @ null_step)
    fit = CoxFit(
        names=data.names,
        coef=coef,
        covariance=covariance,
        robust_covariance=None,
        loglik_null=at_zero.loglik,
        loglik=at_coef.loglik,
        score_test=ScoreTest(chi2, p, float(stats.chi2.sf(chi2, p)) if p else 1.0),
        ties=ties,
        n_rows=len(data.start),
        n_events=data.n_events,
        n_clusters=data.n_clusters,
        n_steps=n_steps,
        data=data,
    )
    return fit if data.cluster is None else replace(fit, robust_covariance=sandwich(fit))


def partial_likelihood(
    data: RiskSets, coef: Floats, weight: Floats, ties: Ties, *, keep: bool = False
) -> SlotSums:
    """Log partial likelihood, score and information at `coef`, per slot too if `keep`."""
    sums = slot_sums(
        data.x,
        data.centre,
        data.x @ coef - data.centre @ coef,
        weight,
        data.first,
        data.last,
        data.event_rows,
        data.opens_stratum,
        ties == "efron",
        keep,
    )
    return SlotSums(*sums)


def maximise(
    data: RiskSets,
    weight: Floats,
    ties: Ties,
    begin: Floats,
    at_begin: SlotSums | None = None,
) -> tuple[Floats, SlotSums, int]:
    """Coefficients at the maximum, the sums one vanishing step before it, steps taken.

    `at_begin` may carry the sums at zero, used when `begin` is zero.

    Raises:
        SeparationError: the likelihood has stopped rising but a coefficient still moves.
    """
    coef = begin
    if at_begin is None or coef.any():
        at_begin = partial_likelihood(data, coef, weight, ties)
    here = at_begin
    for n_steps in range(1, MAX_STEPS + 1):
        try:
            step = inverse_information(here.information, data.spread) @ here.score
        except linalg.LinAlgError:
            raise _separation(data, coef) from None
        if not np.any(np.abs(step) * data.spread > LAST_STEP):
            return coef + step, here, n_steps
        gain = float(step @ here.score)
        if gain < RUNAWAY_GAIN and np.any(np.abs(step) * data.reach > RUNAWAY_MOVE):
            raise _separation(data, step)
        for _ in range(MAX_HALVINGS):
            there = partial_likelihood(data, coef + step, weight, ties)
            # rounding of a sum over many events must not look like a fall
            slack = 1e-10 * (1 + abs(here.loglik))
            if there.loglik >= here.loglik - slack and np.isfinite(there.information).all():
                break
            step = step / 2
        coef, here = coef + step, there
    raise _separation(data, coef)


def _separation(data: RiskSets, direction: Floats) -> SeparationError:
    moves = np.abs(direction) * data.reach
    worst = np.flatnonzero(moves > 0.1 * moves.max())
    return SeparationError([data.names[j] for j in worst], [direction[j] for j in worst])


def inverse_information(information: Floats, spread: Floats) -> Floats:
    """The inverse, taken in standard deviations so that units of columns do not matter.

    Raises:
        LinAlgError: the information is not positive definite.
    """
    if len(spread) == 0:
        return np.zeros((0, 0))
    scale = np.outer(spread, spread)
    factor = linalg.cho_factor(information * scale)
    inverse = linalg.cho_solve(factor, np.eye(len(spread))) * scale
    return np.asarray((inverse + inverse.T) / 2)


def check_columns_distinct(data: RiskSets, information: Floats) -> None:
    """Nothing, if every column varies within the risk sets and none explains another.

    Raises:
        CollinearityError: naming the first column at fault.
    """
    own = np.diag(information)
    expected = data.spread**2 * data.weight[data.event_rows].sum()
    for j, name in enumerate(data.names):
        if own[j] <= DISTINCT_SHARE * expected[j]:
            raise CollinearityError(name, [])
        if j == 0:
            continue
        scale = np.sqrt(own[: j + 1])
        block = information[: j + 1, : j + 1] / np.outer(scale, scale)
        explained_by = linalg.lstsq(block[:j, :j], block[:j, j])[0]
        if 1.0 - block[j, :j] @ explained_by < DISTINCT_SHARE:
            others = [data.names[i] for i in np.flatnonzero(np.abs(explained_by) > 1e-6)]
            raise CollinearityError(name, others)


def _thinned_coefficients(data: RiskSets, ties: Ties) -> Floats:
    p = len(data.names)
    if len(data.start) < THIN_FROM or p == 0:
        return np.zeros(p)
    kept = data.event.copy()
    kept[::THIN_BY] = True
    rows = np.flatnonzero(kept)
    weight = data.weight[rows] * np.where(data.event[rows], 1.0, THIN_BY)
    thin = RiskSets(
        names=data.names,
        start=data.start[rows],
        stop=data.stop[rows],
        event=data.event[rows],
        x=data.x[rows],
        weight=weight,
        stratum=data.stratum[rows],
        cluster=None,
        stratum_labels=data.stratum_labels,
        centre=data.centre,
        spread=data.spread,
        reach=data.reach,
        first=data.first[rows],
        last=data.last[rows],
        event_rows=np.flatnonzero(data.event[rows]),
        slot_time=data.slot_time,
        slot_stratum=data.slot_stratum,
        opens_stratum=data.opens_stratum,
    )
    try:
        return maximise(thin, weight, ties, np.zeros(p))[0]
    except CoxFitError:
        return np.zeros(p)  # the full rows decide, and say why if they cannot


def sandwich(fit: CoxFit) -> Floats:
    """Robust covariance: weighted score residuals summed over each cluster.

    Raises:
        CoxFitError: the fit has no clusters.
    """
    cluster = fit.data.cluster
    if cluster is None:
        raise CoxFitError("No clusters were given: a robust error needs them.")
    residuals = score_residuals(fit) * fit.data.weight[:, None]
    by_cluster = np.zeros((cluster.max() + 1, len(fit.coef)))
    for j, column in enumerate(residuals.T):
        by_cluster[:, j] = np.bincount(cluster, column)
    moved = by_cluster @ fit.covariance
    return np.asarray(moved.T @ moved)
