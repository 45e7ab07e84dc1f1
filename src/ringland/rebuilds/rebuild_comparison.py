"""Does a rebuild pay?  Life and cost after each rebuild, by scope and by head test.

A build is the piston set that a rebuild fitted.  Groups are compared by failures per
engine hour with exact limits, which hold with any number of failures, by cumulative
incidence with the other modes competing, and by Cox regression with use and fuel held
alike.  The shop chose who got which rebuild, so a
ratio says what goes with a scope, not what the scope does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl
import scipy

from ringland.settings.assumptions import Assumptions
from ringland.survival.cox.cox_maximum import CoxFitError
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.cox.hull_bootstrap import jackknife_hulls
from ringland.survival.lives.competing_risks import aalen_johansen
from ringland.survival.lives.life_data import LifeDataError
from ringland.survival.spell_checks import SpellError

USE_AND_FUEL = ("shortfall_25h_on", "fuel_age_25h_d", "full_throttle_25h", "is_raised_calibration")
"""Held alike in the adjusted comparison."""

ARMS = {"is_full": "full against top end", "is_head_tested": "head tested against not"}
"""The two things compared, and how each ratio reads."""


@dataclass(frozen=True)
class RebuildComparison:
    """What came after each kind of rebuild."""

    groups: pl.DataFrame
    """group, builds, failures, engine_h, per_1000_h, low, high, cost, cost_builds, cost_per_h,
    cost_low, cost_high: failures per 1000 engine hours with exact Poisson limits; cost of the
    rebuilds over the hours run since, with bootstrap limits over builds"""
    modes: pl.DataFrame
    """group, mode, failures, at_h, incidence, low, high: Aalen-Johansen"""
    ratios: pl.DataFrame
    """arm, reads, adjusted, is_doubtful, hazard_ratio, low, high, failures, builds, method:
    doubtful where failures are too few for what is held alike"""
    notes: tuple[str, ...]


def builds_after_rebuild(
    lives: pl.DataFrame, rebuilds: pl.DataFrame, assumptions: Assumptions
) -> tuple[pl.DataFrame, tuple[str, ...]]:
    """Each rebuild joined to the piston set it fitted, and sentences on those without one.

    The set fitted nearest in time, no further than setting rebuild.set_within_d, is the one.

    Args:
        lives: `PistonLives`.
        rebuilds: rows of the Rebuilds contract.
        assumptions: rebuild.set_within_d.

    Returns:
        The lives' columns with rebuilt_at, scope, is_head_tested, cost, group.
    """
    within = assumptions.number("rebuild.set_within_d")
    rebuilds = rebuilds.with_row_index("_rebuild")
    joined = (
        rebuilds.select("_rebuild", "engine_id", "rebuilt_at", "scope", "is_head_tested", "cost")
        .join(lives, on="engine_id", how="inner")
        .with_columns(
            _off_d=(pl.col("fitted_at") - pl.col("rebuilt_at")).dt.total_seconds().abs() / 86400
        )
        .filter(pl.col("_off_d") <= within)
        .sort("_off_d", "piston_set_id")
        .unique("_rebuild", keep="first", maintain_order=True)
        .unique("piston_set_id", keep="first", maintain_order=True)
        .sort("rebuilt_at", "piston_set_id")
    )
    lost = rebuilds.join(joined, on="_rebuild", how="anti").height
    notes = (
        (f"{lost} rebuild(s) fitted no piston set that is on record and are left out.",)
        if lost
        else ()
    )
    head = (
        pl.when(pl.col("is_head_tested").is_null())
        .then(pl.lit("head test not on record"))
        .when("is_head_tested")
        .then(pl.lit("head tested"))
        .otherwise(pl.lit("head not tested"))
    )
    scope = pl.col("scope").replace_strict({"full": "full", "top_end": "top end"})
    return joined.drop("_rebuild", "_off_d").with_columns(group=scope + ", " + head), notes


def compare_rebuilds(
    builds: pl.DataFrame,
    spells: pl.DataFrame,
    assumptions: Assumptions,
    rng: np.random.Generator,
    modes: Sequence[str] | None = None,
) -> RebuildComparison:
    """Life and cost after rebuild, by group.

    Args:
        builds: from `builds_after_rebuild`.
        spells: `Spells`; those of the builds are used.
        assumptions: confidence, draws, rebuild.incidence_at_h, few events per covariate.
        rng: source of the bootstrap.
        modes: failure modes that count; default: every mode.
    """
    counted = pl.col("mode").is_not_null() if modes is None else pl.col("mode").is_in(modes)
    builds = builds.with_columns(has_failed=(pl.col("state") == "failed") & counted)
    confidence = assumptions.number("survival.confidence")
    groups = [
        _group_row(part, confidence, int(assumptions.number("survival.draws")), rng)
        for part in builds.sort("group").partition_by("group", maintain_order=True)
    ]
    ratios, notes = _ratios(builds, spells, counted, assumptions)
    if builds.height:
        notes.append(
            "Cost per engine hour falls while builds still run: what they will run more is not "
            "in it."
        )
    return RebuildComparison(
        pl.DataFrame(groups, schema=_GROUPS),
        _mode_rows(builds, assumptions.number("rebuild.incidence_at_h")),
        ratios,
        tuple(notes),
    )


_GROUPS = {
    "group": pl.String,
    "builds": pl.Int64,
    "failures": pl.Int64,
    "engine_h": pl.Float64,
    "per_1000_h": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "cost": pl.Float64,
    "cost_builds": pl.Int64,
    "cost_per_h": pl.Float64,
    "cost_low": pl.Float64,
    "cost_high": pl.Float64,
}


def _group_row(
    part: pl.DataFrame, confidence: float, draws: int, rng: np.random.Generator
) -> dict[str, object]:
    hours = float((part["exit_h"] - part["entry_h"]).sum())
    failures = int(part["has_failed"].sum())
    low, high = poisson_limits(failures, confidence)
    row: dict[str, object] = {
        "group": part["group"][0],
        "builds": part.height,
        "failures": failures,
        "engine_h": hours,
        "per_1000_h": failures / hours * 1000 if hours else None,
        "low": low / hours * 1000 if hours else None,
        "high": high / hours * 1000 if hours else None,
    }
    priced = part.drop_nulls("cost")
    cost = priced["cost"].to_numpy()
    ran = (priced["exit_h"] - priced["entry_h"]).to_numpy()
    row |= {"cost": float(cost.sum()) if len(cost) else None, "cost_builds": len(cost)}
    if len(cost) < 2 or not ran.sum():
        return row | {"cost_per_h": None, "cost_low": None, "cost_high": None}
    drawn = rng.integers(0, len(cost), (draws, len(cost)))
    spent, hours_drawn = cost[drawn].sum(axis=1), ran[drawn].sum(axis=1)
    # a draw of builds that never ran has no cost per hour; infinity keeps it at the top
    rate = np.divide(spent, hours_drawn, out=np.full(draws, np.inf), where=hours_drawn > 0)
    tail = (1 - confidence) / 2
    ends = np.quantile(rate, [tail, 1 - tail], method="nearest")
    return row | {
        "cost_per_h": float(cost.sum() / ran.sum()),
        "cost_low": float(ends[0]),
        "cost_high": float(ends[1]),
    }


def poisson_limits(events: int, confidence: float) -> tuple[float, float]:
    """Exact limits of a Poisson mean, e.g. 3 events: 0.62 to 8.77 at 95 %.

    Through the chi-square distribution (Garwood 1936).
    """
    tail = (1 - confidence) / 2
    low = scipy.stats.chi2.ppf(tail, 2 * events) / 2 if events else 0.0
    return float(low), float(scipy.stats.chi2.ppf(1 - tail, 2 * events + 2) / 2)


def _mode_rows(builds: pl.DataFrame, at_h: float) -> pl.DataFrame:
    rows = []
    for part in builds.sort("group").partition_by("group", maintain_order=True):
        seen = part.filter(pl.col("exit_h") > pl.col("entry_h"))
        causes = [
            mode if state == "failed" else None
            for mode, state in seen.select("mode", "state").iter_rows()
        ]
        try:
            table = aalen_johansen(
                seen["exit_h"].to_numpy(), causes, entry=seen["entry_h"].to_numpy()
            )
        except LifeDataError:
            continue  # no failure in this group: the group's row says so with its limit
        for mode in table.causes:
            value, _, low, high = (float(x) for x in table.at(mode, [at_h])[0])
            if value == 0.0:
                high = float("nan")  # none by then: the formula's limits of 0 would be a claim
            number = sum(cause == mode for cause in causes)
            rows.append((part["group"][0], mode, number, at_h, value, low, high))
    return pl.DataFrame(
        rows,
        schema={
            "group": pl.String,
            "mode": pl.String,
            "failures": pl.Int64,
            "at_h": pl.Float64,
            "incidence": pl.Float64,
            "low": pl.Float64,
            "high": pl.Float64,
        },
        orient="row",
    ).with_columns(pl.col("incidence", "low", "high").fill_nan(None))


def _ratios(
    builds: pl.DataFrame, spells: pl.DataFrame, counted: pl.Expr, assumptions: Assumptions
) -> tuple[pl.DataFrame, list[str]]:
    rows = spells.join(
        builds.select("piston_set_id", "scope", "is_head_tested"), on="piston_set_id", how="inner"
    ).with_columns(is_full=pl.col("scope") == "full", has_failed=counted)
    found, notes = [], []
    for arm, reads in ARMS.items():
        exact = _rate_ratio(builds.drop_nulls(ARM_OF[arm]), arm, assumptions)
        if exact is not None:
            found.append(
                {"arm": arm, "reads": reads, "adjusted": False, "is_doubtful": False} | exact
            )
        of_arm = rows.drop_nulls(arm)
        names = [arm, *(name for name in USE_AND_FUEL if of_arm[name].n_unique() > 1)]
        ratio = _cox_ratio(of_arm, names, assumptions)
        if isinstance(ratio, str):
            notes.append(f"No adjusted ratio for {reads}: {ratio}")
            continue
        few = assumptions.number("survival.few_events_per_covariate") * len(names)
        is_doubtful = int(str(ratio["failures"])) < few
        found.append(
            {"arm": arm, "reads": reads, "adjusted": True, "is_doubtful": is_doubtful} | ratio
        )
    schema = {
        "arm": pl.String,
        "reads": pl.String,
        "adjusted": pl.Boolean,
        "is_doubtful": pl.Boolean,
        "hazard_ratio": pl.Float64,
        "low": pl.Float64,
        "high": pl.Float64,
        "failures": pl.Int64,
        "builds": pl.Int64,
        "method": pl.String,
    }
    return pl.DataFrame(found, schema=schema), notes


def _rate_ratio(
    builds: pl.DataFrame, arm: str, assumptions: Assumptions
) -> dict[str, object] | None:
    """Ratio of failures per engine hour with exact limits; None without failure or hours.

    Given all failures, those in the first arm are binomial with share r h1 / (r h1 + h0)
    (Clopper and Pearson 1934 on that share); a limit the record cannot set is 0 or infinity.
    """
    in_arm = _in_arm(builds, arm)
    hours = (builds["exit_h"] - builds["entry_h"]).to_numpy()
    failed = builds["has_failed"].to_numpy()
    h1, h0 = float(hours[in_arm].sum()), float(hours[~in_arm].sum())
    n1, total = int(failed[in_arm].sum()), int(failed.sum())
    if not (total and h1 and h0):
        return None
    confidence = assumptions.number("survival.confidence")
    share = scipy.stats.binomtest(n1, total).proportion_ci(confidence, method="exact")
    value, low, high = (
        p / (1 - p) * h0 / h1 if p < 1 else math.inf for p in (n1 / total, share.low, share.high)
    )
    return {
        "hazard_ratio": value,
        "low": low,
        "high": high,
        "failures": total,
        "builds": builds.height,
        "method": "failures per engine hour, exact",
    }


ARM_OF = {"is_full": "scope", "is_head_tested": "is_head_tested"}
"""The column of the builds each arm is read from."""


def _in_arm(builds: pl.DataFrame, arm: str) -> npt.NDArray[np.bool_]:
    column = builds[ARM_OF[arm]]
    return (column == "full").to_numpy() if arm == "is_full" else column.to_numpy()


def _cox_ratio(
    rows: pl.DataFrame, names: list[str], assumptions: Assumptions
) -> dict[str, object] | str:
    """Hazard ratio of the first name, or why there is none."""
    if rows.is_empty() or not rows["has_failed"].any():
        return "no failure after a rebuild is on record."
    x: npt.NDArray[np.float64] = rows.select(pl.col(names).cast(pl.Float64)).to_numpy()
    confidence = assumptions.number("survival.confidence")
    try:
        fit = fit_cox(
            rows["start_h"].to_numpy(),
            rows["stop_h"].to_numpy(),
            rows["has_failed"].to_numpy(),
            x,
            names=names,
            cluster=rows["hull_id"].to_numpy(),
        )
    except (CoxFitError, SpellError) as error:
        return str(error)
    try:
        limits, method = jackknife_hulls(fit).limits(confidence), "leaving out one hull at a time"
    except CoxFitError:
        limits, method = fit.limits(confidence), "clustered by hull"
    low, high = np.exp(limits[0])
    return {
        "hazard_ratio": float(np.exp(fit.coef[0])),
        "low": float(low),
        "high": float(high),
        "failures": int(rows["has_failed"].sum()),
        "builds": rows["piston_set_id"].n_unique(),
        "method": f"Cox, {method}",
    }
