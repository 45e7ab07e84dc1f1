"""Was the advice any good?  Past weeks' chances and calls against what then happened.

A hull-week is scored when its whole horizon has passed.  One whose hull was opened, sold or
withdrawn in the horizon before anything failed counts as followed to then (inverse
probability of censoring): the tool's own advice takes hulls out, which is why its hits
alone would flatter or slander it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.contracts.decision_tables import HullJobs
from ringland.contracts.score_tables import (
    CalibrationRows,
    FailureLeads,
    ForecastScores,
    Warnings,
)
from ringland.risk.expected_use import DAY_S
from ringland.risk.failure_risk import HORIZONS_D
from ringland.score.followed_advice import FollowedAdvice, followed_advice
from ringland.score.rival_forecasts import rival_chances
from ringland.settings.assumptions import Assumptions
from ringland.survival.estimates import Estimate
from ringland.survival.forecasts.calibration import (
    CalibrationLine,
    calibration_by_group,
    calibration_line,
)
from ringland.survival.forecasts.forecast_scores import censoring_weights, score_limits
from ringland.survival.lives.life_data import LifeDataError

TOOL = "this tool"
HORIZON_D = HORIZONS_D["30d"]
EARLIER_FLAGS = ("keep_off", "book_check")
"""Calls by which a ringland before `HullCalls.is_flagged` warned of a hull."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ScoreHistory:
    """How past weeks' advice fared.

    `counts` says how many hull-weeks were scored and why the others were not.  `flagged`
    and `failed_after_flag` count hull-weeks; `warnings` has a row for each run of flags in
    reports in a row (`Warnings`).  `line` is None with the reason in `no_line`
    where there is too little to fit it.  `advice` is `FollowedAdvice`.
    """

    scores: pl.DataFrame
    leads: pl.DataFrame
    warnings: pl.DataFrame
    groups: pl.DataFrame
    line: CalibrationLine | None
    no_line: str | None
    flagged: int
    failed_after_flag: int
    failed_without_flag: int
    counts: Mapping[str, int]
    advice: pl.DataFrame = field(default_factory=FollowedAdvice.create_empty)


def score_history(
    chances: pl.DataFrame,
    calls: pl.DataFrame,
    fuel_ages: pl.DataFrame,
    *,
    failures: pl.DataFrame,
    taken_out: pl.DataFrame,
    followed_to: datetime,
    assumptions: Assumptions,
    rng: np.random.Generator,
    jobs: pl.DataFrame | None = None,
) -> ScoreHistory:
    """The score of all past weeks whose 30 days have passed.

    Args:
        chances: `HullChances` of each week, with `as_of`.
        calls: `HullCalls` of each week, with `as_of`.
        fuel_ages: as_of, hull_id, fuel_age_25h_d: for the fuel-age rule of thumb.
        failures: hull_id, failed_at of the failures the chances speak of.
        taken_out: hull_id, taken_out_at: opened on plan, sold or withdrawn unfailed.
        followed_to: the instant to which failures are on record.
        assumptions: settings.
        rng: draws hulls for the limits.
        jobs: `HullJobs` of earlier lists with what answered them; None: no list was given out.
    """
    known = HullJobs.create_empty() if jobs is None else jobs
    weeks = followed(_weeks(chances, calls, fuel_ages), failures, taken_out, followed_to)
    is_whole = pl.col("as_of") + timedelta(days=HORIZON_D) < followed_to
    is_told = pl.col("chance_30d").is_not_null()
    scored = weeks.filter(is_whole & is_told)
    counts = {
        "hull-weeks": weeks.height,
        "scored": scored.height,
        "horizon not over": weeks.filter(~is_whole).height,
        "no chance given": weeks.filter(is_whole & ~is_told).height,
        "left unfailed before the horizon": scored.filter(
            ~pl.col("is_failure") & (pl.col("time_d") < HORIZON_D)
        ).height,
    }
    called = weeks.filter(is_whole)
    flagged = called.filter("is_flag")
    unflagged = called.filter(~pl.col("is_flag"))
    line, no_line = _line(scored)
    return ScoreHistory(
        scores=_scores(scored, assumptions, rng),
        leads=_leads(called, failures),
        warnings=_warnings(called),
        groups=_groups(scored, assumptions),
        line=line,
        no_line=no_line,
        flagged=flagged.height,
        failed_after_flag=int(flagged["failed"].sum()),
        failed_without_flag=int(unflagged["failed"].sum()),
        counts=counts,
        advice=followed_advice(known, failures, followed_to),
    )


