"""Two ways to read a record that leaves the effect of fuel open: the sceptic's and the trade's.

The sceptic gives no effect at all an even chance and lets the record speak for any other; the
trade holds that fuel below need harms (common practice, no source), more of it never less, that
a raised calibration does no good (`harm_course`), and is open on how much.  Each is a prior with
a point at no effect and a spread beside it, for octane and for the age of the fuel apart.  What
the record says of an effect is taken from the draws of the fit: their mean and spread, less what
the fit's own prior put in, are the likelihood (normal in the log hazard ratio; the Bayes factor
of no effect is then that of Dickey 1971).  The draws are weighted anew, and as many of them as no
effect is likely are read at the fleet's usual fuel, so that nothing done about fuel changes them.

An appetite for risk is a weight on the draws in which leaving the fleet alone costs most
(conditional value at risk; Rockafellar and Uryasev 2000).  All that follows takes plain
means over the draws.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.decision.value.harm_course import LONG_H
from ringland.decision.value.hazard_ahead import (
    CumulativeHazard,
    Floats,
    as_usual,
    planning_hazard,
)
from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.expected_use import hours_ahead
from ringland.risk.exposure_ahead import USUAL
from ringland.risk.fleet_hazard import FleetFits, ModeFit
from ringland.settings.assumptions import Assumptions

FACTORS = {"octane": "shortfall_25h_on", "age": "fuel_age_25h_d"}
"""The two effects of fuel a belief speaks of, and the covariate each goes by."""

HELD_TO_HARM = (*FACTORS.values(), "is_raised_calibration")
"""What the trade holds never to do a piston good: common practice, no source."""

SCEPTIC, TRADE = "sceptic", "trade"

LEAST_DRAWS = 25
"""Draws below which a part of a belief is not thinned."""


@dataclass(frozen=True)
class Effect:
    """What a belief makes of one effect of fuel, after the record.

    `reference` is the change of the covariate the log hazard ratio speaks of; `weights` are
    those of the fit's draws where there is an effect.
    """

    covariate: str
    no_effect: float
    log_ratio: float
    reference: float
    weights: Floats


@dataclass(frozen=True)
class Belief:
    """One reading of the record: the chance of no effect and the draws if there is one."""

    name: str
    effects: tuple[Effect, ...]

    def effect(self, factor: str) -> Effect:
        """What it makes of 'octane' or 'age'."""
        return next(e for e in self.effects if e.covariate == FACTORS[factor])


@dataclass(frozen=True)
class Reading:
    """A belief, and the hazard that the plan is made on under it."""

    belief: Belief
    hazard: CumulativeHazard


def readings_of(
    fits: FleetFits,
    told: pl.DataFrame,
    horizon_d: float,
    assumptions: Assumptions,
    *,
    own_only: bool = False,
) -> tuple[Reading, ...]:
    """The two readings of the record, the shop's own (`planning.trade_prior`) first.

    Empty where there is no hazard to plan on.

    Args:
        fits: the fleet's fits.
        told: running sets whose chance can be told.
        horizon_d: days the plan looks ahead.
        assumptions: settings.
        own_only: leave the other reading out.
    """
    if fits.cannot_tell is not None:
        return ()
    wanted = int(assumptions.number("planning.draws"))
    ring_land = fits.ring_land.thinned(wanted)
    names = [TRADE, SCEPTIC] if assumptions.number("planning.trade_prior") > 0 else [SCEPTIC, TRADE]
    found: list[Reading] = []
    for name in names[:1] if own_only else names:
        belief = believe(name, ring_land, told, assumptions)
        # The other reading is only told of: fewer draws do.
        n_draws = wanted if not found else max(LEAST_DRAWS, wanted // 2)
        harming = HELD_TO_HARM if name == TRADE else ()
        on_draws = partial(planning_hazard, fits, assumptions, harming=harming, on=told)
        believed = believed_hazard(on_draws, belief, told, n_draws)
        age_h = told["age_h"].to_numpy().astype(float)
        alone = believed(age_h, age_h + hours_ahead(told, horizon_d), as_usual(told))
        failures = -np.expm1(-alone).sum(axis=1)
        found.append(Reading(belief, at_risk(believed, failures, assumptions)))
    return tuple(found)


def shop_hazard(
    fits: FleetFits, running: pl.DataFrame, horizon_d: float, assumptions: Assumptions
) -> CumulativeHazard | None:
    """The hazard as the shop believes it: what the plan, a what-if and a season's rules go by.

    Where no hull has a chance to believe anything of, the fit's own; None without a fit.

    Args:
        fits: the fleet's fits.
        running: one row per hull in service, as `running_sets` returns it.
        horizon_d: days the plan looks ahead.
        assumptions: settings.
    """
    if fits.cannot_tell is not None:
        return None
    told = running.filter(pl.col("why_not").is_null())
    if told.is_empty():
        return planning_hazard(fits, assumptions)
    return readings_of(fits, told, horizon_d, assumptions, own_only=True)[0].hazard


def believe(name: str, fit: ModeFit, told: pl.DataFrame, assumptions: Assumptions) -> Belief:
    """What a prior by name makes of the fit of one failure mode.

    Args:
        name: `SCEPTIC` or `TRADE`.
        fit: the mode fuel is held to drive, with all draws planning uses.
        told: running sets, for the middle set the effect is read at.
        assumptions: the group `belief`, and the fit's own prior.
    """
    effects = []
    for factor, covariate in FACTORS.items():
        reference = assumptions.number(f"belief.{factor}_reference")
        draws = _log_ratios(fit, told, covariate, reference)
        fit_sd = assumptions.number("prior.effect_sd") * reference
        fit_sd /= assumptions.number(f"step.{covariate}")
        mean = assumptions.number(f"belief.trade_{factor}_mean") if name == TRADE else 0.0
        sd = assumptions.number(f"belief.trade_{factor}_sd") if name == TRADE else fit_sd
        before = assumptions.number(f"belief.{name}_no_effect")
        prior = _Prior(before, (mean, sd), (0.0, fit_sd))
        effects.append(_after_record(covariate, reference, draws, prior))
    return Belief(name, tuple(effects))


def believed_hazard(
    hazard_on: Callable[[int], CumulativeHazard], belief: Belief, told: pl.DataFrame, n_draws: int
) -> CumulativeHazard:
    """The hazard as a belief weighs its draws, `n_draws` of them, each counting the same.

    Args:
        hazard_on: the fleet's hazard on every so many-th of the draws the weights speak of.
        belief: the reading.
        told: running sets; where there is no effect all burn what is usual among them.
        n_draws: draws wanted.
    """
    usual = {e.covariate: _usual(told, e.covariate) for e in belief.effects}
    n_all = len(belief.effects[0].weights)
    shares, found = [], []
    for nones in product([False, True], repeat=len(belief.effects)):
        share, weights, held = 1.0, np.ones(n_all), {}
        for effect, is_none in zip(belief.effects, nones, strict=True):
            share *= effect.no_effect if is_none else 1 - effect.no_effect
            weights = weights if is_none else weights * effect.weights
            if is_none:
                held[effect.covariate] = usual[effect.covariate]
        shares.append(share)
        found.append((held, weights))
    counts = np.bincount(_picked(np.array(shares), n_draws), minlength=len(shares))
    parts = []
    for count, (held, weights) in zip(counts, found, strict=True):
        if count:
            # A few picks need not weigh every draw.
            used = min(n_all, max(LEAST_DRAWS, 2 * int(count)))
            every = max(1, n_all // used)
            thinned = weights[::every][:used]
            if not thinned.any():  # all that counts lies between those kept
                thinned = weights
            parts.append(_Part(hazard_on(len(thinned)), held, _picked(thinned, int(count))))
    return _Mixed(tuple(parts))


def at_risk(
    hazard: CumulativeHazard, failures: Floats, assumptions: Assumptions
) -> CumulativeHazard:
    """The hazard with more weight on the draws that cost the fleet most, by the shop's appetite.

    Args:
        hazard: as believed.
        failures: by draw, those expected of the fleet left alone.
        assumptions: `planning.risk_weight` and `planning.risk_tail`.
    """
    weight = assumptions.number("planning.risk_weight")
    if weight == 0:
        return hazard
    tail = assumptions.number("planning.risk_tail")
    order = np.argsort(-failures, kind="stable")
    worst = np.zeros(len(failures))
    worst[order[: max(1, round(tail * len(order)))]] = 1.0
    weights = (1 - weight) / len(order) + weight * worst / worst.sum()
    return _Mixed((_Part(hazard, {}, _picked(weights, len(failures))),))


@dataclass(frozen=True)
class _Part:
    """Chosen draws of a hazard, some covariates held at one value for all."""

    hazard: CumulativeHazard
    held: Mapping[str, float]
    picks: NDArray[np.int64]


@dataclass(frozen=True)
class _Mixed:
    """The draws of several parts, one after another."""

    parts: tuple[_Part, ...]

    def __call__(self, start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        return np.concatenate(
            [
                part.hazard(
                    start_h,
                    stop_h,
                    exposure.with_columns(
                        **{name: pl.lit(value) for name, value in part.held.items()}
                    ),
                )[part.picks]
                for part in self.parts
            ]
        )


@dataclass(frozen=True)
class _Prior:
    """The chance of no effect, and mean and spread if there is one: its own and the fit's."""

    no_effect: float
    slab: tuple[float, float]
    fit: tuple[float, float]


