"""The maximum of a Cox partial likelihood, or a clear reason why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Literal

import numpy as np
from scipy import linalg

from ringland.survival.cox.cox_kernel import SlotSums, net_sums, slot_sums
from ringland.survival.cox.risk_sets import RiskSets
from ringland.survival.spell_checks import Floats

Ties = Literal["efron", "breslow"]

MAX_STEPS, MAX_HALVINGS = 60, 40
# Newton doubles its correct digits: a last step this small (in standard deviations of the
# covariate) leaves errors at rounding, and the information right to nine digits.
LAST_STEP = 1e-9
# A coefficient still moves over the covariate's whole range by this much while the
# likelihood has stopped rising: the data set no limit to it.
RUNAWAY_MOVE, RUNAWAY_GAIN = 0.05, 1e-7
# A column of which all but this share is explained by earlier ones; rounding alone leaves
# about 1e-12.
DISTINCT_SHARE = 1e-9
# From this many rows on, Newton starts from a fit to all event rows and every 16th other
# row, weighted 16: it lies within a few thousandths and saves two passes over everything.
LONG, THIN_BY = 100_000, 16
# From this many rows on it pays, over a bootstrap, to compile for the number of columns.
COMPILE_FROM = 5_000


class CoxFitError(ValueError):
    """No Cox fit exists for these rows; the message says why and what to do."""


class NoEventsError(CoxFitError):
    """Not one row ends in the event."""


class SeparationError(CoxFitError):
    """A coefficient runs to infinity; `columns` names the columns it happens to."""

    def __init__(self, columns: Sequence[str], signs: Sequence[float]) -> None:
        self.columns = tuple(columns)
        listed = ", ".join(
            f"{name} to {'plus' if sign > 0 else 'minus'} infinity"
            for name, sign in zip(columns, signs, strict=True)
        )
        super().__init__(
            f"Separation: the coefficient runs off for {listed}: at every event the column "
            f"alone picks out who fails. Drop or coarsen it, or use the model with priors."
        )


class CollinearityError(CoxFitError):
    """A column carries nothing of its own; `columns` names it and those that explain it."""

    def __init__(self, column: str, others: Sequence[str]) -> None:
        self.columns = (column, *others)
        reason = (
            f"is a combination of {', '.join(others)}"
            if others
            else "does not vary among the rows at risk at any event"
        )
        super().__init__(f"Collinearity: {column} {reason}. Drop it.")


def partial_likelihood(
    data: RiskSets, coef: Floats, weight: Floats, ties: Ties, *, keep: bool = False
) -> SlotSums:
    """Log partial likelihood, score and information at `coef`, per slot too if `keep`."""
    net = _net_sums(data, coef, weight)
    sums = slot_sums(
        net,
        data.x,
        data.centre,
        coef,
        weight,
        data.first,
        data.last,
        data.event_rows,
        data.opens_stratum,
        ties == "efron",
        keep,
    )
    return SlotSums(*sums)


def _net_sums(data: RiskSets, coef: Floats, weight: Floats) -> Floats:
    """`net_sums` of the rows; of many rows in two fixed halves, each on its own thread."""

    def of(rows: slice) -> Floats:
        return net_sums(
            data.x[rows],
            known_length(data, data.centre),
            coef,
            weight[rows],
            data.first[rows],
            data.last[rows],
            len(data.slot_time),
        )

    if len(data.x) < LONG:
        return of(slice(None))
    middle = len(data.x) // 2
    with ThreadPoolExecutor(2) as threads:
        one, two = threads.map(of, [slice(middle), slice(middle, None)])
    return np.asarray(one + two)


def known_length(data: RiskSets, values: Floats) -> Floats | tuple[float, ...]:
    """The values as a tuple if the rows are many enough to repay compiling for its length."""
    return tuple(values.tolist()) if len(data.x) >= COMPILE_FROM and len(values) else values


def maximise(
    data: RiskSets,
    weight: Floats,
    ties: Ties,
    begin: Floats,
    at_begin: SlotSums | None = None,
    *,
    last_step: float = LAST_STEP,
) -> tuple[Floats, SlotSums, int]:
    """Coefficients at the maximum, the sums one vanishing step before it, steps taken.

    `at_begin` may carry the sums at zero, used when `begin` is zero.

    Raises:
        SeparationError: the likelihood has stopped rising but a coefficient still moves.
    """
    coef = begin
    if at_begin is None or coef.any():
        at_begin = partial_likelihood(data, coef, weight, ties)
    here = at_begin
    for n_steps in range(1, MAX_STEPS + 1):
        try:
            step = inverse_information(here.information, data.spread) @ here.score
        except linalg.LinAlgError:
            raise _separation(data, coef) from None
        if not np.any(np.abs(step) * data.spread > last_step):
            return coef + step, here, n_steps
        gain = float(step @ here.score)
        if gain < RUNAWAY_GAIN and np.any(np.abs(step) * data.reach > RUNAWAY_MOVE):
            raise _separation(data, step)
        for _ in range(MAX_HALVINGS):
            there = partial_likelihood(data, coef + step, weight, ties)
            # rounding of a sum over many events must not look like a fall
            slack = 1e-10 * (1 + abs(here.loglik))
            if there.loglik >= here.loglik - slack and np.isfinite(there.information).all():
                break
            step = step / 2
        else:
            raise _separation(data, step)
        coef, here = coef + step, there
    raise _separation(data, coef)


def _separation(data: RiskSets, direction: Floats) -> SeparationError:
    moves = np.abs(direction) * data.reach
    worst = np.flatnonzero(moves > 0.1 * moves.max())
    return SeparationError([data.names[j] for j in worst], [direction[j] for j in worst])


def inverse_information(information: Floats, spread: Floats) -> Floats:
    """The inverse, taken in standard deviations so that units of columns do not matter.

    Raises:
        LinAlgError: the information is not positive definite.
    """
    if len(spread) == 0:
        return np.zeros((0, 0))
    scale = np.outer(spread, spread)
    factor = linalg.cho_factor(information * scale)
    inverse = linalg.cho_solve(factor, np.eye(len(spread))) * scale
    return np.asarray((inverse + inverse.T) / 2)


def check_columns_distinct(data: RiskSets, information: Floats) -> None:
    """Nothing, if every column varies within the risk sets and none explains another.

    Raises:
        CollinearityError: naming the first column at fault.
    """
    own = np.diag(information)
    expected = data.spread**2 * data.weight[data.event_rows].sum()
    for j, name in enumerate(data.names):
        if own[j] <= DISTINCT_SHARE * expected[j]:
            raise CollinearityError(name, [])
        if j == 0:
            continue
        scale = np.sqrt(own[: j + 1])
        block = information[: j + 1, : j + 1] / np.outer(scale, scale)
        explained_by = linalg.lstsq(block[:j, :j], block[:j, j])[0]
        if 1.0 - block[j, :j] @ explained_by < DISTINCT_SHARE:
            others = [data.names[i] for i in np.flatnonzero(np.abs(explained_by) > 1e-6)]
            raise CollinearityError(name, others)


def thinned_coefficients(data: RiskSets, ties: Ties) -> Floats:
    """Where Newton may start: near the maximum if there are many rows, else zero."""
    p = len(data.names)
    if len(data.start) < LONG or p == 0:
        return np.zeros(p)
    kept = data.event.copy()
    kept[::THIN_BY] = True
    rows = np.flatnonzero(kept)
    weight = data.weight[rows] * np.where(data.event[rows], 1.0, THIN_BY)
    thin = RiskSets(
        names=data.names,
        start=data.start[rows],
        stop=data.stop[rows],
        event=data.event[rows],
        x=data.x[rows],
        weight=weight,
        stratum=data.stratum[rows],
        cluster=None,
        stratum_labels=data.stratum_labels,
        centre=data.centre,
        spread=data.spread,
        reach=data.reach,
        first=data.first[rows],
        last=data.last[rows],
        event_rows=np.flatnonzero(data.event[rows]),
        slot_time=data.slot_time,
        slot_stratum=data.slot_stratum,
        opens_stratum=data.opens_stratum,
    )
    try:
        return maximise(thin, weight, ties, np.zeros(p), last_step=1e-3)[0]  # a start, no more
    except CoxFitError:
        return np.zeros(p)  # the full rows decide, and say why if they cannot
