"""Champion against challenger on later time than they were fitted to, and the model card.

Record is split at instants: each model is fitted to what had ended by one and judged on
what began between it and the next.  Score: Poisson log likelihood of the spells, per
failure.  The simpler model stays unless the challenger is clearly better: its gain's lower
limit, by drawing hulls, lies above zero.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl

from ringland.assumptions import Assumptions
from ringland.fleet_risk.boosted_hazard import FEATURES, Floats, fit_boosted_hazard
from ringland.fleet_risk.fleet_hazard import FleetFits, fit_fleet
from ringland.fuel_exposure.tables import Spells
from ringland.ring_survival.estimates import CONFIDENCE, Estimate
from ringland.ring_survival.forecast_scores import score_limits
from ringland.ring_survival.life_data import LifeDataError

MODE = "ring_land_fracture"
CHAMPION, CHALLENGER = "Weibull hazard regression", "gradient-boosted trees"

Forecast = Callable[[pl.DataFrame], Floats]
"""Expected failures in each spell given; shape (rows,)."""

Fit = Callable[[pl.DataFrame], Forecast]
"""Spells known by a time to a forecast of later ones.

Raises ValueError where they cannot carry a fit.
"""


@dataclass(frozen=True)
class Contest:
    """Two models' scores on the same later spells.

    Scores are log likelihood per failure, higher is better; `gain` is the challenger's
    less the champion's.  `stays` is whether the champion does.  Without a score the
    reason stands in `verdict`.
    """

    n_splits: int
    n_spells: int
    n_failures: int
    champion_score: float | None
    challenger_score: float | None
    gain: Estimate | None
    stays: bool
    verdict: str
    left_out: tuple[str, ...]


def champion_fit(assumptions: Assumptions, rng: np.random.Generator) -> Fit:
    """The fleet's own Weibull hazard of ring-land fracture, mean over its draws."""

    def fit(spells: pl.DataFrame) -> Forecast:
        fleet: FleetFits = fit_fleet(spells, assumptions, rng)
        hazard = fleet.ring_land

        def forecast(later: pl.DataFrame) -> Floats:
            start, stop = later["start_h"].to_numpy(), later["stop_h"].to_numpy()
            return np.asarray(hazard.cumulative_hazard(start, stop, later).mean(axis=0))

        return forecast

    return fit


def challenger_fit(assumptions: Assumptions) -> Fit:
    """Gradient-boosted trees on the same spells."""

    def fit(spells: pl.DataFrame) -> Forecast:
        hazard = fit_boosted_hazard(spells, MODE, assumptions)
        return lambda later: hazard.cumulative_hazard(
            later["start_h"].to_numpy(), later["stop_h"].to_numpy(), later
        )

    return fit


