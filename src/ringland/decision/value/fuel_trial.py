"""Where the record cannot tell whether fuel matters: the cheapest honest way to find out.

A trial fills every other hull of one dock with fuel that meets the need to the season's end
and leaves the rest as they are, so that dock, season and custom are the same for both.  What
it is worth is the expected value of sample information (Raiffa and Schlaifer 1961, chapter
4): for each draw of the hazard taken as true, failures of both halves are played, the draws
weighed by them, and better fuel then bought in the next season where it pays.  It is
offered, not planned: whether to try is the shop's to say.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.decision.actions.action_catalogue import FUEL_RULE
from ringland.decision.actions.action_terms import outside_per_l
from ringland.decision.value.hazard_ahead import Floats
from ringland.decision.value.option_outcome import Season
from ringland.decision.value.priced_world import World
from ringland.risk.exposure_ahead import USUAL
from ringland.settings.assumptions import Assumptions

SHORT = "shortfall_25h_on"


@dataclass(frozen=True)
class FuelTrial:
    """One dock's trial: who gets better fuel, who not, what it costs and is worth.

    `net_cost` is what the better fuel costs beyond the failures it is expected to save here;
    `worth` what knowing more is expected to save in the seasons counted; `would_change` the
    chance that what is bought next season differs for it.
    """

    dock_id: str
    on_better_fuel: tuple[str, ...]
    as_they_are: tuple[str, ...]
    fuel_cost: float
    net_cost: float
    worth: float
    would_change: float


def best_trial(
    world: World,
    told: pl.DataFrame,
    on_rule: frozenset[str],
    *,
    horizon_d: float,
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> FuelTrial | None:
    """The trial whose worth is most above its cost; None where none is worth it.

    Args:
        world: as the plan is made on.
        told: running sets whose chance can be told.
        on_rule: hulls that the plan gives better fuel; they are in no trial.
        horizon_d: days to the season's end.
        assumptions: settings.
        rng: plays the failures.
    """
    rule = world.catalogue.actions.get(FUEL_RULE)
    if rule is None or told.is_empty():
        return None
    season = Season(told, world, horizon_d)
    as_is, ruled = season.outcome(()), season.outcome((rule,))
    fuel = outside_per_l(rule, season.sets["dock_id"], world.prices) * ruled.bought_l
    gain = as_is.cost - ruled.cost - fuel
    usual = USUAL + SHORT if USUAL + SHORT in told.columns else SHORT
    is_short = (told[usual] >= assumptions.number("planning.trial_short_on")).to_numpy()
    free = is_short & ~told["hull_id"].is_in(list(on_rule)).to_numpy()
    docks = told["dock_id"].to_numpy()
    n_seasons = assumptions.number("planning.trial_seasons")
    found = []
    for dock in sorted(set(docks[free])):
        here = np.flatnonzero(free & (docks == dock))
        treated, control = here[::2], here[1::2]
        if not len(control):
            continue
        halves = ruled.chance[:, treated].sum(axis=1), as_is.chance[:, control].sum(axis=1)
        worth, changes = _worth(*halves, gain[:, is_short], rng)
        names = told["hull_id"].to_numpy()
        found.append(
            FuelTrial(
                dock_id=str(dock),
                on_better_fuel=tuple(names[treated]),
                as_they_are=tuple(names[control]),
                fuel_cost=float(fuel[treated].sum()),
                net_cost=-float(gain[:, treated].mean(axis=0).sum()),
                worth=n_seasons * worth,
                would_change=changes,
            )
        )
    best = max(found, key=lambda trial: trial.worth - trial.net_cost, default=None)
    return best if best is not None and best.worth > max(0.0, best.net_cost) else None


def _worth(
    treated: Floats, control: Floats, gain: Floats, rng: np.random.Generator
) -> tuple[float, float]:
    """What a season's counts in both halves are worth in the next, and how often they turn it.

    Args:
        treated: failures expected of the hulls on better fuel, by draw.
        control: the same of those left as they are.
        gain: what better fuel saves in a season on each hull below need, shape (draws, hulls).
        rng: plays the counts.
    """
    now = gain.mean(axis=0)
    seen = [rng.poisson(expected) for expected in (treated, control)]
    log_weight = sum(
        counts[:, None] * np.log(expected + 1e-12) - expected
        for counts, expected in zip(seen, (treated, control), strict=True)
    )
    weight = np.exp(log_weight - np.max(log_weight, axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    then = weight @ gain
    worth = np.maximum(then, 0.0).sum(axis=1).mean() - np.maximum(now, 0.0).sum()
    changes = ((then.sum(axis=1) > 0) != (now.sum() > 0)).mean()
    return max(0.0, float(worth)), float(changes)
