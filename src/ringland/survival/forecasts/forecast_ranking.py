"""Did the hulls with the higher risk fail first?  Concordance and AUC under censoring."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ringland.survival.forecasts.forecast_scores import checked_horizons
from ringland.survival.lives.life_data import CensoredLives, Floats, LifeDataError, ended_lives

RANK_SOURCE = (
    "Harrell et al. (1982), JAMA 247:2543-2546; Uno et al. (2011), Statistics in Medicine "
    "30:1105-1117; computed by scikit-survival"
)
AUC_SOURCE = "Uno et al. (2007), JASA 102:527-537; computed by scikit-survival"


@dataclass(frozen=True)
class Concordance:
    """Chance that of two lives the one with the higher risk fails first; 0.5 is blind.

    Harrell's uses every comparable pair; Uno's weights them so that the answer does not
    depend on who left when, up to `until`.
    """

    harrell: float
    uno: float
    until: float | None
    n_pairs: float
    n_failures: float
    method: str
    source: str


@dataclass(frozen=True)
class RocAreas:
    """Area under the cumulative/dynamic ROC curve by horizon, and its mean over them."""

    horizon: Floats
    area: Floats
    mean: float
    failures: Floats
    method: str
    source: str


def concordance(
    time: ArrayLike, is_failure: ArrayLike, risk: ArrayLike, *, until: float | None = None
) -> Concordance:
    """Harrell's and Uno's concordance of a risk (higher: fails sooner).

    Raises:
        LifeDataError: as for `ended_lives`, or no two lives can be compared.
    """
    from sksurv.exceptions import NoComparablePairException  # noqa: PLC0415 (heavy)
    from sksurv.metrics import (  # noqa: PLC0415 (heavy)
        concordance_index_censored,
        concordance_index_ipcw,
    )

    lives, scores = ended_lives(time, is_failure), _risks(risk)
    if lives.n_failures == 0:
        raise LifeDataError("No two lives can be compared: none has failed.")
    record = _structured(lives)
    try:
        harrell, concordant, discordant, tied, _ = concordance_index_censored(
            lives.is_exact, lives.lower, scores
        )
        uno = concordance_index_ipcw(record, record, scores, tau=until)[0]
    except NoComparablePairException as error:
        raise LifeDataError(
            "No two lives can be compared: none fails while another runs."
        ) from error
    return Concordance(
        harrell=float(harrell),
        uno=float(uno),
        until=until,
        n_pairs=float(concordant + discordant + tied),
        n_failures=lives.n_failures,
        method="Harrell's concordance, ties in risk count half; Uno's with IPCW",
        source=RANK_SOURCE,
    )


def time_dependent_auc(
    time: ArrayLike, is_failure: ArrayLike, risk: ArrayLike, horizons: ArrayLike
) -> RocAreas:
    """Cumulative/dynamic AUC: failed by the horizon against followed beyond it.

    Raises:
        LifeDataError: as for `ended_lives`; a horizon with no failure before it or no life
            followed beyond it.
    """
    from sksurv.metrics import cumulative_dynamic_auc  # noqa: PLC0415 (heavy)

    lives = ended_lives(time, is_failure)
    wanted = checked_horizons(horizons, lives)
    failures = np.array([(lives.is_exact & (lives.lower <= h)).sum() for h in wanted], dtype=float)
    if (failures == 0).any():
        early = wanted[failures == 0][-1]
        raise LifeDataError(f"No life failed by {early:g}; ask for later horizons.")
    record = _structured(lives)
    area, mean = cumulative_dynamic_auc(record, record, _risks(risk), wanted)
    return RocAreas(
        horizon=wanted,
        area=np.asarray(area, dtype=np.float64),
        mean=float(mean),
        failures=failures,
        method="cumulative/dynamic AUC with IPCW",
        source=AUC_SOURCE,
    )


def _risks(risk: ArrayLike) -> Floats:
    scores = np.asarray(risk, dtype=np.float64)
    if np.isnan(scores).any():
        row = int(np.flatnonzero(np.isnan(scores))[0])
        raise LifeDataError(f"row {row + 1}: risk is missing; set the row aside.")
    return scores


def _structured(lives: CensoredLives) -> NDArray[np.void]:
    record = np.empty(lives.lower.size, dtype=[("failed", bool), ("time", float)])
    record["failed"], record["time"] = lives.is_exact, lives.lower
    return record
