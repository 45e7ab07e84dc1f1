"""Did the lives with the higher risk fail first?  Concordance and AUC under censoring.

A pair of lives is comparable at a failure: the one that fails, and one still at risk that does
not fail at that time.  With delayed entry only those already on record can be compared; where a
risk changes in a life, each side of a pair bears the risk it has at that time.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ringland.survival.forecasts.forecast_scores import censoring_weights, checked_horizons
from ringland.survival.lives.life_data import (
    CensoredLives,
    Floats,
    LifeDataError,
    ended_lives,
    failure_flags,
    number_column,
)
from ringland.survival.lives.life_tables import risk_counts, survival_of_counts

HARRELL_SOURCE = "Harrell et al. (1982), JAMA 247:2543-2546"
UNO_SOURCE = "Uno et al. (2011), Statistics in Medicine 30:1105-1117"
AUC_SOURCE = "Uno et al. (2007), JASA 102:527-537"
NO_PAIR = "No two lives can be compared: none fails while another runs."


@dataclass(frozen=True)
class Concordance:
    """Chance that of two lives the one with the higher risk fails first; 0.5 is blind.

    Harrell's uses every comparable pair; Uno's weights them so that the answer does not
    depend on who left when, for failures before `until`.  Uno's is nan where lives enter late
    or bear a changing risk: its weights are not defined there.
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
    """Harrell's and Uno's concordance of a risk (higher: fails sooner), a row per life.

    Raises:
        LifeDataError: as for `ended_lives`; a risk that is missing or of another number of rows;
            no two lives can be compared; no failure before `until` weighs anything.
    """
    lives = ended_lives(time, is_failure)
    scores = _risks(risk, lives.lower.size)
    if lives.n_failures == 0:
        raise LifeDataError("No two lives can be compared: none has failed.")
    entered = np.full_like(lives.lower, -np.inf)
    right, pairs = _pairs(entered, lives.lower, lives.is_exact, scores)
    counted = lives.is_exact & (lives.lower < (np.inf if until is None else until))
    followed = np.zeros_like(lives.lower)
    followed[counted] = _weights_at_failure(lives)[counted] ** 2
    weight = float(followed @ pairs)
    if weight == 0:
        before = "" if until is None else f" before {until:g}"
        raise LifeDataError(f"No two lives can be compared{before} by Uno's weights.")
    return Concordance(
        harrell=float(right.sum() / pairs.sum()),
        uno=float(followed @ right) / weight,
        until=until,
        n_pairs=float(pairs.sum()),
        n_failures=lives.n_failures,
        method="Harrell's concordance, ties in risk count half; Uno's with IPCW",
        source=f"{HARRELL_SOURCE}; {UNO_SOURCE}",
    )


def spell_concordance(
    start: ArrayLike, stop: ArrayLike, is_failure: ArrayLike, risk: ArrayLike
) -> Concordance:
    """Harrell's concordance over (start, stop] spells: delayed entry and risks that change.

    One row per spell; the spells of one life follow each other, and only its last may end in a
    failure.  As R's `concordance(Surv(start, stop, failed) ~ risk, reverse = TRUE)`.

    Raises:
        LifeDataError: columns of unequal length, a missing value, a spell without length, no two
            lives to compare.
    """
    begin, end = number_column("start", start), number_column("stop", stop)
    if begin.shape != end.shape:
        raise LifeDataError(f"start has {begin.size} rows, stop has {end.size}.")
    failed = failure_flags(is_failure, end.size)
    if (bad := begin >= end).any():
        row = int(np.flatnonzero(bad)[0])
        raise LifeDataError(f"row {row + 1}: spell ({begin[row]:g}, {end[row]:g}] has no length.")
    right, pairs = _pairs(begin, end, failed, _risks(risk, end.size))
    return Concordance(
        harrell=float(right.sum() / pairs.sum()),
        uno=float("nan"),
        until=None,
        n_pairs=float(pairs.sum()),
        n_failures=float(failed.sum()),
        method="Harrell's concordance over spells, ties in risk count half",
        source=HARRELL_SOURCE,
    )


def time_dependent_auc(
    time: ArrayLike, is_failure: ArrayLike, risk: ArrayLike, horizons: ArrayLike
) -> RocAreas:
    """Cumulative/dynamic AUC: failed by the horizon against followed beyond it.

    The mean weighs each horizon by the Kaplan-Meier share that failed since the one before.

    Raises:
        LifeDataError: as for `ended_lives`; a horizon with no failure before it or no life
            followed beyond it.
    """
    lives = ended_lives(time, is_failure)
    wanted = checked_horizons(horizons, lives)
    scores = _risks(risk, lives.lower.size)
    failures = np.array([(lives.is_exact & (lives.lower <= h)).sum() for h in wanted], dtype=float)
    if (failures == 0).any():
        early = wanted[failures == 0][-1]
        raise LifeDataError(f"No life failed by {early:g}; ask for later horizons.")
    weight = _weights_at_failure(lives)
    area = np.empty_like(wanted)
    for k, horizon in enumerate(wanted):
        case = lives.is_exact & (lives.lower <= horizon)
        controls = np.sort(scores[lives.lower > horizon])
        below = np.searchsorted(controls, scores[case], side="left")
        not_above = np.searchsorted(controls, scores[case], side="right")
        area[k] = weight[case] @ ((below + not_above) / 2) / (weight[case].sum() * controls.size)
    share = survival_of_counts(risk_counts(lives)).at(wanted).estimate
    failed_between = -np.diff(np.concatenate(([1.0], share)))
    return RocAreas(
        horizon=wanted,
        area=area,
        mean=float(area @ failed_between / failed_between.sum()),
        failures=failures,
        method="cumulative/dynamic AUC with IPCW",
        source=AUC_SOURCE,
    )


def _pairs(
    start: Floats, stop: Floats, is_failure: np.ndarray, risk: Floats
) -> tuple[Floats, Floats]:
    """Of each failing row: the pairs it is in, and how many of them are the right way round."""
    right, pairs = np.zeros(stop.size), np.zeros(stop.size)
    for row in np.flatnonzero(is_failure):
        now = stop[row]
        at_risk = (start < now) & ((stop > now) | ((stop == now) & ~is_failure))
        others = risk[at_risk]
        pairs[row] = others.size
        right[row] = (others < risk[row]).sum() + 0.5 * (others == risk[row]).sum()
    if pairs.sum() == 0:
        raise LifeDataError(NO_PAIR)
    return right, pairs


def _weights_at_failure(lives: CensoredLives) -> Floats:
    """1 over the chance of being followed to its failure; 0 where that is none, or no failure."""
    last = float(lives.lower.max())
    return censoring_weights(lives.lower, lives.is_exact, [last])[:, 0] * lives.is_exact


def _risks(risk: ArrayLike, n_rows: int) -> Floats:
    scores = number_column("risk", risk, may_be_infinite=True)
    if scores.shape != (n_rows,):
        raise LifeDataError(f"risk has shape {scores.shape}; give one figure for {n_rows} rows.")
    return scores
