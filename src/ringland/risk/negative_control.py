"""A check on hidden bias: octane must not predict failures it cannot cause.

Water and foreign objects break engines whatever fuel is in the tank.  If shortfall "goes
with" those failures too, something unrecorded (who runs hard, who looks after a hull)
stands behind both, and the fuel effect on ring lands is suspect.  Lipsitch, Tchetgen
Tchetgen and Cohen (2010), Epidemiology 21:383-388.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.risk.fleet_hazard import covariate_matrix, good_state, hazard_prior
from ringland.settings.assumptions import Assumptions
from ringland.survival.hazard.weibull_hazard import fit_weibull_hazard
from ringland.words.number_words import number_text

MODES = ("water", "foreign_object")
FACTOR = "shortfall_25h_on"


@dataclass(frozen=True)
class NegativeControl:
    """The hazard ratio of control failures per octane number of shortfall, and what it says.

    `passes` is None where the record cannot tell: the shortfall never varies, or so few failed
    that the range holds no effect and the effect suspected on ring lands alike.
    """

    n_failures: int
    hazard_ratio: float | None
    low: float | None
    high: float | None
    prior_share: float | None
    passes: bool | None
    sentence: str


def negative_control(
    spells: pl.DataFrame,
    assumptions: Assumptions,
    rng: np.random.Generator,
    *,
    suspected: float | None = None,
) -> NegativeControl:
    """Whether octane shortfall goes with water and foreign-object failures: it must not.

    Args:
        spells: `Spells`, a row per interval.
        assumptions: settings: priors, step, level, and how much of the answer may be prior.
        rng: source of the parameter draws.
        suspected: the hazard ratio of the same factor on ring lands; a range that holds it too
            rules nothing out.
    """
    event = spells["mode"].is_in(list(MODES)).fill_null(False).to_numpy()
    n_failures = int(event.sum())
    if spells.is_empty() or spells[FACTOR].n_unique() < 2:
        why = "octane shortfall does not vary in this record"
        return NegativeControl(n_failures, None, None, None, None, None, f"Cannot tell: {why}.")
    fit = fit_weibull_hazard(
        spells["start_h"].to_numpy(),
        spells["stop_h"].to_numpy(),
        event,
        covariate_matrix(spells, [FACTOR]),
        names=[FACTOR],
        step=[assumptions.number(f"step.{FACTOR}")],
        centre=[good_state(assumptions)[FACTOR]],
        prior=hazard_prior(assumptions),
        n_draws=int(assumptions.number("survival.draws")),
        rng=rng,
    )
    effect = fit.effects(assumptions.number("survival.confidence"))[0]
    holds_one = effect.low <= 1 <= effect.high
    is_prior = effect.prior_share > assumptions.number("survival.mostly_prior_share")
    is_blunt = is_prior or (suspected is not None and effect.low <= suspected <= effect.high)
    numbers = (
        f"hazard ratio {number_text(effect.hazard_ratio, 2)} per octane number "
        f"({number_text(effect.low, 2)} to {number_text(effect.high, 2)}, {n_failures} failures)"
    )
    if holds_one and is_blunt:
        why = (
            "the range is mostly the prior's"
            if is_prior
            else f"the range holds no effect and one as large as on ring lands "
            f"({number_text(suspected, 2)}) alike"
        )
        sentence = (
            f"Cannot tell: too few water and foreign-object failures; {why}. "
            f"{numbers.capitalize()}."
        )
    elif holds_one:
        sentence = (
            f"As it should be: octane shortfall does not go with water or foreign-object "
            f"failures; the range holds no effect. {numbers.capitalize()}."
        )
    else:
        sentence = (
            f"Warning: octane shortfall goes with water and foreign-object failures, which it "
            f"cannot cause: something unrecorded stands behind both. {numbers.capitalize()}."
        )
    return NegativeControl(
        n_failures=n_failures,
        hazard_ratio=effect.hazard_ratio,
        low=effect.low,
        high=effect.high,
        prior_share=effect.prior_share,
        passes=None if holds_one and is_blunt else holds_one,
        sentence=sentence,
    )
