"""Effects a network shares: rounds of sums from each operator, and what each then reads of them.

A worker reads one operator's rows, writes the numbers it is about to tell into that operator's
own list, and tells them; nothing else leaves it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from pipelines.network.network_week import Asked
from pipelines.network.port import Run, at_work
from pipelines.network.store import NetworkStore, Written, files_in, newest_by
from pipelines.weekly.store import StoreError
from ringland.exposure.factor_registry import COVARIATES, FACTORS
from ringland.network.pooled_effects import (
    Effects,
    NoEffectsError,
    Numbers,
    Pooled,
    effects_without,
    heard,
    own_effects,
    pooled_effects,
    sums_of,
    told,
)
from ringland.risk.exposure_error import exposure_error
from ringland.risk.hazard_inputs import covariate_matrix
from ringland.settings.assumptions import Assumptions
from ringland.survival.cox.risk_sets import RiskSets, build_risk_sets
from ringland.survival.hazard.hazard_bucket import Derivatives
from ringland.survival.spell_checks import Floats, SpellError

MODE = "ring_land_fracture"


@dataclass(frozen=True)
class Share:
    """What an operator brings: its rows, and its counts where it takes part; None: it does not."""

    rows: Written
    failures: int | None = None
    piston_sets: int | None = None


@dataclass(frozen=True)
class Joining:
    """Asks an operator to take part; `before` is its share in the newest pool before."""

    address: str
    operator: str
    monday: str
    spells: Written
    settings: Assumptions
    before: Share | None


@dataclass(frozen=True)
class Round:
    """Asks an operator for its sums at some log hazard ratios per step."""

    address: str
    operator: str
    monday: str
    number: int
    rows: Written
    coef: Floats
    settings: Assumptions


@dataclass(frozen=True)
class Reading:
    """Gives an operator the shared effects, to lay beside its own."""

    address: str
    operator: str
    share: Share
    pooled: Pooled
    rests_on: dict[str, int]
    settings: Assumptions


def pool_effects(address: str, asked: Asked) -> dict[str, Any]:
    """Fit the effects that all operators share on the records of a week that was worked out.

    Args:
        address: of the network.
        asked: the week, the settings, and where it is worked out.

    Returns:
        What the network's list of this pool says: `shared`, `rests_on` and `operators`.

    Raises:
        StoreError: that week was not worked out, no operator may take part, a factor's effect
            has no estimate, or the network is in use.
    """
    store = NetworkStore(address)
    with store.alone(), at_work(asked.on, asked.memory) as run:
        week = store.week(asked.monday)
        if not week:
            raise StoreError(
                f"The week of {asked.monday} was not worked out in the network at {address}. "
                f"Run 'ringland network week {address} --as-of {asked.monday}' first."
            )
        before = _shares_before(store, asked.monday)
        spells = {
            one: files_in(made["lasting"]["tables"])["spells"]
            for one, made in week["operators"].items()
        }
        shares = run(
            join,
            {
                one: Joining(address, one, asked.monday, of, asked.settings, before.get(one))
                for one, of in spells.items()
            },
        )
        taking = {one: share for one, share in shares.items() if share.failures is not None}
        least = int(asked.settings.number("network.least_failures"))
        if not taking:
            raise StoreError(
                f"No operator takes part: each has fewer than {least} ring-land fractures on "
                f"record (network.least_failures). Nothing left any of them."
            )
        try:
            pooled = _by_rounds(run, address, asked, taking)
        except NoEffectsError as error:
            raise StoreError(f"The operators' records give no shared effects: {error}") from None
        rests_on = {
            "operators": len(taking),
            "failures": sum(share.failures or 0 for share in taking.values()),
            "piston_sets": sum(share.piston_sets or 0 for share in taking.values()),
        }
        written = run(
            lay_beside,
            {
                one: Reading(address, one, share, pooled, rests_on, asked.settings)
                for one, share in shares.items()
            },
        )
        limits = pooled.common.limits(asked.settings.number("survival.confidence"))
        kept = {
            "least_failures": least,
            "rests_on": rests_on,
            "shared": {
                "factors": list(pooled.common.factors),
                "coef": pooled.common.coef.tolist(),
                "covariance": pooled.common.covariance.tolist(),
                "ratio": np.exp(pooled.common.coef).tolist(),
                "low": np.exp(limits[:, 0]).tolist(),
                "high": np.exp(limits[:, 1]).tolist(),
                "apart": pooled.apart.tolist(),
                "rounds": pooled.common.rounds,
            },
            "operators": {
                one: {
                    "rows": share.rows,
                    "failures": share.failures,
                    "piston_sets": share.piston_sets,
                    "effects": written[one],
                }
                for one, share in shares.items()
            },
        }
        store.keep_pool(asked.monday, kept)
        store.sweep()
    return kept


def join(order: Joining) -> Share:
    """An operator's rows for a pool, and its counts unless it has too few failures.

    One that took part before brings the rows it had then until as many failures as the least
    count have been added: from two pools that differ by a few, those few could be told.

    Raises:
        StoreError: a file of its week is lost or was changed.
    """
    store = NetworkStore(order.address)
    rows, piston_sets = pool_rows(store.read(order.spells), order.settings)
    failures = int(rows["failed"].sum())
    least = int(order.settings.number("network.least_failures"))
    before = order.before if _still_counts(store, order.before, least) else None
    if before is not None:
        least += before.failures or 0
    fresh = Share(store.write(order.operator, "pool_rows", rows))
    if failures >= least and _risk_sets(rows, order.settings) is not None:
        share = Share(fresh.rows, failures, piston_sets)
    else:
        share = before or fresh
    if share.failures is not None and share.piston_sets is not None:
        counts = {"failures": share.failures, "piston_sets": share.piston_sets}
        store.tell(order.operator, order.monday, "effects 0", counts)
    return share


def answer(order: Round) -> Numbers:
    """An operator's sums in a round, as they stand in its list.

    Raises:
        StoreError: its rows are lost or were changed.
    """
    store = NetworkStore(order.address)
    rows = _risk_sets(store.read(order.rows), order.settings)
    assert rows is not None, "it would not have taken part"
    numbers = told(sums_of(rows, order.coef), COVARIATES)
    store.tell(order.operator, order.monday, f"effects {order.number}", numbers)
    return numbers


def lay_beside(order: Reading) -> Written:
    """Write an operator's own effects and the shared ones into one table of its own.

    A row per factor: hazard ratio per step with its limits, `own` from its record alone, `shared`
    from all that took part, `borrowed` (of one that took no part) from its record with the
    shared ones as what another operator's are like.  `others` (log hazard ratio per step, with
    `others_sd` and `others_apart`) is from all but itself.  Empty where there is no estimate.
    """
    store = NetworkStore(order.address)
    rows = store.read(order.share.rows)
    confidence = order.settings.number("survival.confidence")
    common, apart = order.pooled.common, order.pooled.apart
    risk_sets = _risk_sets(rows, order.settings)
    found = {"own": _own(risk_sets, None), "shared": common}
    if order.share.failures is None:
        others = common.as_of_another(apart)
        found["borrowed"] = others if risk_sets is None else _own(risk_sets, others)
    table = pl.DataFrame({"factor": COVARIATES}).with_columns(
        step=pl.Series([FACTORS[name].step(order.settings) for name in COVARIATES]),
        **{
            name: pl.Series(_ratios(found.get(of), place, confidence), dtype=pl.Float64)
            for of in ("own", "shared", "borrowed")
            for place, name in enumerate((of, f"{of}_low", f"{of}_high"))
        },
        own_failures=pl.lit(int(rows["failed"].sum())),
        own_takes_part=pl.lit(order.share.failures is not None),
        **{f"shared_{name}": pl.lit(count) for name, count in order.rests_on.items()},
        **_of_others(order, risk_sets),
    )
    return store.write(order.operator, "pool_effects", table)


def _of_others(order: Reading, rows: RiskSets | None) -> dict[str, pl.Series]:
    """Of each covariate what all but this operator say, and what that rests on.

    Its own sums, taken off where it took part, are worked out here and do not leave it.
    """
    common, share = order.pooled.common, order.share
    at = np.zeros(len(COVARIATES))
    at[[COVARIATES.index(name) for name in common.factors]] = common.coef
    own = Derivatives(0.0, np.zeros(len(at)), np.zeros((len(at), len(at))))
    mine = dict.fromkeys(order.rests_on, 0)
    if share.failures is not None and share.piston_sets is not None and rows is not None:
        own = sums_of(rows, at)
        mine = {"operators": 1, "failures": share.failures, "piston_sets": share.piston_sets}
    found = effects_without(
        order.pooled, own, COVARIATES, order.settings.number("network.least_apart")
    )
    told: dict[str, dict[str, float]] = {"others": {}, "others_sd": {}, "others_apart": {}}
    if found is not None:
        figures = (found.common.coef, np.sqrt(np.diag(found.common.covariance)), found.apart)
        for name, figure in zip(told, figures, strict=True):
            told[name] = dict(zip(found.common.factors, figure.tolist(), strict=True))
    counts = {name: count - mine[name] for name, count in order.rests_on.items()}
    return {
        name: pl.Series([of.get(factor) for factor in COVARIATES], dtype=pl.Float64)
        for name, of in told.items()
    } | {f"others_{name}": pl.Series([count] * len(COVARIATES)) for name, count in counts.items()}


def pool_rows(spells: pl.DataFrame, settings: Assumptions) -> tuple[pl.DataFrame, int]:
    """Spells as the weekly Cox fit takes them, and how many piston sets they are of."""
    believed = exposure_error(spells, settings).believed(spells)
    rows = believed.select(
        "start_h", "stop_h", *COVARIATES, failed=(pl.col("mode") == MODE).fill_null(False)
    )
    return rows, believed["piston_set_id"].n_unique()


def _by_rounds(run: Run, address: str, asked: Asked, taking: Mapping[str, Share]) -> Pooled:
    rounds = 0

    def ask(coef: Floats) -> dict[str, Derivatives]:
        nonlocal rounds
        rounds += 1
        orders = {
            one: Round(address, one, asked.monday, rounds, share.rows, coef, asked.settings)
            for one, share in taking.items()
        }
        return {one: heard(numbers, COVARIATES) for one, numbers in run(answer, orders).items()}

    return pooled_effects(ask, COVARIATES)


def _shares_before(store: NetworkStore, monday: str) -> dict[str, Share]:
    """What each operator brought to the newest pool up to this Monday."""
    newest = newest_by(store.pools(), monday)
    if newest is None:
        return {}
    return {
        one: Share(Written(*made["rows"]), made["failures"], made["piston_sets"])
        for one, made in store.pool(newest)["operators"].items()
    }


def _still_counts(store: NetworkStore, before: Share | None, least: int) -> bool:
    """Whether what an operator brought before can be brought again."""
    if before is None or before.failures is None or before.failures < least:
        return False
    return store.is_whole(before.rows) and {*COVARIATES} <= {*store.read(before.rows).columns}


def _risk_sets(rows: pl.DataFrame, settings: Assumptions) -> RiskSets | None:
    """The rows made ready, factors in steps; None where there is none or one cannot be used."""
    steps = np.array([FACTORS[name].step(settings) for name in COVARIATES])
    x = covariate_matrix(rows, COVARIATES) / steps
    try:
        return build_risk_sets(rows["start_h"], rows["stop_h"], rows["failed"], x, names=COVARIATES)
    except SpellError:
        return None


def _own(rows: RiskSets | None, others: Effects | None) -> Effects | None:
    try:
        return None if rows is None else own_effects(rows, COVARIATES, others)
    except NoEffectsError:
        return None


def _ratios(effects: Effects | None, place: int, confidence: float) -> list[float | None]:
    """Of each covariate the hazard ratio (0), its lower (1) or its upper limit (2)."""
    if effects is None:
        return [None] * len(COVARIATES)
    columns = np.column_stack([effects.coef, effects.limits(confidence)])[:, place]
    found = dict(zip(effects.factors, np.exp(columns).tolist(), strict=True))
    return [found.get(name) for name in COVARIATES]
