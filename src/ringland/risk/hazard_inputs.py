"""Spells, factors and settings as a hazard fit takes them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.exposure.factor_registry import FACTORS
from ringland.risk.exposure_error import ExposureError
from ringland.risk.shared_effects import SharedEffects
from ringland.settings.assumptions import Assumptions
from ringland.survival.hazard.hazard_design import Factor, SpellRows
from ringland.survival.hazard.hazard_prior import HazardPrior

Floats = NDArray[np.float64]


def exposure_values(frame: pl.DataFrame, name: str) -> Floats:
    """One covariate as numbers; yes is 1 and no is 0."""
    return frame[name].cast(pl.Float64).to_numpy()


def covariate_matrix(frame: pl.DataFrame, names: Sequence[str]) -> Floats:
    """The covariates as columns, shape (rows, names), in each one's own unit."""
    if not names:
        return np.empty((frame.height, 0))
    return np.column_stack([exposure_values(frame, name) for name in names])


def hazard_prior(assumptions: Assumptions) -> HazardPrior:
    """The weakly informative priors of the settings."""
    named = {
        name: assumptions.number(f"prior.{name}")
        for name in (
            "log_shape_mean",
            "log_shape_sd",
            "log_scale_mean",
            "log_scale_sd",
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


def fitted_factors(
    names: Sequence[str], assumptions: Assumptions, shared: SharedEffects | None = None
) -> list[Factor]:
    """The registry's factors as a fit takes them; `shared` narrows their priors where given."""
    found = []
    for name in names:
        entry = FACTORS[name]
        step, weak = entry.step(assumptions), assumptions.number(entry.effect_sd)
        mean, sd = (0.0, weak) if shared is None else shared.prior(name, step, weak)
        found.append(
            Factor(
                name=name,
                step=step,
                centre=entry.good_value(assumptions),
                effect_sd=sd,
                knots=entry.knots,
                differs_by_place=entry.differs_by_dock,
                effect_mean=mean,
            )
        )
    return found


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