def _weeks(chances: pl.DataFrame, calls: pl.DataFrame, fuel_ages: pl.DataFrame) -> pl.DataFrame:
    """One row per hull and week: what was said of it and by what it could be judged."""
    keys = ["hull_id", "as_of"]
    return (
        chances.select(*keys, "age_h", "chance_30d", expected_h="expected_h_30d")
        .join(calls.select(*keys, is_flag=_is_flag(calls)), on=keys, how="left")
        .join(fuel_ages.select(*keys, fuel_age_d="fuel_age_25h_d"), on=keys, how="left")
        .sort("as_of", "hull_id")
    )


def _is_flag(calls: pl.DataFrame) -> pl.Expr:
    """Whether a call warned of its hull."""
    earlier = pl.col("call").is_in(EARLIER_FLAGS)
    if "is_flagged" not in calls.columns:
        return earlier
    return pl.coalesce("is_flagged", earlier)


def followed(
    weeks: pl.DataFrame, failures: pl.DataFrame, taken_out: pl.DataFrame, followed_to: datetime
) -> pl.DataFrame:
    """Hull-weeks with the days each was followed, and whether that ended in a failure.

    Adds failed_at, taken_out_at (the first of either after the week; null: none), time_d,
    is_failure, and failed: in failure, within the horizon.
    """
    keys = ["hull_id", "as_of"]
    for ends, column in ((failures, "failed_at"), (taken_out, "taken_out_at")):
        after = (
            weeks.select(keys)
            .join(ends.select("hull_id", column), on="hull_id", maintain_order="left")
            .filter((pl.col(column) > pl.col("as_of")) & (pl.col(column) <= followed_to))
            .group_by(keys, maintain_order=True)
            .agg(pl.col(column).min())
        )
        weeks = weeks.join(after, on=keys, how="left")
    until = pl.min_horizontal("failed_at", "taken_out_at", pl.lit(followed_to))
    is_failure = (pl.col("failed_at") <= until).fill_null(False)
    time_d = (until - pl.col("as_of")).dt.total_seconds() / DAY_S
    return weeks.with_columns(time_d=time_d, is_failure=is_failure).with_columns(
        failed=pl.col("is_failure") & (pl.col("time_d") <= HORIZON_D)
    )


def _scores(
    scored: pl.DataFrame, assumptions: Assumptions, rng: np.random.Generator
) -> pl.DataFrame:
    """Brier scores over the hull-weeks that every forecaster has a chance for."""
    if scored.is_empty():
        return ForecastScores.create_empty()
    rivals = rival_chances(scored, HORIZON_D, assumptions)
    forecasts = scored.select(pl.col("chance_30d").alias(TOOL)).hstack(rivals.get_columns())
    # A rule with nothing to go on in any week is left out, not allowed to empty the table.
    names = [name for name in forecasts.columns if forecasts[name].null_count() < scored.height]
    common = forecasts.select(~pl.any_horizontal(pl.col(names).is_null())).to_series()
    rows, chances = scored.filter(common), forecasts.filter(common)
    if rows.is_empty():
        return ForecastScores.create_empty()
    weights = censoring_weights(
        rows["time_d"].to_numpy(), rows["is_failure"].to_numpy(), [HORIZON_D]
    )
    failed, weight = rows["failed"].to_numpy().astype(float), weights[:, 0]
    errors = {name: weight * (failed - chances[name].to_numpy()) ** 2 for name in names}
    table = [
        {
            "forecaster": name,
            "n_hull_weeks": rows.height,
            "n_failures": int(failed.sum()),
            "brier": float(errors[name].mean()),
        }
        | _against(errors[name] - errors[TOOL], rows["hull_id"].to_list(), name, assumptions, rng)
        for name in names
    ]
    return ForecastScores.validate(pl.DataFrame(table, infer_schema_length=None), cast=True)


