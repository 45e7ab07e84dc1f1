"""The likelihood of a hazard from one bucket of spells, its derivatives, and many draws at once.

Log hazard of a spell's hour: the baseline of its age, its columns, its place's effect and the
log of its own (its engine's) factor.  Own factors are gamma with mean 1 and variance v and are
summed out in closed form (Klein 1992; Duchateau & Janssen 2008, chapter 2): with d failures
where H were expected, sum over j < d of log(1 + j v) - (1/v + d) log(1 + v H).  A set that
entered late counts from its entry.

What is open about the covariates is one standard normal per own group, times the spell's own
standard deviation of the log hazard, summed out on Gauss-Hermite nodes: the draws of what the
exposure may have been, weighted by what they say of the failures (Carroll and others 2006,
section 8).  It is error of the Berkson kind, the truth lying about what is written.

Everything a bucket says is a sum over its spells, so that buckets add up in a fixed order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringland.survival.hazard.age_steps import AgeSteps
from ringland.survival.hazard.age_steps import between as gained
from ringland.survival.hazard.hazard_design import Design, SpellRows
from ringland.survival.hazard.hazard_kernel import summed_hazards
from ringland.survival.spell_checks import Floats, Ints

NODES, NODE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
NODE_WEIGHTS = NODE_WEIGHTS / NODE_WEIGHTS.sum()


@dataclass(frozen=True)
class Derivatives:
    """Log likelihood with its gradient and Hessian in (baseline, columns, places)."""

    value: float
    gradient: Floats
    hessian: Floats

    def __add__(self, other: Derivatives) -> Derivatives:
        return Derivatives(
            self.value + other.value,
            self.gradient + other.gradient,
            self.hessian + other.hessian,
        )


@dataclass(frozen=True)
class OwnSums:
    """What each draw expects of each own group, shape (draws, groups), and what it saw.

    `hazard` is the cumulative hazard, `open_mean` and `open_spread` the mean and variance over
    it of the log hazard's open part; `open_events` that part summed over the failures.
    """

    hazard: Floats
    open_mean: Floats
    open_spread: Floats
    open_events: Floats

    def at_nodes(self) -> Floats:
        """Cumulative hazard had the open part stood at each node, (nodes, draws, groups)."""
        node = NODES[:, None, None]
        return np.asarray(
            self.hazard * np.exp(node * self.open_mean + 0.5 * node**2 * self.open_spread)
        )


@dataclass(frozen=True)
class Bucket:
    """One bucket's spells, ordered by own group and placed on the steps of age."""

    start: tuple[Ints, Floats]
    stop: tuple[Ints, Floats]
    columns: Floats
    place: Ints
    n_places: int
    own: Ints
    own_names: tuple[str, ...]
    has_own: bool
    event: Ints
    failures: Floats
    blur: Floats
    """Open parts of the covariates that have one, shape (spells, such covariates)."""
    blurred: Ints
    """Which covariates these are."""

    @classmethod
    def of(cls, rows: SpellRows, steps: AgeSteps, design: Design) -> Bucket:
        """The bucket made ready."""
        rows = rows.joined()
        n = len(rows.start)
        labels = np.zeros(n, dtype=str) if rows.own is None else np.asarray(rows.own, dtype=str)
        names, own = np.unique(labels, return_inverse=True)
        order = np.argsort(own, kind="stable")
        own = own[order].astype(np.int64)
        place = None if rows.place is None else design.place_index(rows.place)[order]
        event = np.flatnonzero(rows.event[order])
        blur = np.zeros_like(rows.x) if rows.blur is None else rows.blur
        blurred = np.flatnonzero((blur > 0).any(axis=0))
        return cls(
            start=steps.place(rows.start[order]),
            stop=steps.place(rows.stop[order]),
            columns=design.columns(rows.x[order], place),
            place=np.zeros(n, dtype=np.int64) if place is None else place,
            n_places=len(design.places),
            own=own,
            own_names=tuple(str(name) for name in names),
            has_own=rows.own is not None,
            event=event,
            failures=np.bincount(own[event], minlength=len(names)).astype(float),
            blur=np.ascontiguousarray(blur[order][:, blurred]),
            blurred=blurred,
        )

    @property
    def is_open(self) -> bool:
        """Whether the covariates leave anything open."""
        return bool(len(self.blurred))

    def derivatives(self, steps: AgeSteps, theta: Floats, variance: float) -> Derivatives:
        """At one theta and one variance of the own factors; open exposure taken as written."""
        n_base = 2 + steps.hinge.shape[1]
        first, second = steps.slopes(theta)
        log_height = steps.log_hazard(theta[None, :])[0]
        height = np.exp(log_height) * steps.width
        table = steps.summed(height * np.vstack([np.ones(len(height)), first.T]))
        over = gained(table, self.start, self.stop)
        effect = np.exp(self._effects(theta[n_base:]))
        hazard = over[0] * effect
        mean = np.divide(over[1:], over[0], out=np.zeros_like(over[1:]), where=over[0] > 0)
        x = np.hstack([mean.T, self.columns, self._place_columns()])
        starts = np.flatnonzero(np.diff(self.own, prepend=-1))
        expected = np.add.reduceat(hazard, starts)
        slope = np.add.reduceat(x * hazard[:, None], starts, axis=0)
        value, weight, bend = _own_terms(self.failures, expected, variance)
        weighted = (weight[self.own] * hazard)[:, None] * x
        at = self.stop[0][self.event]
        event_x = x[self.event]
        event_x[:, :n_base] = first[at]
        hessian = -(weighted.T @ x) + (slope * bend[:, None]).T @ slope
        # within a spell the baseline's columns are no constants: their own block by steps
        inside = self._covered(weight[self.own] * effect, len(height)) * height
        base = first.T @ (first * inside[:, None])
        hessian[:n_base, :n_base] = (slope[:, :n_base] * bend[:, None]).T @ slope[:, :n_base] - base
        curve = second[at].sum(axis=0) - inside @ second
        hessian[0, 0] += curve[0]
        hessian[0, 1] += curve[1]
        hessian[1, 0] += curve[1]
        events = log_height[at].sum() + self._effects(theta[n_base:])[self.event].sum()
        return Derivatives(
            float(events + value), event_x.sum(axis=0) - weighted.sum(axis=0), hessian
        )

    def own_sums(self, cumulative: Floats, coefficients: Floats, open_slopes: Floats) -> OwnSums:
        """What each draw expects of each own group.

        Args:
            cumulative: baseline hazard up to each edge of age, by draw.
            coefficients: of the columns and the places, by draw.
            open_slopes: log hazard per unit of each covariate's blur, by draw.
        """
        n_columns = self.columns.shape[1]
        shape = (len(cumulative), len(self.own_names))
        places = coefficients[:, n_columns:] if self.n_places else np.zeros((shape[0], 1))
        slopes = np.abs(open_slopes[:, self.blurred])
        effects = coefficients[:, :n_columns]
        hazard, mean, spread = summed_hazards(
            (
                np.ascontiguousarray(cumulative.T),
                np.ascontiguousarray(effects.T),
                np.ascontiguousarray(places.T),
                np.ascontiguousarray(slopes.T),
            ),
            (*self.start, *self.stop),
            (self.columns, self.place, self.own, self.blur),
            shape[1],
        )
        events = np.zeros(shape)
        if self.is_open:
            size = np.sqrt((slopes**2) @ (self.blur[self.event] ** 2).T)
            for column, group in enumerate(self.own[self.event]):
                events[:, group] += size[:, column]
            with np.errstate(invalid="ignore", divide="ignore"):
                mean = np.where(hazard > 0, mean / hazard, 0.0)
                spread = np.where(hazard > 0, spread / hazard - mean**2, 0.0).clip(min=0.0)
        return OwnSums(hazard, mean, spread, events)

    def event_terms(self, log_height: Floats, coefficients: Floats) -> Floats:
        """Log hazard summed over the failures, by draw, open exposure taken as written."""
        n_columns = self.columns.shape[1]
        total = log_height[:, self.stop[0][self.event]].sum(axis=1)
        total = total + coefficients[:, :n_columns] @ self.columns[self.event].sum(axis=0)
        if self.n_places:
            counts = np.bincount(self.place[self.event], minlength=self.n_places)
            total = total + coefficients[:, n_columns:] @ counts
        return np.asarray(total)

    def own_log_likelihoods(self, sums: OwnSums, variance: Floats) -> Floats:
        """What the own groups add by node of their open part, shape (nodes, draws, groups).

        One node where nothing is open.
        """
        hazard = sums.at_nodes() if self.is_open else sums.hazard[None]
        found = _own_values(self.failures, hazard, variance[None, :, None])
        if not self.is_open:
            return found
        return np.asarray(
            found + NODES[:, None, None] * sums.open_events + np.log(NODE_WEIGHTS)[:, None, None]
        )

    def _effects(self, coefficients: Floats) -> Floats:
        n_columns = self.columns.shape[1]
        total: Floats = self.columns @ coefficients[:n_columns]
        return total + coefficients[n_columns:][self.place] if self.n_places else total

    def _place_columns(self) -> Floats:
        if not self.n_places:
            return np.empty((len(self.place), 0))
        return np.asarray(self.place[:, None] == np.arange(self.n_places), dtype=float)

    def _covered(self, weight: Floats, n_steps: int) -> Floats:
        """How much of each step of age the spells cover, each with its weight."""
        total = np.zeros(n_steps)
        for sign, (at, part) in ((1.0, self.stop), (-1.0, self.start)):
            here = np.bincount(at, weight, n_steps)
            total += sign * (here.sum() - np.cumsum(here) + np.bincount(at, weight * part, n_steps))
        # what rounding leaves beyond the oldest would be multiplied by hazards of no age seen
        total[self.stop[0].max() + 1 :] = 0.0
        return total


def _own_terms(failures: Floats, expected: Floats, variance: float) -> tuple[float, Floats, Floats]:
    """Log likelihood of the own groups, minus its slope and its bend by their hazard."""
    value = float(_own_values(failures, expected, np.float64(variance)).sum())
    share = 1.0 / (1.0 + variance * expected)
    weight = (1.0 + variance * failures) * share
    return value, weight, variance * weight * share


def _own_values(failures: Floats, expected: Floats, variance: Floats | np.float64) -> Floats:
    v = np.maximum(variance, 1e-8)  # below, the factors are 1 to eight digits
    total = -(1.0 / v + failures) * np.log1p(v * expected)
    for j in range(1, int(failures.max(initial=0.0))):
        total = total + np.where(failures > j, np.log1p(j * v), 0.0)
    return np.asarray(total)
