"""One hazard for absolute chances: age, factors, docks, engines and open exposure in one fit.

Log hazard of an hour at age t with covariates x in engine e at dock d:

    baseline(t) + lines and hinges of x + effect of d + log factor of e + open exposure of e

Baseline and factors bend only as far as the record asks (`age_steps`, `hazard_design`),
engines' factors are gamma and summed out (`hazard_bucket`), the docks' effects normal.  All
have priors (`hazard_prior`), so that the fit answers with no failure at all; then it says that
its answer is the prior's.  Draws are weighted by the exact posterior (`hazard_draws`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from ringland.survival.hazard.age_steps import AgeSteps
from ringland.survival.hazard.draws_by_row import DrawsByRow, gained
from ringland.survival.hazard.hazard_bucket import Bucket
from ringland.survival.hazard.hazard_design import Design, Factor, SpellRows
from ringland.survival.hazard.hazard_draws import draw_posterior
from ringland.survival.hazard.hazard_mode import NoMaximumError, climb
from ringland.survival.hazard.hazard_prior import SPREADS, HazardPrior, ParameterPlan
from ringland.survival.hazard.hazard_problem import HazardProblem
from ringland.survival.hazard.weighted_draws import in_few_digits
from ringland.survival.spell_checks import (
    Floats,
    SpellError,
    covariate_matrix,
    number_column,
    require_same_length,
    require_start_before_stop,
)

AT_ONCE = 16_384
"""Figures worked out at once, so that none leaves the processor's own memory."""


@dataclass(frozen=True)
class Unaided:
    """The maximum likelihood estimate without priors, bends, docks and engines.

    `estimate` and `errors` (standard errors) are of log shape, log scale and each factor's log
    hazard ratio per step; both None, with the reason, where it does not exist.
    """

    estimate: Floats | None
    errors: Floats | None
    why_not: str | None


@dataclass(frozen=True)
class FitSize:
    """What a fit rests on, and what its draws are worth.

    `effective_draws` is what the weighted pool behind the draws is worth in independent
    draws; `tail_shape` the Pareto shape of the weights, trusted up to 0.7.
    """

    n_spells: int
    n_events: int
    effective_draws: float
    tail_shape: float


@dataclass(frozen=True)
class GroupName:
    """Names of engines or docks and where each stands; one not on record stands last."""

    names: tuple[str, ...]

    def index(self, groups: Sequence[str | None]) -> list[int]:
        """The column of each group."""
        at = {name: i for i, name in enumerate(self.names)}
        return [len(self.names) if g is None else at.get(str(g), len(self.names)) for g in groups]