def _against(
    excess: Floats,
    hulls: list[str],
    name: str,
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> dict[str, float | str | None]:
    """By how much the tool's error is lower, with limits by drawing hulls, and in words."""
    if name == TOOL:
        none = dict.fromkeys(("tool_better_by", "tool_better_low", "tool_better_high"))
        return none | {"verdict": "this tool's own chances"}
    found: Estimate = score_limits(
        lambda rows: float(excess[rows].mean()),
        hulls,
        rng,
        n_draws=int(assumptions.number("survival.draws")),
        confidence=assumptions.number("survival.confidence"),
    )
    if found.low > 0:
        verdict = f"the tool did better than the {name}"
    elif found.high < 0:
        verdict = f"the {name} did better than the tool"
    else:
        verdict = f"the record cannot tell the tool from the {name}"
    return {
        "tool_better_by": found.value,
        "tool_better_low": found.low,
        "tool_better_high": found.high,
        "verdict": verdict,
    }


def _warnings(called: pl.DataFrame) -> pl.DataFrame:
    """Flags of one hull in reports in a row, as one warning each."""
    reports = called.select(pl.col("as_of").unique().sort()).with_row_index("report")
    flags = (
        called.filter("is_flag")
        .join(reports, on="as_of", maintain_order="left")
        .sort("hull_id", "as_of")
    )
    is_new = (pl.col("report").cast(pl.Int64).diff().over("hull_id") != 1).fill_null(True)
    found = (
        flags.with_columns(run=is_new.cum_sum().over("hull_id"))
        .group_by("hull_id", "run", maintain_order=True)
        .agg(
            first_at=pl.col("as_of").first(),
            last_at=pl.col("as_of").last(),
            n_weeks=pl.len().cast(pl.Int64),
            failed_at=pl.col("failed_at").filter("failed").first(),
        )
        .with_columns(lead_d=(pl.col("failed_at") - pl.col("first_at")).dt.total_seconds() / DAY_S)
    )
    return Warnings.validate(found.select(Warnings.column_names()))


def _leads(called: pl.DataFrame, failures: pl.DataFrame) -> pl.DataFrame:
    """Each failure with the reports in the horizon before it."""
    lead_d = (pl.col("failed_at") - pl.col("as_of")).dt.total_seconds() / DAY_S
    is_flag = pl.col("is_flag").fill_null(False)
    found = (
        called.filter("failed")
        .with_columns(lead_d=lead_d)
        .sort("hull_id", "failed_at", "as_of")
        .group_by("hull_id", "failed_at", maintain_order=True)
        .agg(
            weeks_before=pl.len().cast(pl.Int64),
            weeks_flagged=is_flag.sum().cast(pl.Int64),
            lead_d=pl.col("lead_d").filter(is_flag).max(),
            last_chance=pl.col("chance_30d").last(),
        )
    )
    return FailureLeads.validate(found)


def _groups(scored: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    if scored.is_empty():
        return CalibrationRows.create_empty()
    groups = calibration_by_group(
        scored["chance_30d"].to_numpy(),
        scored["time_d"].to_numpy(),
        scored["is_failure"].to_numpy(),
        HORIZON_D,
        n_groups=int(assumptions.number("record.calibration_groups")),
        confidence=assumptions.number("survival.confidence"),
    )
    return CalibrationRows.validate(
        pl.DataFrame(
            {
                "said": groups.forecast,
                "came_true": pl.Series(groups.observed).fill_nan(None),
                "low": groups.low,
                "high": groups.high,
                "n_hull_weeks": groups.n_lives.astype(np.int64),
                "n_failures": groups.n_failures.astype(np.int64),
            }
        )
    )


def _line(scored: pl.DataFrame) -> tuple[CalibrationLine | None, str | None]:
    try:
        line = calibration_line(
            scored["chance_30d"].to_numpy(),
            scored["time_d"].to_numpy(),
            scored["is_failure"].to_numpy(),
            HORIZON_D,
            cluster=scored["hull_id"].to_list(),
        )
    except LifeDataError as error:
        return None, str(error)
    return line, None