def _after_record(covariate: str, reference: float, draws: Floats, prior: _Prior) -> Effect:
    """No effect's chance and the draws' weights under a prior, from draws under the fit's own."""
    n = len(draws)
    if not np.ptp(draws):  # the covariate is not in the fit: the record says nothing of it
        return Effect(covariate, 1.0, 0.0, reference, np.full(n, 1 / n))
    slab, before, (fit_mean, fit_sd) = prior.slab, prior.no_effect, prior.fit
    mean, sd = float(draws.mean()), float(draws.std())
    precision = 1 / sd**2 - 1 / fit_sd**2
    no_effect = before
    if precision > 0:
        peak = (mean / sd**2 - fit_mean / fit_sd**2) / precision
        none = _log_density(peak, 0.0, precision**-0.5)
        some = _log_density(peak, slab[0], np.hypot(precision**-0.5, slab[1]))
        odds = before / (1 - before) * np.exp(none - some) if before < 1 else np.inf
        no_effect = 1.0 if np.isinf(odds) else float(odds / (1 + odds))
    weights = np.exp(_log_density(draws, *slab) - _log_density(draws, fit_mean, fit_sd))
    if slab[0] > 0:  # held to harm: a draw in which it does good has no place in it
        weights = np.where(draws > 0, weights, 0.0) if (draws > 0).any() else weights
    weights /= weights.sum()
    return Effect(covariate, no_effect, float(weights @ draws), reference, weights)


