"""Effects that operators share, from sums of each one's record alone, and what one borrows.

Cox regression with each operator a stratum: a baseline of its own, the same effects for all.
Its log partial likelihood is the sum of the strata's, and so are gradient and Hessian (Therneau &
Grambsch 2000, section 3.2): Newton's steps on sums are those on all records in one place.  A
stratum's sums hold no failure's age; a stratum of few failures would all but tell its covariates,
so that one takes no part.

How far effects lie apart between operators is told from the same sums by the method of moments:
at the common effects an operator's gradient scatters by more than chance gives it (Commenges &
Andersen 1995 for the idea; for one factor and equal weights it is DerSimonian & Laird 1986).
Each likelihood is taken as quadratic, which tells large differences too small: 0.5 per step is
found as some 0.35 to 0.4.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from scipy import optimize

from ringland.network.bucket_sums import summed
from ringland.survival.cox.cox_maximum import partial_likelihood
from ringland.survival.cox.risk_sets import RiskSets
from ringland.survival.hazard.hazard_bucket import Derivatives
from ringland.survival.hazard.hazard_mode import NoMaximumError, climb
from ringland.survival.spell_checks import Floats

Numbers = dict[str, float]
"""What an operator tells in a round, by name."""
_NOTHING = 1e-9
"""Information per failure, in steps squared, below which a factor does not vary."""


class NoEffectsError(ValueError):
    """The effects have no finite estimate; the message names the factor."""


@dataclass(frozen=True)
class Effects:
    """Log hazard ratios per step of some factors, and how sure they are.

    `covariance` has shape (factors, factors).  `rounds` is how often sums were asked for.
    """

    factors: tuple[str, ...]
    coef: Floats
    covariance: Floats
    rounds: int

    def limits(self, confidence: float) -> Floats:
        """Lower and upper limit of each log hazard ratio, shape (factors, 2)."""
        half = scipy.stats.norm.ppf(0.5 + confidence / 2) * np.sqrt(np.diag(self.covariance))
        return np.column_stack([self.coef - half, self.coef + half])

    def as_of_another(self, apart: Floats) -> Effects:
        """The effects of an operator not among these, where they lie `apart` (a deviation)."""
        spread = self.covariance + np.diag(apart**2)
        return Effects(self.factors, self.coef, spread, self.rounds)


@dataclass(frozen=True)
class Pooled:
    """The common effects, and the standard deviation of an operator's own about each."""

    common: Effects
    apart: Floats


def sums_of(rows: RiskSets, coef: Floats) -> Derivatives:
    """One operator's log partial likelihood with gradient and Hessian, ties as Efron's."""
    found = partial_likelihood(rows, coef, rows.weight, "efron")
    return Derivatives(float(found.loglik), found.score, -found.information)


def told(sums: Derivatives, factors: Sequence[str]) -> Numbers:
    """All that leaves an operator in a round: with p factors, 1 + p + p (p + 1) / 2 numbers."""
    at = range(len(factors))
    return (
        {"log likelihood": float(sums.value)}
        | {f"score {factors[j]}": float(sums.gradient[j]) for j in at}
        | {_pair(factors, j, i): float(-sums.hessian[j, i]) for j in at for i in at if i <= j}
    )


def heard(numbers: Mapping[str, float], factors: Sequence[str]) -> Derivatives:
    """The sums that an operator told."""
    at = range(len(factors))
    return Derivatives(
        numbers["log likelihood"],
        np.array([numbers[f"score {name}"] for name in factors]),
        -np.array([[numbers[_pair(factors, max(j, i), min(j, i))] for i in at] for j in at]),
    )


def pooled_effects(
    ask: Callable[[Floats], Mapping[str, Derivatives]], factors: Sequence[str]
) -> Pooled:
    """The effects all operators share.

    Args:
        ask: each operator's sums, by its name, at log hazard ratios per step, shape (factors,).
        factors: what they are of.  Those that nowhere vary are left out.

    Raises:
        NoEffectsError: a factor's effect runs off, or none varies.
    """
    newest: dict[str, Derivatives] = {}

    def asked(coef: Floats) -> Derivatives:
        newest.clear()
        newest.update(ask(coef))
        return summed(newest)

    common, kept = _climbed(asked, factors)
    bend = np.array([-newest[one].hessian[np.ix_(kept, kept)] for one in sorted(newest)])
    score = np.array([newest[one].gradient[kept] for one in sorted(newest)])
    return Pooled(common, _apart(score, bend, common.covariance))


