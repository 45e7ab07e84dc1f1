"""The fits behind this week's chances: what the fleet's piston sets have lived through.

Ring-land fracture gets one joint hazard (`joint_hazard`): a baseline of age that may fall and
rise, the factors of the registry with room to bend and their effect within and between docks
apart, docks, engines, and what the ledger leaves open of the fuel.  Ring wear stands beside it
with the baseline alone, for it has few failures and no single exposure is held to drive it.
Cox regression on the same intervals stands beside both as evidence: it is shown, never used
for a chance.

A fit that fails is reported in `problem`, never replaced by a guess.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.exposure.factor_registry import BOUNDS, COVARIATES, FACTORS
from ringland.risk.exposure_ahead import standing_in
from ringland.risk.exposure_error import ExposureError, exposure_error
from ringland.settings.assumptions import Assumptions
from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_maximum import CoxFitError
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.hazard.hazard_design import Factor, SpellRows
from ringland.survival.hazard.hazard_effects import FactorEffect, factor_effects
from ringland.survival.hazard.hazard_prior import HazardPrior
from ringland.survival.hazard.joint_hazard import JointHazard, fit_joint_hazard
from ringland.survival.spell_checks import SpellError

AGE_FACTOR = "age_h"
"""The set's own age, a driver beside the covariates."""

GROUPS = ("dock_id", "engine_id")
"""Columns whose groups may differ in a hazard of their own, the wider group first."""