@dataclass(frozen=True)
class JointHazard:
    """Posterior draws of the hazard.

    `theta` has a column per parameter in the order of `plan`, `spreads` one per name of
    `hazard_prior.SPREADS`.
    `own_factor` and `own_open` have a column per engine and a last one for an engine not on
    record; `new_place` is the effect of a dock not on record.
    """

    design: Design
    steps: AgeSteps
    prior: HazardPrior
    plan: ParameterPlan
    theta: Floats = field(repr=False)
    spreads: Floats = field(repr=False)
    own: GroupName = field(repr=False)
    own_factor: Floats = field(repr=False)
    own_open: Floats = field(repr=False)
    new_place: Floats = field(repr=False)
    age_share: Floats = field(repr=False)
    size: FitSize
    unaided: Unaided

    @cached_property
    def cumulative(self) -> Floats:
        """The baseline hazard up to each edge of age, by draw: follows from `theta`."""
        return self.steps.cumulative(self.theta)

    @property
    def names(self) -> tuple[str, ...]:
        """The factors."""
        return tuple(factor.name for factor in self.design.factors)

    @property
    def n_draws(self) -> int:
        """Posterior draws held."""
        return len(self.theta)

    def cumulative_hazard(
        self,
        start: ArrayLike,
        stop: ArrayLike,
        x: ArrayLike,
        *,
        own: Sequence[str | None] | None = None,
        place: Sequence[str | None] | None = None,
        blur: Floats | None = None,
    ) -> Floats:
        """Hazard summed over each stretch (start, stop] of life, per draw: shape (draws, n).

        The chance of failing in a stretch, given survival to its start, is
        1 - exp(-cumulative hazard).

        Args:
            start: age at the start of each stretch.
            stop: age at its end; a stretch of no length has no hazard.
            x: covariates held over it, shape (n, factors).
            own: the engine of each row; one not on record is drawn from the spread alone;
                None: a middle one.
            place: the dock of each row, likewise.
            blur: standard deviation of what is open about each covariate; None: nothing.

        Raises:
            SpellError: a stretch goes backwards or begins before 0, or x is not usable.
        """
        start, stop = number_column("start_h", start), number_column("stop_h", stop)
        require_same_length(start_h=start, stop_h=stop)
        if (bad := np.flatnonzero((start < 0) | (stop < start))).size:
            i = bad[0]
            raise SpellError(
                f"Row {i}: from {start[i]:g} h to {stop[i]:g} h is no stretch of a life."
            )
        matrix = covariate_matrix(x, len(start), self.names)
        place_at = None if place is None else self.design.place_index(place)
        own_at = None if own is None else np.array(self.own.index(own), dtype=np.int64)
        columns = self.design.columns(matrix, place_at)
        edges = np.ascontiguousarray(self.cumulative.T)
        (a, part_a), (b, part_b) = self.steps.place(start), self.steps.place(stop)
        summed = np.empty((self.n_draws, len(start)))
        at_once = max(1, AT_ONCE // self.n_draws)
        for begin in range(0, len(start), at_once):
            rows = slice(begin, begin + at_once)
            effect = self._by_row.log_effects(
                columns[rows],
                None if own_at is None else own_at[rows],
                None if place_at is None else place_at[rows],
                None if blur is None else blur[rows],
            )
            factor = np.exp(effect, out=effect)
            summed[:, rows] = gained(edges, a[rows], part_a[rows], b[rows], part_b[rows], factor).T
        return summed

    def log_effect(self, x: ArrayLike, place: Sequence[str | None] | None = None) -> Floats:
        """Log hazard over that of the state where all is well, per draw: shape (draws, n)."""
        rows = np.atleast_2d(np.asarray(x, dtype=float))
        at = None if place is None else self.design.place_index(place)
        return self._by_row.log_effects(self.design.columns(rows, at), None, at, None).T

    def age_log_hazard(self, age: ArrayLike) -> Floats:
        """Log baseline hazard per hour at ages, per draw: shape (draws, n)."""
        at, _ = self.steps.place(number_column("age", age))
        return self.steps.log_hazard(self.theta)[:, at]

    def mean_shape(self) -> Floats:
        """The Weibull shape nearest the baseline over the record's running hours, per draw."""
        hinges = self.theta[:, 2 : self.plan.n_base]
        return np.asarray(np.exp(self.theta[:, 0]) + hinges @ self.age_share)

    def thinned(self, wanted: int) -> JointHazard:
        """The same on at most `wanted` of its draws."""
        every = max(1, self.n_draws // wanted)
        names = ("theta", "spreads", "own_factor", "own_open", "new_place")
        return replace(self, **{name: getattr(self, name)[::every][:wanted] for name in names})

    @cached_property
    def _by_row(self) -> DrawsByRow:
        coefficients = self.theta[:, self.plan.n_base :]
        n_columns = self.plan.n_lines + self.plan.n_hinges + self.plan.n_between
        steps = np.array([factor.step for factor in self.design.factors])
        return DrawsByRow.of(
            coefficients[:, :n_columns],
            np.column_stack([coefficients[:, n_columns:], self.new_place]),
            self.own_factor,
            self.own_open,
            self.design.line_slopes(coefficients) / steps,
        )


def fit_joint_hazard(
    buckets: Sequence[SpellRows],
    factors: Sequence[Factor],
    *,
    prior: HazardPrior,
    n_draws: int,
    rng: np.random.Generator,
    age_floor: float = 5.0,
) -> JointHazard:
    """The posterior of the hazard given spells; works with no event and no factor.

    Args:
        buckets: spells, each bucket's engines and docks its own.
        factors: one per column of the buckets' `x`.
        prior: priors of all parameters.
        n_draws: posterior draws wanted.
        rng: the only source of randomness.
        age_floor: age below which the baseline is level.

    Raises:
        SpellError: a row cannot be used, a step is not above zero, or there are no spells.
    """
    _check(buckets, factors)
    steps = AgeSteps.over(
        np.concatenate([rows.start for rows in buckets]),
        np.concatenate([rows.stop for rows in buckets]),
        age_floor,
    )
    design = Design.of(factors, buckets)
    made = tuple(Bucket.of(rows, steps, design) for rows in buckets)
    plan = ParameterPlan(
        n_age=len(steps.knots),
        line_sds=tuple(factor.effect_sd for factor in factors),
        n_hinges=design.n_hinges,
        n_between=len(design.split),
        n_places=len(design.places),
        line_means=tuple(factor.effect_mean for factor in factors),
    )
    has_own = any(rows.own is not None for rows in buckets)
    problem = HazardProblem(made, steps, design, prior, plan, has_own)
    found = draw_posterior(problem, n_draws, rng)
    n_events = sum(len(bucket.event) for bucket in made)
    place_spread = found.spreads[:, SPREADS.index("place")]
    return JointHazard(
        design=design,
        steps=steps,
        prior=prior,
        plan=plan,
        theta=in_few_digits(found.theta),
        spreads=in_few_digits(found.spreads),
        own=GroupName(tuple(n for b in made for n in b.own_names) if has_own else ()),
        own_factor=in_few_digits(found.own_factor),
        own_open=in_few_digits(found.own_open),
        new_place=in_few_digits(place_spread * rng.standard_normal(n_draws)),
        age_share=_age_share(steps, buckets),
        size=FitSize(
            sum(len(rows.start) for rows in buckets), n_events, found.worth, found.tail_shape
        ),
        unaided=_unaided(buckets, factors, steps, prior),
    )


def _check(buckets: Sequence[SpellRows], factors: Sequence[Factor]) -> None:
    if not sum(len(rows.start) for rows in buckets):
        raise SpellError("There is no spell to fit to.")
    names = [factor.name for factor in factors]
    for factor in factors:
        if not factor.step > 0:
            raise SpellError(f"step of {factor.name} must be above zero.")
    for rows in buckets:
        number_column("start", rows.start)
        number_column("stop", rows.stop)
        require_same_length(start=rows.start, stop=rows.stop, event=rows.event)
        require_start_before_stop(rows.start, rows.stop)
        if (bad := np.flatnonzero(rows.start < 0)).size:
            raise SpellError(
                f"Row {bad[0]}: start {rows.start[bad[0]]:g} h is before the life began."
            )
        covariate_matrix(rows.x, len(rows.start), names)


def _age_share(steps: AgeSteps, buckets: Sequence[SpellRows]) -> Floats:
    """Slope of the line in log age nearest each age hinge, over the hours on record."""
    hours = np.zeros(len(steps.log_age))
    for rows in buckets:
        for sign, (at, part) in ((1.0, steps.place(rows.stop)), (-1.0, steps.place(rows.start))):
            here = np.bincount(at, minlength=len(hours)).astype(float)
            inside = np.bincount(at, part, len(hours))
            hours += sign * steps.width * (here.sum() - np.cumsum(here) + inside)
    hours = hours.clip(min=0.0)
    away = steps.log_age - hours @ steps.log_age / hours.sum()
    reach = float(hours @ away**2)
    if reach <= 1e-9 * hours.sum():  # all running within one step of age: no line to tell
        return np.zeros(steps.hinge.shape[1])
    return np.asarray((hours * away) @ steps.hinge / reach)


def _unaided(
    buckets: Sequence[SpellRows], factors: Sequence[Factor], steps: AgeSteps, prior: HazardPrior
) -> Unaided:
    """The fit of a Weibull with straight lines, without any prior."""
    n_events = sum(int(rows.event.sum()) for rows in buckets)
    if n_events == 0:
        return Unaided(None, None, "no failure on record")
    bare = replace(steps, hinge=np.empty((len(steps.log_age), 0)), knots=np.empty(0))
    lines = [replace(factor, knots=(), differs_by_place=False) for factor in factors]
    plain = [replace(rows, own=None, place=None, blur=None) for rows in buckets]
    design = Design.of(lines, plain)
    made = [Bucket.of(rows, bare, design) for rows in plain]
    widths = tuple(factor.effect_sd for factor in lines)
    plan = ParameterPlan(0, widths, 0, 0, 0)
    problem = HazardProblem(tuple(made), bare, design, prior, plan, has_own=False)
    begin = problem.plan.mean(prior)
    try:
        best = climb(
            lambda theta: problem.derivatives(theta, 0.0),
            begin,
            np.zeros_like(begin),
            np.full_like(begin, np.inf),
        )
        return Unaided(best.at, np.sqrt(np.diag(np.linalg.inv(best.bend))), None)
    except NoMaximumError as error:
        parameter = ("shape", "scale", *(factor.name for factor in factors))[error.index]
        return Unaided(
            None, None, f"{parameter} has no finite estimate from {n_events} failures alone"
        )