def effects_without(
    pooled: Pooled, own: Derivatives, factors: Sequence[str], least_apart: float
) -> Pooled | None:
    """What the others say of one who took part: its sums taken off, by one Newton step.

    So its own record counts once when the others' effects become its prior.

    Args:
        pooled: as `pooled_effects` returns it.
        own: its sums at the common effects, over all `factors`.
        factors: what they are of.
        least_apart: standard deviation that operators lie apart at least; few tell it badly.

    Returns:
        None where the others alone have no estimate.
    """
    common = pooled.common
    at = [list(factors).index(name) for name in common.factors]
    known = np.linalg.inv(common.covariance) + own.hessian[np.ix_(at, at)]
    kept = np.flatnonzero(np.diag(known) > _NOTHING * max(1.0, np.diag(known).max()))
    known = known[np.ix_(kept, kept)]
    if not kept.size or np.linalg.eigvalsh(known)[0] <= _NOTHING:
        return None
    covariance = np.asarray(np.linalg.inv(known), dtype=float)
    coef = common.coef[kept] - covariance @ own.gradient[at][kept]
    names = tuple(common.factors[j] for j in kept)
    apart = np.maximum(pooled.apart[kept], least_apart)
    return Pooled(Effects(names, coef, covariance, common.rounds), apart)


def own_effects(rows: RiskSets, factors: Sequence[str], borrowed: Effects | None = None) -> Effects:
    """The effects from one operator's own rows, with what others found as a prior where given.

    Args:
        rows: its rows, a column per factor, in steps.
        factors: what the columns are.
        borrowed: the effects of others (`as_of_another`); factors they lack are left out.

    Raises:
        NoEffectsError: a factor's effect runs off, or none varies.
    """
    if borrowed is None:
        return _climbed(lambda coef: sums_of(rows, coef), factors)[0]
    at = [list(factors).index(name) for name in borrowed.factors]
    tight = np.asarray(np.linalg.inv(borrowed.covariance), dtype=float)

    def with_prior(coef: Floats) -> Derivatives:
        full = np.zeros(len(factors))
        full[at] = coef
        own = sums_of(rows, full)
        away = coef - borrowed.coef
        return Derivatives(own.value, own.gradient[at], own.hessian[np.ix_(at, at)]) + Derivatives(
            -0.5 * float(away @ tight @ away), -tight @ away, -tight
        )

    return _climbed(with_prior, borrowed.factors)[0]


def _climbed(
    ask: Callable[[Floats], Derivatives], factors: Sequence[str]
) -> tuple[Effects, list[int]]:
    """The maximum over the factors that vary, and which these are; no point is asked twice."""
    answers: dict[bytes, Derivatives] = {}

    def at(coef: Floats) -> Derivatives:
        if coef.tobytes() not in answers:
            answers[coef.tobytes()] = ask(coef)
        return answers[coef.tobytes()]

    nothing = np.zeros(len(factors))
    known = -np.diag(at(nothing).hessian)
    kept = np.flatnonzero(known > _NOTHING * max(1.0, known.max(initial=0.0))).tolist()
    if not kept:
        raise NoEffectsError("No factor varies among those at risk when a piston set failed.")

    def of_kept(coef: Floats) -> Derivatives:
        full = nothing.copy()
        full[kept] = coef
        there = at(full)
        return Derivatives(there.value, there.gradient[kept], there.hessian[np.ix_(kept, kept)])

    free = np.full(len(kept), np.inf)
    try:
        best = climb(of_kept, np.zeros(len(kept)), np.zeros(len(kept)), free)
    except NoMaximumError as error:
        name = factors[kept[error.index]]
        raise NoEffectsError(f"{name} has no finite estimate from these failures.") from None
    of_kept(best.at)  # the newest sums are those at the maximum
    names = tuple(factors[j] for j in kept)
    covariance = np.asarray(np.linalg.inv(best.bend), dtype=float)
    return Effects(names, best.at, covariance, len(answers)), kept


def _apart(score: Floats, bend: Floats, covariance: Floats) -> Floats:
    """Standard deviation of operators' effects about the common ones, shape (factors,).

    Args:
        score: gradients at the common effects, shape (operators, factors).
        bend: information there, shape (operators, factors, factors).
        covariance: of the common effects.
    """
    by_chance = np.einsum("kjj->j", bend - bend @ covariance @ bend)
    # what one operator's departure does to each one's gradient, the common effects moving along
    moved = -np.einsum("kab,bc,lcd->klad", bend, covariance, bend)
    each = np.arange(len(bend))
    moved[each, each] += bend
    reach = (moved**2).sum(axis=(0, 1))
    size = np.sqrt(np.diag(reach))
    if not size.all():  # a single operator
        return np.zeros(len(by_chance))
    excess = (score**2).sum(axis=0) - by_chance
    variance, _ = optimize.nnls(reach / size[:, None], excess / size)
    return np.asarray(np.sqrt(variance))


def _pair(factors: Sequence[str], one: int, other: int) -> str:
    return f"information {factors[one]} and {factors[other]}"