def _log_density(at: Floats | float, mean: float, sd: float) -> Floats:
    """Of a normal distribution, as `scipy.stats.norm.logpdf`, which takes half a second to come."""
    from_mean = np.asarray((at - mean) / sd)
    return np.asarray(-(from_mean**2) / 2.0 - np.log(np.sqrt(2 * np.pi)) - np.log(sd))


def _log_ratios(fit: ModeFit, told: pl.DataFrame, covariate: str, by: float) -> Floats:
    """Log hazard ratio of `by` more of a covariate, by draw, at the middle set."""
    middle = told.select(
        pl.col(name).cast(pl.Float64).median() for name in COVARIATES if name in told.columns
    )
    pair = pl.concat([middle.with_columns(pl.lit(value).alias(covariate)) for value in (0.0, by)])
    draws = fit.cumulative_hazard(np.zeros(2), np.full(2, LONG_H), pair)
    return np.asarray(np.log(draws[:, 1] / draws[:, 0]))


def _usual(told: pl.DataFrame, covariate: str) -> float:
    """The mean of what is usual, hours weighing."""
    name = USUAL + covariate if USUAL + covariate in told.columns else covariate
    value = pl.coalesce(pl.col(name), pl.col(covariate)).cast(pl.Float64)
    use = pl.col("use_h_d").clip(lower_bound=1e-6)
    return float(told.select((value * use).sum() / use.sum()).item())


def _picked(weights: Floats, n: int) -> NDArray[np.int64]:
    """Systematic resampling: entry numbers, as often as their weights ask."""
    ends = np.cumsum(weights / weights.sum())
    ticks = (np.arange(n) + 0.5) / n
    return np.searchsorted(ends, ticks).clip(max=len(weights) - 1)
