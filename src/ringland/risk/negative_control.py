"""A check on hidden bias: octane must not predict failures it cannot cause.

Water and foreign objects break engines whatever fuel is in the tank.  If shortfall "goes
with" those failures too, something unrecorded (who runs hard, who looks after a hull)
stands behind both, and the fuel effect on ring lands is suspect.  Lipsitch, Tchetgen
Tchetgen and Cohen (2010), Epidemiology 21:383-388.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy import special

from ringland.risk.exposure_error import exposure_error
from ringland.risk.hazard_inputs import fitted_factors, hazard_prior, spell_rows
from ringland.settings.assumptions import Assumptions
from ringland.survival.hazard.hazard_effects import factor_effects, within_places
from ringland.survival.hazard.joint_hazard import JointHazard, fit_joint_hazard
from ringland.words.number_words import number_text, share_text

MODES = ("water", "foreign_object")
FACTOR = "shortfall_25h_on"


@dataclass(frozen=True)
class NegativeControl:
    """The hazard ratio of control failures per octane number of shortfall, and what it says.

    `power` is the chance that a record like this one would show an effect as large as the one
    suspected on ring lands (at least `survival.control_ratio`).  `passes` is None where the
    record cannot tell: the shortfall never varies, the power is small, or the range holds no
    effect and one that large alike.
    """

    n_failures: int
    hazard_ratio: float | None
    low: float | None
    high: float | None
    prior_share: float | None
    power: float | None
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
        return NegativeControl(
            n_failures, None, None, None, None, None, None, f"Cannot tell: {why}."
        )
    fit = fit_joint_hazard(
        [spell_rows(spells, event, [FACTOR], exposure_error(spells, assumptions)).alone()],
        [replace(factor, knots=(), differs_by_place=False)
         for factor in fitted_factors([FACTOR], assumptions)],
        prior=hazard_prior(assumptions),
        n_draws=int(assumptions.number("survival.draws")),
        rng=rng,
    )  # fmt: skip
    effect = factor_effects(fit, assumptions.number("survival.confidence"))[0]
    holds_one = effect.low <= 1 <= effect.high
    sought = max(suspected or 0.0, assumptions.number("survival.control_ratio"))
    power = _power(fit, sought, assumptions)
    is_blunt = power < assumptions.number("survival.control_power") or effect.high >= sought
    numbers = (
        f"failures times {number_text(effect.hazard_ratio, 2)} per octane number "
        f"({number_text(effect.low, 2)} to {number_text(effect.high, 2)}, {n_failures} failures)"
    )
    found_in = (
        f"an effect of {number_text(sought, 2)} per octane number would be found "
        f"in {share_text(power)} of such records"
    )
    if holds_one and is_blunt:
        sentence = (
            f"Cannot tell: {found_in}, and the range holds no effect. {numbers.capitalize()}."
        )
    elif holds_one:
        sentence = (
            f"As it should be: octane shortfall does not go with water or foreign-object "
            f"failures; the range holds no effect, and {found_in}. {numbers.capitalize()}."
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
        power=power,
        passes=None if holds_one and is_blunt else holds_one,
        sentence=sentence,
    )


def _power(fit: JointHazard, ratio: float, assumptions: Assumptions) -> float:
    """Chance that limits at the set level leave out 1 if the ratio were this large.

    From the record's own information on the effect, the prior's taken off.
    """
    prior_sd = fit.design.factors[fit.names.index(FACTOR)].effect_sd
    information = 1.0 / within_places(fit, FACTOR).var() - prior_sd**-2.0
    if information <= 0:
        return 0.0
    deviate = -special.ndtri((1 - assumptions.number("survival.confidence")) / 2)
    return float(special.ndtr(np.log(ratio) * np.sqrt(information) - deviate))
