"""What the model behind the chances is: data, priors, checks, rival and limits, in one place."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import Spells
from ringland.risk.fleet_hazard import FleetFits
from ringland.risk.hazard_inputs import hazard_prior
from ringland.risk.negative_control import NegativeControl, negative_control
from ringland.score.challenger import Contest
from ringland.settings.assumptions import Assumptions
from ringland.survival.cox.cox_maximum import CoxFitError
from ringland.survival.hazard.fit_checks import Verdict, judge_cox_fit, judge_hazard_fit
from ringland.survival.hazard.hazard_effects import prior_shares
from ringland.words.record_check_words import against_record_line, weeks_ahead_lines


@dataclass(frozen=True)
class FittedOn:
    """The data behind a fit: `sha256` is that of its spells, whatever the order of their rows."""

    sha256: str
    n_spells: int
    n_sets: int
    n_hulls: int
    hours: float
    first_at: datetime | None
    last_at: datetime | None


@dataclass(frozen=True)
class ModelCard:
    """What is in use and how far to trust it.

    `priors` has one row per mode and parameter: mode, parameter, mean, sd (on the log scale)
    and prior_share, the part of what is said of it that the prior brought.  `checks` maps a
    fit's name to the verdict on it.
    """

    as_of: datetime
    data: FittedOn
    priors: pl.DataFrame
    checks: Mapping[str, Verdict]
    control: NegativeControl
    contest: Contest
    cannot_separate: tuple[str, ...]


def make_model_card(
    spells: pl.DataFrame,
    fits: FleetFits,
    contest: Contest,
    *,
    as_of: datetime,
    assumptions: Assumptions,
    rng: np.random.Generator,
    ahead: pl.DataFrame | None = None,
) -> ModelCard:
    """The card of the model fitted to these spells.

    Args:
        spells: `Spells` the fits were made from.
        fits: as `fit_fleet` returns them.
        contest: how the challenger stood against it.
        as_of: the instant the report speaks of.
        assumptions: settings.
        rng: source of the negative control's draws.
        ahead: `WeeksAhead`; None: no earlier list is old enough.
    """
    return ModelCard(
        as_of=as_of,
        data=FittedOn(
            sha256=data_hash(spells),
            n_spells=spells.height,
            n_sets=spells["piston_set_id"].n_unique(),
            n_hulls=spells["hull_id"].n_unique(),
            hours=float((spells["stop_h"] - spells["start_h"]).sum()),
            first_at=spells["start_at"].min(),  # type: ignore[arg-type]  # a datetime column
            last_at=spells["stop_at"].max(),  # type: ignore[arg-type]
        ),
        priors=_priors(fits, assumptions),
        checks=_checks(fits, assumptions, ahead),
        control=negative_control(spells, assumptions, rng, suspected=_suspected(fits, assumptions)),
        contest=contest,
        cannot_separate=fits.cannot_separate,
    )


def data_hash(spells: pl.DataFrame) -> str:
    """SHA-256 of the spells a model was fitted to, whatever the order of their rows."""
    ordered = spells.select(Spells.column_names()).sort("piston_set_id", "start_h")
    return hashlib.sha256(ordered.write_csv().encode()).hexdigest()


def _suspected(fits: FleetFits, assumptions: Assumptions) -> float | None:
    """The hazard ratio of the shortfall on ring lands, which the control is held against."""
    effects = fits.ring_land.effects(assumptions.number("survival.confidence"))
    return next((e.hazard_ratio for e in effects if e.name == "shortfall_25h_on"), None)


def _priors(fits: FleetFits, assumptions: Assumptions) -> pl.DataFrame:
    rows = []
    prior = hazard_prior(assumptions)
    for fit in fits.modes:
        if fit.hazard is None:
            continue
        stated = {
            "shape": (prior.log_shape_mean, prior.log_shape_sd),
            "scale": (prior.log_scale_mean, prior.log_scale_sd),
        } | {
            factor.name: (factor.effect_mean, factor.effect_sd)
            for factor in fit.hazard.design.factors
        }
        shares = prior_shares(fit.hazard)
        rows += [
            {
                "mode": fit.mode,
                "parameter": name,
                "mean": mean,
                "sd": sd,
                "prior_share": shares[name],
            }
            for name, (mean, sd) in stated.items()
        ]
    text, number = pl.String, pl.Float64
    return pl.DataFrame(
        rows,
        schema={"mode": text, "parameter": text, "mean": number, "sd": number,
                "prior_share": number},
    )  # fmt: skip


def with_misses(
    verdict: Verdict, fits: FleetFits, mode: str, ahead: pl.DataFrame | None = None
) -> Verdict:
    """The verdict with a reason for each part of the record, or week ahead, that is missed."""
    missed = fits.against_record.filter((pl.col("mode") == mode) & pl.col("misses"))
    reasons = tuple(against_record_line(row) for row in missed.iter_rows(named=True))
    if ahead is not None:
        reasons += weeks_ahead_lines(ahead.iter_rows(named=True))
    if not reasons or verdict.outcome == "not enough record":
        return verdict
    return Verdict("doubtful", (*verdict.reasons, *reasons))


def _checks(
    fits: FleetFits, assumptions: Assumptions, ahead: pl.DataFrame | None
) -> dict[str, Verdict]:
    found = {}
    for fit in fits.modes:
        said = ahead if fit is fits.ring_land else None  # the chances are mostly of this mode
        found[fit.mode] = (
            Verdict("not enough record", (str(fit.problem),))
            if fit.hazard is None
            else with_misses(judge_hazard_fit(fit.hazard, assumptions), fits, fit.mode, said)
        )
    cox = fits.cox
    found["cox"] = judge_cox_fit(
        cox.fit if cox.fit is not None else CoxFitError(str(cox.problem)), assumptions
    )
    return found
