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
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.exposure.factor_registry import BOUNDS, COVARIATES
from ringland.risk.exposure_ahead import standing_in
from ringland.risk.exposure_error import ExposureError, exposure_error
from ringland.risk.fit_against_record import SCHEMA, against_record
from ringland.risk.hazard_inputs import (
    covariate_matrix,
    exposure_values,
    fitted_factors,
    hazard_prior,
    spell_rows,
)
from ringland.risk.shared_effects import SharedEffects
from ringland.settings.assumptions import Assumptions
from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_maximum import CoxFitError
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.hazard.hazard_effects import FactorEffect, factor_effects
from ringland.survival.hazard.hazard_mode import NoMaximumError
from ringland.survival.hazard.joint_hazard import JointHazard, fit_joint_hazard
from ringland.survival.spell_checks import SpellError

AGE_FACTOR = "age_h"
"""The set's own age, a driver beside the covariates."""

GROUPS = ("dock_id", "engine_id")
"""Columns whose groups may differ in a hazard of their own, the wider group first."""

READS = (
    *COVARIATES,
    *(name for columns in BOUNDS.values() for name in columns.values()),
    *GROUPS,
    "piston_set_id",
)
"""Columns of exposure that a hazard looks at; frames laid out for many rows hold no others."""

MODES_AT_STAKE = {"ring_land_fracture": COVARIATES, "ring_wear": ()}
"""The modes a chance speaks of, and the covariates of each.

A mode without covariates has too few failures to tell docks and engines apart either.
"""

CHECK_DRAWS, ROWS_AT_ONCE = 40, 8192
"""Draws the fit is held against its own record on, and spells at a time."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ModeFit:
    """What one failure mode's hazard regression gave, or why it gave nothing.

    `left_out` maps a covariate to why it is not in the fit; `borrowed` are those in it that this
    record does not tell apart, by what a network shares alone.  Exactly one of `hazard` and
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
    borrowed: tuple[str, ...] = ()

    @property
    def told_apart(self) -> tuple[str, ...]:
        """The covariates that this record tells apart."""
        return tuple(name for name in self.covariates if name not in self.borrowed)

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
    against_record: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=SCHEMA))
    """Seen against expected by part of the record (`fit_against_record`)."""

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

    def thinned(self, wanted: int) -> FleetFits:
        """The same on at most `wanted` draws of each fit."""
        return replace(self, modes=tuple(fit.thinned(wanted) for fit in self.modes))


def fit_fleet(
    spells: pl.DataFrame,
    assumptions: Assumptions,
    rng: np.random.Generator,
    shared: SharedEffects | None = None,
) -> FleetFits:
    """The fits of this week from the fleet's intervals.

    Args:
        spells: `Spells` as known at the report's instant, a row per interval.
        assumptions: settings: priors, steps, number of draws.
        rng: source of the parameter draws.
        shared: what the operators of a network share of ring-land fracture; None: nothing.
    """
    error = exposure_error(spells, assumptions)
    believed = error.believed(spells)
    modes = tuple(
        _fit_mode(believed, mode, names, error, assumptions=assumptions, rng=rng, shared=shared)
        for mode, names in MODES_AT_STAKE.items()
    )
    ring_land = modes[0]
    return FleetFits(
        modes=modes,
        cox=_fit_cox(believed, ring_land),
        cannot_separate=what_cannot_be_separated(spells, assumptions),
        error=error,
        against_record=_against_record(believed, modes, assumptions),
    )


def _against_record(
    spells: pl.DataFrame, modes: Sequence[ModeFit], assumptions: Assumptions
) -> pl.DataFrame:
    """Seen against expected of every mode fitted, on a few of its draws."""
    parts = [pl.DataFrame(schema=SCHEMA)]
    for mode in modes:
        if mode.hazard is None:
            continue
        few = mode.thinned(CHECK_DRAWS)
        hazard = [
            few.cumulative_hazard(part["start_h"].to_numpy(), part["stop_h"].to_numpy(), part)
            for part in spells.iter_slices(ROWS_AT_ONCE)
        ]
        parts.append(against_record(spells, np.concatenate(hazard, axis=1), mode.mode, assumptions))
    return pl.concat(parts)


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


def with_bound(frame: pl.DataFrame, bound: str) -> pl.DataFrame:
    """The exposure had the open part of the fuel record gone as `bound` says."""
    return frame.with_columns(standing_in(BOUNDS.get(bound, {}), frame))


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
    shared: SharedEffects | None,
) -> ModeFit:
    event = (spells["mode"] == mode).fill_null(False).to_numpy()
    used, left_out = usable_covariates(spells, names) if spells.height else ((), {})
    borrowed = tuple(name for name in left_out if shared is not None and name in shared.factors)
    used = tuple(name for name in names if name in {*used, *borrowed})
    left_out = {name: why for name, why in left_out.items() if name not in borrowed}
    hazard, problem = None, None
    try:
        if spells.is_empty():
            raise SpellError("no running time on record")
        hazard = fit_joint_hazard(
            [spell_rows(spells, event, used, error)],
            fitted_factors(used, assumptions, shared),
            prior=hazard_prior(assumptions),
            n_draws=int(assumptions.number("survival.draws")),
            rng=rng,
        )
    except (SpellError, NoMaximumError) as failure:
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
        borrowed=borrowed,
    )


def _fit_cox(spells: pl.DataFrame, ring_land: ModeFit) -> CoxEvidence:
    """Cox on the covariates this record tells apart, hulls as clusters."""
    names = ring_land.told_apart
    if not names:
        return CoxEvidence(None, "no covariate varies in this record")
    try:
        fit = fit_cox(
            spells["start_h"].to_numpy(),
            spells["stop_h"].to_numpy(),
            (spells["mode"] == ring_land.mode).fill_null(False).to_numpy(),
            covariate_matrix(spells, names),
            names=names,
            cluster=spells["hull_id"].to_numpy() if spells["hull_id"].n_unique() > 1 else None,
        )
    except (CoxFitError, SpellError) as error:
        return CoxEvidence(None, str(error))
    return CoxEvidence(fit, None)