def contest(
    spells: pl.DataFrame,
    champion: Fit,
    challenger: Fit,
    splits: Sequence[datetime],
    *,
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> Contest:
    """Champion and challenger over a rolling split in time.

    Args:
        spells: `Spells`, a row per interval, as known at the end.
        champion: fit of the simpler model.
        challenger: fit of the other.
        splits: two or more rising instants; judged between each and the next.
        assumptions: settings.
        rng: draws hulls for the limits.
    """
    judged, left_out = [], []
    for at, until in pairwise(sorted(splits)):
        known = spells.filter(pl.col("stop_at") <= at)
        later = spells.filter((pl.col("start_at") >= at) & (pl.col("start_at") < until))
        if later.is_empty():
            continue
        try:
            forecasts = {"champion": champion(known)(later), "challenger": challenger(known)(later)}
        except ValueError as error:  # every fit's own error is one
            left_out.append(f"{at:%Y-%m-%d}: {error}")
            continue
        judged.append(
            later.select("hull_id", failed=(pl.col("mode") == MODE).fill_null(False)).with_columns(
                pl.Series(name, expected) for name, expected in forecasts.items()
            )
        )
    return _verdict(judged, tuple(left_out), assumptions, rng)


def _verdict(
    judged: list[pl.DataFrame],
    left_out: tuple[str, ...],
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> Contest:
    rows = pl.concat(judged) if judged else pl.DataFrame({"failed": []}, {"failed": pl.Boolean})
    failed = rows["failed"].to_numpy().astype(float)
    if failed.sum() == 0:
        why = "no ring-land fracture in the time judged: the simpler model stays."
        return Contest(len(judged), rows.height, 0, None, None, None, True, why, left_out)
    scores = {
        name: failed * np.log(rows[name].to_numpy()) - rows[name].to_numpy()
        for name in ("champion", "challenger")
    }
    difference = scores["challenger"] - scores["champion"]

    def gain_per_failure(drawn: np.ndarray) -> float:
        if failed[drawn].sum() == 0:
            raise LifeDataError("no failure drawn")
        return float(difference[drawn].sum() / failed[drawn].sum())

    gain = score_limits(
        gain_per_failure,
        rows["hull_id"].to_list(),
        rng,
        n_draws=int(assumptions.number("survival.draws")),
        confidence=assumptions.number("survival.confidence"),
    )
    stays = gain.low <= 0
    words = (
        f"{CHALLENGER} against {CHAMPION}: {gain.value:+.2f} log likelihood per failure "
        f"({gain.low:+.2f} to {gain.high:+.2f}, {int(failed.sum())} failures): "
    )
    return Contest(
        n_splits=len(judged),
        n_spells=rows.height,
        n_failures=int(failed.sum()),
        champion_score=float(scores["champion"].sum() / failed.sum()),
        challenger_score=float(scores["challenger"].sum() / failed.sum()),
        gain=gain,
        stays=stays,
        verdict=words + ("the simpler model stays." if stays else "clearly beaten; the trees win."),
        left_out=left_out,
    )


def data_hash(spells: pl.DataFrame) -> str:
    """SHA-256 of the spells a model was fitted to, whatever the order of their rows."""
    ordered = spells.select(Spells.column_names()).sort("piston_set_id", "start_h")
    return hashlib.sha256(ordered.write_csv().encode()).hexdigest()


def model_card(
    spells: pl.DataFrame, fits: FleetFits, result: Contest, as_of: datetime
) -> dict[str, Any]:
    """What the model in use is, what it was fitted to, and how it stood against the other."""
    hazard = fits.ring_land.hazard
    effects: Mapping[str, Any] = (
        {}
        if hazard is None
        else {
            effect.name: {
                "hazard_ratio": effect.hazard_ratio,
                "low": effect.low,
                "high": effect.high,
                "per_step": effect.step,
                "prior_share": effect.prior_share,
            }
            for effect in hazard.effects(CONFIDENCE)
        }
    )
    return {
        "as_of": as_of.isoformat(),
        "mode": MODE,
        "in_use": CHAMPION if result.stays else CHALLENGER,
        "data": {
            "sha256": data_hash(spells),
            "spells": spells.height,
            "piston_sets": spells["piston_set_id"].n_unique(),
            "hulls": spells["hull_id"].n_unique(),
            "failures": fits.ring_land.n_failures,
            "hours": float((spells["stop_h"] - spells["start_h"]).sum()),
        },
        "champion": {
            "name": CHAMPION,
            "covariates": list(fits.ring_land.covariates),
            "left_out": dict(fits.ring_land.left_out),
            "effects": effects,
            "is_doubtful": fits.ring_land.is_doubtful,
        },
        "challenger": {"name": CHALLENGER, "features": [*FEATURES, "set age"]},
        "contest": {
            "splits": result.n_splits,
            "failures_judged": result.n_failures,
            "champion_score": result.champion_score,
            "challenger_score": result.challenger_score,
            "gain_low": None if result.gain is None else result.gain.low,
            "gain_high": None if result.gain is None else result.gain.high,
            "verdict": result.verdict,
            "left_out": list(result.left_out),
        },
        "use": "Association in this fleet's record; not a proof of cause, never clearance to run.",
    }
