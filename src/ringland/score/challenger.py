"""Champion against challenger: each week both say a chance, later it is seen who was nearer.

The challenger's chances are kept week by week beside the tool's own (never shown as advice),
so that a backfill of past weeks is the contest: no model is judged on what it was fitted to.
The simpler model stays unless the challenger is clearly nearer: the lower limit of its lead
in Brier score, by drawing hulls, lies above zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import dataframely as dy
import numpy as np
import polars as pl

from ringland.risk.fleet_hazard import FleetFits
from ringland.score.boosted_hazard import BoostingError, Floats, fit_boosted_hazard
from ringland.score.score_history import HORIZON_D, followed
from ringland.settings.assumptions import Assumptions
from ringland.survival.estimates import Estimate
from ringland.survival.forecasts.forecast_scores import censoring_weights, score_limits
from ringland.words.number_words import count_text, number_text

MODE = "ring_land_fracture"
CHAMPION, CHALLENGER = "joint hazard", "gradient-boosted trees"


class ChallengerChances(dy.Schema):
    """One row per hull with a chance: what the challenger would have said; never shown as advice.

    The trees speak of ring-land fracture; ring wear, with next to no failures, is the
    champion's in both.
    """

    hull_id = dy.String(primary_key=True)
    chance_30d = dy.Float64(min=0, max=1)


@dataclass(frozen=True)
class Contest:
    """The two models' Brier scores on the same hull-weeks, lower is better.

    `lead` is the champion's score less the challenger's: above zero the challenger was
    nearer.  None where there is too little to say; `verdict` then says what is missing, and
    the champion `stays`.
    """

    n_weeks: int
    n_hull_weeks: int
    n_failures: int
    champion_brier: float | None
    challenger_brier: float | None
    lead: Estimate | None
    stays: bool
    verdict: str


def challenger_chances(
    spells: pl.DataFrame,
    exposure_now: pl.DataFrame,
    chances: pl.DataFrame,
    fits: FleetFits,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """The challenger's chance for every hull the champion gives one.

    Args:
        spells: `Spells` as known at the week.
        exposure_now: `CurrentExposure` of the same week.
        chances: `HullChances` of the same week, for the hours expected.
        fits: the champion's fits, for the modes the trees leave to it.
        assumptions: settings of the group `challenger`.

    Returns:
        `ChallengerChances`; empty where no failure is there to learn from.
    """
    told = chances.filter(pl.col("chance_30d").is_not_null())
    if told.is_empty():
        return ChallengerChances.create_empty()
    ahead = told.select("hull_id", "piston_set_id", "age_h", "expected_h_30d").join(
        exposure_now.drop("hull_id", "age_h"),
        on="piston_set_id",
        how="inner",
        maintain_order="left",
    )
    try:
        trees = fit_boosted_hazard(spells, MODE, assumptions)
    except BoostingError:
        return ChallengerChances.create_empty()
    start = ahead["age_h"].to_numpy()
    stop = start + ahead["expected_h_30d"].to_numpy()
    total: Floats = trees.cumulative_hazard(start, stop, ahead)
    for fit in fits.at_stake:
        if fit.mode != MODE:
            total = total + fit.cumulative_hazard(start, stop, ahead).mean(axis=0)
    return ChallengerChances.validate(
        ahead.select("hull_id", chance_30d=pl.Series(-np.expm1(-total))).sort("hull_id")
    )


def contest(
    champion: pl.DataFrame,
    challenger: pl.DataFrame,
    *,
    failures: pl.DataFrame,
    taken_out: pl.DataFrame,
    followed_to: datetime,
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> Contest:
    """Which of two models was nearer over the past weeks whose 30 days have passed.

    Args:
        champion: as_of, hull_id, chance_30d of each week.
        challenger: the same of the challenger.
        failures: hull_id, failed_at of the failures the chances speak of.
        taken_out: hull_id, taken_out_at: opened on plan, sold or withdrawn unfailed.
        followed_to: the instant to which failures are on record.
        assumptions: settings.
        rng: draws hulls for the limits.
    """
    keys = ["as_of", "hull_id"]
    both = (
        champion.select(*keys, champion="chance_30d")
        .join(challenger.select(*keys, challenger="chance_30d"), on=keys, maintain_order="left")
        .drop_nulls()
        .sort(keys)
    )
    rows = followed(both, failures, taken_out, followed_to).filter(
        pl.col("as_of") + timedelta(days=HORIZON_D) < followed_to
    )
    n_weeks = rows["as_of"].n_unique()
    n_failures = rows.filter("failed").select("hull_id", "failed_at").n_unique()
    weeks, few = (assumptions.number(f"challenger.least_{what}") for what in ("weeks", "failures"))
    if n_weeks < weeks or n_failures < few:
        verdict = (
            f"Not enough scored weeks to say: {count_text(n_weeks, 'week')} with "
            f"{count_text(n_failures, 'failure')}; {number_text(weeks, 0)} weeks with "
            f"{number_text(few, 0)} failures are asked for. The simpler model stays."
        )
        return Contest(n_weeks, rows.height, n_failures, None, None, None, True, verdict)
    weights = censoring_weights(
        rows["time_d"].to_numpy(), rows["is_failure"].to_numpy(), [HORIZON_D]
    )[:, 0]
    came = rows["failed"].to_numpy().astype(float)
    errors = {
        name: weights * (came - rows[name].to_numpy()) ** 2 for name in ("champion", "challenger")
    }
    ahead = errors["champion"] - errors["challenger"]
    lead = score_limits(
        lambda drawn: float(ahead[drawn].mean()),
        rows["hull_id"].to_list(),
        rng,
        n_draws=int(assumptions.number("survival.draws")),
        confidence=assumptions.number("survival.confidence"),
    )
    stays = lead.low <= 0
    return Contest(
        n_weeks=n_weeks,
        n_hull_weeks=rows.height,
        n_failures=n_failures,
        champion_brier=float(errors["champion"].mean()),
        challenger_brier=float(errors["challenger"].mean()),
        lead=lead,
        stays=stays,
        verdict=_verdict(lead, stays),
    )


def _verdict(lead: Estimate, stays: bool) -> str:
    if not stays:
        return (
            f"The challenger ({CHALLENGER}) was clearly nearer. The chances still come from the "
            f"{CHAMPION}, which alone gives a range: tell whoever looks after this tool."
        )
    if lead.high < 0:
        return f"The champion was clearly nearer: the {CHAMPION} stays."
    return f"The record cannot tell the two apart: the simpler model, the {CHAMPION}, stays."
