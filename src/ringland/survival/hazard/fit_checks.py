"""May we believe this fit?  Three answers: believed, doubtful with reasons, not enough record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from ringland.settings.assumptions import Assumptions
from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_maximum import CoxFitError
from ringland.survival.cox.cox_proportionality import TooFewEventsError, proportionality_test
from ringland.survival.cox.hull_bootstrap import HullBootstrap
from ringland.survival.hazard.hazard_effects import prior_shares
from ringland.survival.hazard.joint_hazard import JointHazard
from ringland.survival.hazard.weighted_draws import TRUSTED_SHAPE

Outcome = Literal["believed", "doubtful", "not enough record"]


@dataclass(frozen=True)
class Verdict:
    """Whether a fit may be believed, and every reason against it in plain words."""

    outcome: Outcome
    reasons: tuple[str, ...]


def judge_cox_fit(
    fit: CoxFit | CoxFitError, assumptions: Assumptions, bootstrap: HullBootstrap | None = None
) -> Verdict:
    """The verdict on a Cox fit, or on the error that came in its place."""
    if isinstance(fit, CoxFitError):
        return Verdict("not enough record", (str(fit),))
    reasons = _few_events(fit.n_events, len(fit.names), assumptions)
    few = assumptions.number("survival.few_clusters")
    if fit.n_clusters is not None and fit.n_clusters < few:
        reasons.append(
            f"{fit.n_clusters} hulls, fewer than {few:g}: the clustered error is too small; "
            f"leave out one hull at a time, or use the hazard with priors."
        )
    if bootstrap is not None and bootstrap.failed:
        listed = ", ".join(f"{count} {reason}" for reason, count in bootstrap.failed.items())
        reasons.append(
            f"{sum(bootstrap.failed.values())} of {bootstrap.n_asked} replicates have no "
            f"estimate ({listed}): the limits are too narrow."
        )
    return _verdict(reasons + _changing_effects(fit, assumptions))


def _changing_effects(fit: CoxFit, assumptions: Assumptions) -> list[str]:
    if not fit.names:
        return []
    try:
        test = proportionality_test(fit)
    except TooFewEventsError as error:
        return [str(error)]
    if test.global_p >= 1 - assumptions.number("survival.confidence"):
        return []
    worst = int(test.p.argmin())
    return [
        f"Effects change over the life (test over all factors, p = {test.global_p:.2g}); most "
        f"of all {fit.names[worst]} (p = {test.p[worst]:.2g}). Read them as averages."
    ]


def judge_hazard_fit(fit: JointHazard, assumptions: Assumptions) -> Verdict:
    """The verdict on a hazard: above all, how much of it is the prior's."""
    if fit.size.n_events == 0:
        return Verdict(
            "not enough record",
            (f"No failure in {fit.size.n_spells} spells: what stands here is the prior.",),
        )
    reasons = _few_events(fit.size.n_events, len(fit.names), assumptions)
    mostly = assumptions.number("survival.mostly_prior_share")
    from_prior = [name for name, share in prior_shares(fit).items() if share > mostly]
    if from_prior:
        reasons.append(f"Mostly the prior's, not the record's: {', '.join(from_prior)}.")
    worth = fit.size.effective_draws
    if worth < assumptions.number("survival.few_effective_draws"):
        reasons.append(f"{fit.n_draws} draws are worth only {worth:.0f}: limits are rough.")
    if fit.size.tail_shape > TRUSTED_SHAPE:
        reasons.append(
            f"A few draws bear most of the weight (Pareto shape {fit.size.tail_shape:.2f}, "
            f"trusted up to {TRUSTED_SHAPE:g}): limits are rough."
        )
    return _verdict(reasons)


def _few_events(n_events: int, n_covariates: int, assumptions: Assumptions) -> list[str]:
    few = assumptions.number("survival.few_events_per_covariate")
    if n_covariates == 0 or n_events >= few * n_covariates:
        return []
    return [
        f"Failures on record: {n_events}, factors: {n_covariates}. The usual rule of thumb "
        f"asks {few:g} failures for each factor."
    ]


def _verdict(reasons: Sequence[str]) -> Verdict:
    return Verdict("doubtful" if reasons else "believed", tuple(reasons))