MODES_AT_STAKE = {"ring_land_fracture": COVARIATES, "ring_wear": ()}
"""The modes a chance speaks of, and the covariates of each.

A mode without covariates has too few failures to tell docks and engines apart either.
"""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ModeFit:
    """What one failure mode's hazard regression gave, or why it gave nothing.

    `left_out` maps a covariate to why it is not in the fit.  Exactly one of `hazard` and
    `problem` is set.  `error` is what the exposure may be wrong by.
    """

    mode: str
    covariates: tuple[str, ...]
    left_out: dict[str, str]
    n_failures: int
    n_sets: int
    hazard: JointHazard | None
    problem: str | None
    is_doubtful: bool
    error: ExposureError

    def cumulative_hazard(self, start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        """H over (start_h, stop_h] by draw, shape (draws, rows).

        With the engine's factor and the dock's effect where `exposure` names them; without a
        name it is the hazard of a middle one.  What the fuel record leaves open of an
        engine's exposure is in it where the columns of its bounds are.

        Raises:
            ValueError: there is no fit; `problem` says why.
        """
        if self.hazard is None:
            raise ValueError(f"{self.mode} has no fit: {self.problem}")
        dock, engine = (
            exposure[name].to_list() if self.covariates and name in exposure.columns else None
            for name in GROUPS
        )
        return self.hazard.cumulative_hazard(
            start_h,
            stop_h,
            covariate_matrix(exposure, self.covariates),
            own=engine,
            place=dock,
            blur=self.error.blur(exposure, self.covariates),
        )

    def effects(self, confidence: float) -> tuple[FactorEffect, ...]:
        """The hazard ratio of each covariate; none without a fit."""
        return () if self.hazard is None else factor_effects(self.hazard, confidence)

    def thinned(self, wanted: int) -> ModeFit:
        """The same on at most `wanted` of its draws."""
        return self if self.hazard is None else replace(self, hazard=self.hazard.thinned(wanted))


@dataclass(frozen=True)
class CoxEvidence:
    """The Cox fit of ring-land fracture beside the Weibull one, or why there is none."""

    fit: CoxFit | None
    problem: str | None


@dataclass(frozen=True)
class FleetFits:
    """All fits of this week, and what cannot be separated in this record."""

    modes: tuple[ModeFit, ...]
    cox: CoxEvidence
    cannot_separate: tuple[str, ...]
    error: ExposureError

    @property
    def ring_land(self) -> ModeFit:
        """The fit of ring-land fracture."""
        return next(fit for fit in self.modes if fit.mode == "ring_land_fracture")

    @property
    def at_stake(self) -> tuple[ModeFit, ...]:
        """The fits a chance is summed over."""
        return tuple(fit for fit in self.modes if fit.hazard is not None)

    @property
    def cannot_tell(self) -> str | None:
        """Why no chance can be given for any hull; null when one can."""
        return (
            None
            if self.ring_land.hazard is not None
            else (f"the fleet's hazard could not be estimated: {self.ring_land.problem}")
        )


def fit_fleet(
    spells: pl.DataFrame, assumptions: Assumptions, rng: np.random.Generator
) -> FleetFits:
    """The fits of this week from the fleet's intervals.

    Args:
        spells: `Spells` as known at the report's instant, a row per interval.
        assumptions: settings: priors, steps, number of draws.
        rng: source of the parameter draws.
    """
    error = exposure_error(spells, assumptions)
    believed = error.believed(spells)
    modes = tuple(
        _fit_mode(believed, mode, names, error, assumptions=assumptions, rng=rng)
        for mode, names in MODES_AT_STAKE.items()
    )
    ring_land = modes[0]
    return FleetFits(
        modes=modes,
        cox=_fit_cox(believed, ring_land),
        cannot_separate=what_cannot_be_separated(spells, assumptions),
        error=error,
    )


def clear_factors(fits: FleetFits, assumptions: Assumptions) -> list[str]:
    """The factors whose effect on ring-land fracture this record tells from none.

    A factor is clear when the interval of its hazard ratio leaves out 1, fuel's within docks;
    age, when the interval of the Weibull shape nearest the baseline does.
    """
    hazard = fits.ring_land.hazard
    if hazard is None:
        return []
    confidence = assumptions.number("survival.confidence")
    clear = [e.name for e in fits.ring_land.effects(confidence) if not e.low <= 1 <= e.high]
    tail = (1 - confidence) / 2
    low, high = np.quantile(hazard.mean_shape(), [tail, 1 - tail])
    return clear if low <= 1 <= high else [*clear, AGE_FACTOR]


def exposure_values(frame: pl.DataFrame, name: str) -> Floats:
    """One covariate as numbers; yes is 1 and no is 0."""
    return frame[name].cast(pl.Float64).to_numpy()


def covariate_matrix(frame: pl.DataFrame, names: Sequence[str]) -> Floats:
    """The covariates as columns, shape (rows, names), in each one's own unit."""
    if not names:
        return np.empty((frame.height, 0))
    return np.column_stack([exposure_values(frame, name) for name in names])


def with_bound(frame: pl.DataFrame, bound: str) -> pl.DataFrame:
    """The exposure had the open part of the fuel record gone as `bound` says."""
    return frame.with_columns(standing_in(BOUNDS.get(bound, {}), frame))


def hazard_prior(assumptions: Assumptions) -> HazardPrior:
    """The weakly informative priors of the settings."""
    named = {
        name: assumptions.number(f"prior.{name}")
        for name in (
            "log_shape_mean",
            "log_shape_sd",
            "log_scale_mean",
            "log_scale_sd",
            "effect_sd",
            "between_sd",
            "age_bend_sd",
            "factor_bend_sd",
        )
    }
    return HazardPrior(
        **named,
        place_sd=assumptions.number("prior.dock_spread_sd"),
        own_sd=assumptions.number("prior.engine_spread_sd"),
    )


def fitted_factors(names: Sequence[str], assumptions: Assumptions) -> list[Factor]:
    """The registry's factors as a fit takes them."""
    return [
        Factor(
            name=name,
            step=FACTORS[name].step(assumptions),
            centre=FACTORS[name].good_value(assumptions),
            knots=FACTORS[name].knots,
            differs_by_place=FACTORS[name].differs_by_dock,
        )
        for name in names
    ]


def spell_rows(
    spells: pl.DataFrame, event: NDArray[np.bool_], names: Sequence[str], error: ExposureError
) -> SpellRows:
    """The spells as a fit takes them; with covariates, engines and docks are told apart."""
    docks = spells["dock_id"].to_list()
    return SpellRows(
        start=spells["start_h"].to_numpy(),
        stop=spells["stop_h"].to_numpy(),
        event=event,
        x=covariate_matrix(spells, names),
        own=spells["engine_id"].to_list() if names else None,
        place=docks if names and len(set(docks)) > 1 else None,
        blur=error.blur(spells, tuple(names)),
    )


def usable_covariates(
    spells: pl.DataFrame, names: Sequence[str]
) -> tuple[tuple[str, ...], dict[str, str]]:
    """The covariates this record can tell apart, and why each other one is left out."""
    used: list[str] = []
    left_out: dict[str, str] = {}
    for name in names:
        values = exposure_values(spells, name)
        if np.ptp(values) == 0:
            left_out[name] = f"has one value ({values[0]:g}) in the whole record"
            continue
        tried = covariate_matrix(spells, [*used, name])
        scaled = (tried - tried.mean(axis=0)) / tried.std(axis=0)
        if np.linalg.matrix_rank(scaled) < tried.shape[1]:
            left_out[name] = f"moves in step with {', '.join(used)}: cannot separate"
            continue
        used.append(name)
    return tuple(used), left_out


def what_cannot_be_separated(spells: pl.DataFrame, assumptions: Assumptions) -> tuple[str, ...]:
    """Sentences on fuel and dock where nearly all difference in shortfall lies between docks."""
    shortfall = pl.col("shortfall_25h_on")
    whole, between = spells.select(
        shortfall.var(ddof=0).alias("whole"),
        shortfall.mean().over("dock_id").var(ddof=0).alias("between"),
    ).row(0)
    if not whole:
        return ("Fuel and need do not vary in this record: no effect of octane can be estimated.",)
    share = between / whole
    if spells["dock_id"].n_unique() > 1 and share > assumptions.number("record.dock_fuel_share"):
        return (
            f"{share * 100:.0f} % of the difference in fuel shortfall lies between docks: the "
            "effect of fuel and the effect of the dock cannot be separated.",
        )
    return ()


def _fit_mode(
    spells: pl.DataFrame,
    mode: str,
    names: Sequence[str],
    error: ExposureError,
    *,
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> ModeFit:
    event = (spells["mode"] == mode).fill_null(False).to_numpy()
    used, left_out = usable_covariates(spells, names) if spells.height else ((), {})
    hazard, problem = None, None
    try:
        if spells.is_empty():
            raise SpellError("no running time on record")
        hazard = fit_joint_hazard(
            [spell_rows(spells, event, used, error)],
            fitted_factors(used, assumptions),
            prior=hazard_prior(assumptions),
            n_draws=int(assumptions.number("survival.draws")),
            rng=rng,
        )
    except SpellError as failure:
        problem = str(failure)
    n_failures = int(event.sum())
    few = assumptions.number("survival.few_events_per_covariate") * max(1, len(used))
    return ModeFit(
        mode=mode,
        covariates=used,
        left_out=left_out,
        n_failures=n_failures,
        n_sets=spells["piston_set_id"].n_unique(),
        hazard=hazard,
        problem=problem,
        is_doubtful=n_failures < few,
        error=error,
    )


def _fit_cox(spells: pl.DataFrame, ring_land: ModeFit) -> CoxEvidence:
    """Cox on the covariates the Weibull fit used, hulls as clusters."""
    if not ring_land.covariates:
        return CoxEvidence(None, "no covariate varies in this record")
    try:
        fit = fit_cox(
            spells["start_h"].to_numpy(),
            spells["stop_h"].to_numpy(),
            (spells["mode"] == ring_land.mode).fill_null(False).to_numpy(),
            covariate_matrix(spells, ring_land.covariates),
            names=ring_land.covariates,
            cluster=spells["hull_id"].to_numpy(),
        )
    except (CoxFitError, SpellError) as error:
        return CoxEvidence(None, str(error))
    return CoxEvidence(fit, None)
