"""Comebacks: failures soon after a rebuild, by who built it, who machined it, which batch.

A comeback is a failure within the first hours of a build (setting rebuild.comeback_h).  Rates
are per engine hour of those hours, so builds that have not run them yet count for what they
ran.  Each name is held against all the others by the exact conditional interval of a rate
ratio, widened for the number of names compared (Bonferroni): with few builds it is wide, and
an interval that holds 1 speaks against nobody.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import scipy

from ringland.rebuilds.rebuild_comparison import poisson_limits
from ringland.settings.assumptions import Assumptions

KINDS = {"built_by": "mechanic", "machined_by": "machinist", "batch": "part batch"}
"""Columns compared, and what each is called."""

_SCHEMA = {
    "kind": pl.String,
    "name": pl.String,
    "builds": pl.Int64,
    "comebacks": pl.Int64,
    "engine_h": pl.Float64,
    "per_1000_h": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "ratio": pl.Float64,
    "ratio_low": pl.Float64,
    "ratio_high": pl.Float64,
}


def comebacks(
    builds: pl.DataFrame,
    rebuilds: pl.DataFrame,
    piston_sets: pl.DataFrame,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """One row per kind and name: comebacks per 1,000 engine hours, and against the others.

    Columns as in `_SCHEMA`; ratio and its limits are null where there is nobody else to
    compare with, and infinite at an end that the failures leave open.

    Args:
        builds: from `rebuild_comparison.builds_after_rebuild`.
        rebuilds: rows of the Rebuilds contract.
        piston_sets: rows of the PistonSets contract.
        assumptions: rebuild.comeback_h, survival.confidence.
    """
    first_h = assumptions.number("rebuild.comeback_h")
    confidence = assumptions.number("survival.confidence")
    ran = pl.min_horizontal("exit_h", pl.lit(first_h)) - pl.min_horizontal(
        "entry_h", pl.lit(first_h)
    )
    told = (
        builds.join(
            rebuilds.select("engine_id", "rebuilt_at", "built_by", "machined_by"),
            on=["engine_id", "rebuilt_at"],
            how="left",
        )
        .join(piston_sets.select("piston_set_id", "batch"), on="piston_set_id", how="left")
        .with_columns(
            ran_h=ran, came_back=(pl.col("state") == "failed") & (pl.col("exit_h") <= first_h)
        )
        .filter(pl.col("ran_h") > 0)
    )
    rows = []
    for column, kind in KINDS.items():
        known = told.drop_nulls(column)
        names = known[column].unique().sort().to_list()
        for name in names:
            is_own = known[column] == name
            rows.append(
                {"kind": kind, "name": name}
                | _rate(known.filter(is_own), confidence)
                | _against(known.filter(is_own), known.filter(~is_own), confidence, len(names))
            )
    return pl.DataFrame(rows, schema=_SCHEMA)


def _rate(part: pl.DataFrame, confidence: float) -> dict[str, object]:
    hours, came_back = float(part["ran_h"].sum()), int(part["came_back"].sum())
    low, high = poisson_limits(came_back, confidence)
    return {
        "builds": part.height,
        "comebacks": came_back,
        "engine_h": hours,
        "per_1000_h": 1000 * came_back / hours,
        "low": 1000 * low / hours,
        "high": 1000 * high / hours,
    }


def _against(
    own: pl.DataFrame, others: pl.DataFrame, confidence: float, compared: int
) -> dict[str, object]:
    """Rate ratio against the others: given their sum, own comebacks are binomial (Clopper)."""
    hours, other_h = float(own["ran_h"].sum()), float(others["ran_h"].sum())
    mine, theirs = int(own["came_back"].sum()), int(others["came_back"].sum())
    if not other_h or not mine + theirs:
        return dict.fromkeys(("ratio", "ratio_low", "ratio_high"))
    level = 1 - (1 - confidence) / compared
    share = scipy.stats.binomtest(mine, mine + theirs).proportion_ci(confidence_level=level)

    def ratio(p: float) -> float:
        return float(np.inf) if p >= 1 else p / (1 - p) * other_h / hours

    return {
        "ratio": ratio(mine / (mine + theirs)),
        "ratio_low": ratio(share.low),
        "ratio_high": ratio(share.high),
    }
