"""The fits behind this week's chances: what the fleet's piston sets have lived through.

Ring-land fracture gets a Weibull hazard regression on the covariates below, with the
weakly informative priors of the settings; ring wear the same without covariates, for it
has few failures and no single exposure is held to drive it.  Cox regression on the same
intervals stands beside it as evidence: it is shown, never used for a chance.

A fit that fails is reported in `problem`, never replaced by a guess.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.risk.exposure_ahead import standing_in
from ringland.settings.assumptions import Assumptions
from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_maximum import CoxFitError
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.hazard.group_spread import GroupSpread, group_spread
from ringland.survival.hazard.weibull_hazard import (
    HazardPrior,
    WeibullHazardFit,
    fit_weibull_hazard,
)
from ringland.survival.spell_checks import SpellError

COVARIATES = (
    "shortfall_25h_on",
    "fuel_age_25h_d",
    "full_throttle_25h",
    "is_raised_calibration",
    "is_forged",
    "build_number",
)
"""The covariates of the ring-land hazard, named as in `Spells`; stated here only."""

AGE_FACTOR = "age_h"
"""The set's own age, a driver beside the covariates."""

BOUNDS = {
    "best_fuel": {"shortfall_25h_on": "shortfall_25h_low_on"},
    "worst_fuel": {"shortfall_25h_on": "shortfall_25h_high_on"},
}
"""Which columns stand in for a covariate where the open part of the record went well or ill."""

SPREAD_OVER = {"ring_land_fracture": ("dock_id", "engine_id")}
"""Columns whose groups may differ in a mode's hazard, the wider group first.

Ring wear has too few failures to tell groups apart.
"""

MODES_AT_STAKE = {"ring_land_fracture": COVARIATES, "ring_wear": ()}
"""The modes a chance speaks of, and the covariates of each."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ModeFit:
    """What one failure mode's hazard regression gave, or why it gave nothing.

    `left_out` maps a covariate to why it is not in the fit.  Exactly one of `hazard` and
    `problem` is set.
    """

    mode: str
    covariates: tuple[str, ...]
    left_out: dict[str, str]
    n_failures: int
    n_sets: int
    hazard: WeibullHazardFit | None
    problem: str | None
    is_doubtful: bool
    spreads: tuple[tuple[str, GroupSpread], ...] = ()
    """How groups differ beyond the covariates: the column that names them, and their factors."""

    def cumulative_hazard(self, start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        """H over (start_h, stop_h] by draw, shape (draws, rows).

        Times the factors of the engine and the dock where `exposure` names them; without a
        name it is the hazard of a middle one.

        Raises:
            ValueError: there is no fit; `problem` says why.
        """
        if self.hazard is None:
            raise ValueError(f"{self.mode} has no fit: {self.problem}")
        x = covariate_matrix(exposure, self.covariates)
        hazard = self.hazard.cumulative_hazard(start_h, stop_h, x)
        for column, spread in self.spreads:
            if column in exposure.columns:
                hazard = hazard * spread.factors(exposure[column].to_list())
        return hazard

    def thinned(self, wanted: int) -> ModeFit:
        """The same on at most `wanted` of its draws."""
        if self.hazard is None:
            return self
        every = max(1, len(self.hazard.draws) // wanted)
        return replace(
            self,
            hazard=replace(self.hazard, draws=self.hazard.draws[::every][:wanted]),
            spreads=tuple((column, found.thinned(every, wanted)) for column, found in self.spreads),
        )


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
    modes = tuple(
        _fit_mode(spells, mode, names, assumptions, rng) for mode, names in MODES_AT_STAKE.items()
    )
    ring_land = modes[0]
    return FleetFits(
        modes=modes,
        cox=_fit_cox(spells, ring_land),
        cannot_separate=what_cannot_be_separated(spells, assumptions),
    )


def clear_factors(fits: FleetFits, assumptions: Assumptions) -> list[str]:
    """The factors whose effect on ring-land fracture this record tells from none.

    A factor is clear when the interval of its hazard ratio leaves out 1; age, when the
    interval of the Weibull shape does.
    """
    hazard = fits.ring_land.hazard
    if hazard is None:
        return []
    confidence = assumptions.number("survival.confidence")
    clear = [e.name for e in hazard.effects(confidence) if not e.low <= 1 <= e.high]
    low, high = np.quantile(hazard.draws[:, 0], [(1 - confidence) / 2, (1 + confidence) / 2])
    return clear if low <= 0 <= high else [*clear, AGE_FACTOR]


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


def good_state(assumptions: Assumptions) -> dict[str, float]:
    """The state the prior's characteristic life speaks of: a first set on fuel that is right."""
    return {
        "shortfall_25h_on": 0.0,
        "fuel_age_25h_d": assumptions.number("fuel.outside_age_d"),
        "full_throttle_25h": assumptions.number("exposure.full_throttle_share"),
        "is_raised_calibration": 0.0,
        "is_forged": 0.0,
        "build_number": 1.0,
    }


def hazard_prior(assumptions: Assumptions) -> HazardPrior:
    """The weakly informative priors of the settings."""
    fields = ("log_shape_mean", "log_shape_sd", "log_scale_mean", "log_scale_sd", "effect_sd")
    return HazardPrior(**{name: assumptions.number(f"prior.{name}") for name in fields})


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
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> ModeFit:
    event = (spells["mode"] == mode).fill_null(False).to_numpy()
    used, left_out = usable_covariates(spells, names) if spells.height else ((), {})
    hazard, problem = None, None
    try:
        if spells.is_empty():
            raise SpellError("no running time on record")
        centre = good_state(assumptions)
        hazard = fit_weibull_hazard(
            spells["start_h"].to_numpy(),
            spells["stop_h"].to_numpy(),
            event,
            covariate_matrix(spells, used),
            names=used,
            step=[assumptions.number(f"step.{name}") for name in used],
            centre=[centre[name] for name in used],
            prior=hazard_prior(assumptions),
            n_draws=int(assumptions.number("survival.draws")),
            rng=rng,
        )
    except SpellError as error:
        problem = str(error)
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
        spreads=()
        if hazard is None
        else _spreads(spells, mode, (hazard, used), assumptions=assumptions, rng=rng),
    )


def _spreads(
    spells: pl.DataFrame,
    mode: str,
    fit: tuple[WeibullHazardFit, Sequence[str]],
    *,
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> tuple[tuple[str, GroupSpread], ...]:
    """Docks by what the covariates expect of them, then engines by what their docks leave."""
    hazard, used = fit
    event = (spells["mode"] == mode).fill_null(False).to_numpy()
    expected = hazard.mode_cumulative_hazard(
        spells["start_h"].to_numpy(), spells["stop_h"].to_numpy(), covariate_matrix(spells, used)
    )
    found = []
    for column in SPREAD_OVER.get(mode, ()):
        groups = spells[column].to_list()
        spread = group_spread(
            groups,
            event,
            expected,
            prior_sd=assumptions.number(f"prior.{column.removesuffix('_id')}_spread_sd"),
            n_draws=len(hazard.draws),
            rng=rng.spawn(1)[0],
        )
        names = sorted(set(groups))
        middle = dict(zip(names, spread.factors(names).mean(axis=0), strict=True))
        expected = expected * np.array([middle[group] for group in groups])
        found.append((column, spread))
    return tuple(found)


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
