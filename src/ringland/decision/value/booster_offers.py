"""Booster in a dock's fuel below need until its next delivery: what it costs, what it may save.

Priced beside the plan and never part of it: nobody measured what is in the bottle.  The range
therefore runs from a booster that does nothing to one that does all its label says.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.decision.actions.action_catalogue import Action, Effect, MarkedNumber
from ringland.decision.value.hazard_ahead import Floats
from ringland.decision.value.option_outcome import Season
from ringland.decision.value.priced_world import World
from ringland.risk.exposure_ahead import USUAL
from ringland.settings.assumptions import Assumptions

SHORT = "shortfall_25h_on"


@dataclass(frozen=True)
class BoosterOffer:
    """Booster for a dock's hulls below need over the days to its next delivery; money.

    `saving` is what it is expected to save beyond its `cost`.
    """

    dock_id: str
    days: float
    hulls: tuple[str, ...]
    cost: float
    saving: float
    saving_low: float
    saving_high: float


def booster_offers(
    world: World,
    told: pl.DataFrame,
    offers: pl.DataFrame,
    *,
    horizon_d: float,
    assumptions: Assumptions,
) -> tuple[BoosterOffer, ...]:
    """One for each dock that waits for a delivery and has hulls below need.

    Args:
        world: as the plan is made on.
        told: running sets whose chance can be told.
        offers: `FuelOffers`, for when each dock's next delivery comes.
        horizon_d: days to the season's end.
        assumptions: settings.
    """
    due = offers.group_by("dock_id", maintain_order=True).agg(pl.col("next_delivery_d").first())
    usual = USUAL + SHORT if USUAL + SHORT in told.columns else SHORT
    sets = told.join(due, on="dock_id", maintain_order="left").filter(
        pl.col("next_delivery_d") > 0,
        pl.col(usual) >= assumptions.number("planning.trial_short_on"),
    )
    if sets.is_empty():
        return ()
    season = Season(sets.drop("next_delivery_d"), world, horizon_d)
    share = (sets["next_delivery_d"] / horizon_d).clip(0, 1).to_numpy()
    benefit = assumptions.number("octane.booster_benefit")
    saved = {part: _saved(season, part, share, assumptions) for part in {benefit, 1.0}}
    litres = season.litres(_booster(benefit, assumptions)) * share
    return tuple(_by_dock(sets, litres * assumptions.number("fuel.booster_per_l"), saved, benefit,
                          assumptions.number("survival.confidence")))  # fmt: skip


def _by_dock(
    sets: pl.DataFrame, paid: Floats, saved: dict[float, Floats], benefit: float, level: float
) -> Iterator[BoosterOffer]:
    docks = sets["dock_id"].to_numpy()
    for dock in sorted(set(docks)):
        here = docks == dock
        cost = float(paid[here].sum())
        draws = saved[benefit][:, here].sum(axis=1)
        best = saved[1.0][:, here].sum(axis=1)
        middle = float(draws.mean())
        yield BoosterOffer(
            dock_id=str(dock),
            days=float(sets["next_delivery_d"].filter(pl.Series(here))[0]),
            hulls=tuple(sets["hull_id"].filter(pl.Series(here))),
            cost=cost,
            saving=middle,
            saving_low=min(-cost, float(np.quantile(draws, (1 - level) / 2))),
            saving_high=max(middle, float(np.quantile(best, (1 + level) / 2))),
        )


def _booster(benefit: float, assumptions: Assumptions) -> Action:
    numbers = benefit * assumptions.number("octane.booster_label_on")
    by = MarkedNumber(-numbers, "A", "the share of its label that a booster is taken to hold")
    return Action(
        "booster", "booster", cost_per_l=assumptions.number("fuel.booster_per_l"),
        effects=(Effect(SHORT, "add", by),),
    )  # fmt: skip


def _saved(season: Season, benefit: float, share: Floats, assumptions: Assumptions) -> Floats:
    plain = season.outcome(())
    boosted = season.outcome((_booster(benefit, assumptions),)).then(plain, share)
    return np.asarray(plain.cost - boosted.cost)
