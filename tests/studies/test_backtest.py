"""Past weeks of regenerated fleets scored as `score_history` scores a real one.

    pytest -m study tests/studies/test_backtest.py                 checks the owner's figures
    python -m tests.studies.test_backtest [fleets] > tests/studies/backtest.md

Each fleet runs three seasons on the generator's truth, exposure as it truly was.  Through
the second and third season every week gets chances from fits made at the start of each
month on what had ended by then; each is scored 30 days on.  Hulls of all fleets are
pooled; limits draw whole hulls.  The rules of thumb learn within their own fleet only.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import polars.selectors as cs
import pytest

from ringland.risk.expected_use import expected_use
from ringland.risk.exposure_ahead import USUAL
from ringland.risk.exposure_turn import with_season
from ringland.risk.failure_risk import hull_chances
from ringland.risk.fleet_hazard import fit_fleet
from ringland.risk.usual_exposure import usual_exposure
from ringland.score.rival_forecasts import (
    BASE_RATE,
    FUEL_AGE_RULE,
    HOURS_ONLY,
    rival_chances,
)
from ringland.settings.assumptions import load_assumptions
from ringland.survival.estimates import Estimate
from ringland.survival.forecasts.calibration import CalibrationLine, calibration_line
from ringland.survival.forecasts.forecast_scores import censoring_weights, score_limits
from synthetic_data.fleet_simulator import simulate_fleet
from synthetic_data.scenario import Scenario
from tests.studies.true_spells import spells_of

# A quarter of the usual draws: their noise is far below that of the failures.
SETTINGS = load_assumptions().changed(survival__draws=500)
HORIZON_D = 30.0
TOOL = "this tool"
AT_STAKE = ["ring_land_fracture", "ring_wear"]
SEASONS = (2025, 2026)
WEEKS = 18


def scored_weeks(seed: int, scenario: Scenario) -> pl.DataFrame:
    """One row per hull and week: each forecaster's chance, and what came true."""
    fleet = simulate_fleet(replace(scenario, with_faults=False), seed)
    docks = dict(fleet.records["hulls"].select("hull_id", "dock_id").iter_rows())
    sessions = as_recorded(fleet.truth_sessions, docks)
    hulls = fleet.records["hulls"]
    spells = spells_of(sessions, docks)
    weeks, fits = [], None
    for season in SEASONS:
        opening = datetime(season, 5, 8, tzinfo=UTC)
        for week in range(WEEKS):
            as_of = opening + timedelta(days=7 * week)
            known = sessions.filter(pl.col("ended_at") <= as_of)
            if week % 4 == 0:
                fits = fit_fleet(
                    spells.filter(pl.col("stop_at") <= as_of),
                    SETTINGS,
                    np.random.default_rng([seed, season, week]),
                )
            running = with_season(
                _running(known, hulls, as_of), known, as_of, as_of + timedelta(days=HORIZON_D),
                SETTINGS,
            )  # fmt: skip
            chances = hull_chances(fits, running, SETTINGS)  # type: ignore[arg-type]
            weeks.append(
                chances.select(
                    "hull_id", "age_h", "chance_30d", expected_h="expected_h_30d"
                ).join(running.select("hull_id", fuel_age_d="fuel_age_25h_d"), on="hull_id")
                .with_columns(as_of=pl.lit(as_of))
            )  # fmt: skip
    told = pl.concat(weeks).filter(pl.col("chance_30d").is_not_null())
    rows = _outcomes(told, sessions)
    rivals = rival_chances(rows, HORIZON_D, SETTINGS)
    return rows.hstack(rivals.get_columns()).with_columns(
        pl.col("chance_30d").alias(TOOL), cluster=pl.format("{}/{}", pl.lit(seed), "hull_id")
    )


def as_recorded(truth_sessions: pl.DataFrame, docks: dict[str, str]) -> pl.DataFrame:
    """True rentals with a running set, with the columns of `SessionExposure` beside the true."""
    hard = pl.col("running_h") * pl.col("full_throttle_share")
    return truth_sessions.filter(pl.col("set_h_start").is_not_null()).with_columns(
        dock_id=pl.col("hull_id").replace_strict(docks),
        ended_at=pl.col("started_at") + pl.duration(hours=2),
        engine_h_start=pl.lit(0.0),
        engine_h_stop=pl.col("running_h"),
        shortfall_on=pl.col("shortfall"),
        shortfall_low_on=pl.col("shortfall"),
        shortfall_high_on=pl.col("shortfall"),
        hard_running_h=hard,
        unknown_share=pl.lit(0.0),
        is_throttle_assumed=pl.lit(value=False),
    )


def _running(known: pl.DataFrame, hulls: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """Sets running at an instant, with exposure as of the last rental, the usual, and the use.

    Hulls silent for so long that the product gives them no chance are left out.
    """
    silent_since = as_of - timedelta(days=SETTINGS.number("record.silent_after_d"))
    build_number = pl.col("piston_set_id").rle_id().over("engine_id") + 1
    ridden = known.sort("started_at").with_columns(build_number=build_number)
    last = ridden.group_by("hull_id", maintain_order=True).last()
    return (
        last.filter(pl.col("struck").is_null())
        .join(
            expected_use(known, hulls, as_of, SETTINGS)
            .filter(pl.col("last_session_at") >= silent_since, pl.col("use_h_d").is_not_null())
            .select("hull_id", "use_h_d"),
            on="hull_id",
        )
        .join(usual_exposure(known, as_of, SETTINGS), on="hull_id")
        .select(
            "hull_id",
            "dock_id",
            "engine_id",
            "piston_set_id",
            "use_h_d",
            cs.starts_with(USUAL),
            "shortfall_25h_on",
            "fuel_age_25h_d",
            "full_throttle_25h",
            "is_raised_calibration",
            "is_forged",
            "build_number",
            age_h=pl.col("set_h_stop"),
            shortfall_25h_low_on=pl.col("shortfall_25h_on"),
            shortfall_25h_high_on=pl.col("shortfall_25h_on"),
            fuel_age_25h_low_d=pl.col("fuel_age_25h_d"),
            fuel_age_25h_high_d=pl.col("fuel_age_25h_d"),
            known_share_25h=pl.lit(1.0),
            why_not=pl.lit(None, dtype=pl.String),
        )
        .sort("hull_id")
    )


def _outcomes(told: pl.DataFrame, sessions: pl.DataFrame) -> pl.DataFrame:
    """Days each hull-week was followed: to its failure, its set's removal, or the end."""
    ends = (
        sessions.sort("started_at")
        .group_by("hull_id", "piston_set_id", maintain_order=True)
        .agg(end_at=pl.col("started_at").last(), mode=pl.col("struck").drop_nulls().first())
        .with_columns(fails=pl.col("mode").is_in(AT_STAKE).fill_null(False))
    )
    over = sessions["started_at"].max()
    last_set = ends.sort("end_at").group_by("hull_id", maintain_order=True).last()
    ends = ends.join(
        last_set.select("hull_id", "piston_set_id", is_last=pl.lit(True)),
        on=["hull_id", "piston_set_id"],
        how="left",
    ).with_columns(
        # The last set runs on past its last rental unless something broke it.
        end_at=pl.when(pl.col("is_last") & pl.col("mode").is_null())
        .then(pl.lit(over) + pl.duration(days=60))
        .otherwise("end_at")
    )
    first = (
        told.with_row_index("row")
        .join(ends.select("hull_id", "end_at", "fails"), on="hull_id")
        .filter(pl.col("end_at") > pl.col("as_of"))
        .sort("row", "end_at")
        .group_by("row", maintain_order=True)
        .first()
    )
    time_d = (pl.col("end_at") - pl.col("as_of")).dt.total_seconds() / 86_400
    return first.drop("row").with_columns(time_d=time_d).with_columns(
        failed=pl.col("fails") & (pl.col("time_d") <= HORIZON_D)
    ).sort("as_of", "hull_id")  # fmt: skip


def pooled(fleets: int, say=lambda words: None) -> pl.DataFrame:  # type: ignore[no-untyped-def]
    """The scored weeks of many fleets."""
    tables = []
    for seed in range(1, fleets + 1):
        tables.append(scored_weeks(seed, Scenario()))
        say(f"fleet {seed}")
    return pl.concat(tables)


def line_of(rows: pl.DataFrame) -> CalibrationLine:
    """The calibration line of the tool's chances."""
    return calibration_line(
        rows[TOOL].to_numpy(),
        rows["time_d"].to_numpy(),
        rows["fails"].to_numpy(),
        HORIZON_D,
        cluster=rows["cluster"].to_list(),
    )


def better_than(rows: pl.DataFrame, rival: str) -> tuple[float, float, Estimate]:
    """Brier of the tool and of a rule on the hull-weeks both speak of, and the difference."""
    both = rows.filter(pl.col(rival).is_not_null())
    weight = censoring_weights(both["time_d"].to_numpy(), both["fails"].to_numpy(), [HORIZON_D])
    failed = both["failed"].to_numpy().astype(float)
    error = {name: weight[:, 0] * (failed - both[name].to_numpy()) ** 2 for name in (TOOL, rival)}
    excess = error[rival] - error[TOOL]
    limits = score_limits(
        lambda drawn: float(excess[drawn].mean()),
        both["cluster"].to_list(),
        np.random.default_rng(1),
        n_draws=500,
    )
    return float(error[TOOL].mean()), float(error[rival].mean()), limits


@pytest.mark.study
def test_chances_of_regenerated_fleets_beat_hours_only_and_are_right_on_the_whole() -> None:
    """Owner's figures: Brier below hours-only, calibration slope 0.8 to 1.2; see `backtest.md`."""
    rows = pooled(8)
    line = line_of(rows)

    _, _, gain = better_than(rows, HOURS_ONLY)

    assert gain.low > 0
    assert 0.8 <= line.slope.value <= 1.2
    # Hull-weeks overlap and the calendar is not forecast: a third off on the whole is a fault.
    assert 2 / 3 < line.expected_failures / line.observed_failures < 3 / 2


if __name__ == "__main__":
    wanted = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    table = pooled(wanted, say=lambda words: print(words, file=sys.stderr, flush=True))
    line = line_of(table)
    print(
        f"{wanted} fleets of 48 hulls, {table.height:,} hull-weeks, "
        f"{int(table['failed'].sum())} followed by a failure within 30 days; expected "
        f"{line.expected_failures:.0f}.\n\n"
        f"Calibration slope {line.slope.value:.2f} ({line.slope.low:.2f} to "
        f"{line.slope.high:.2f}); in the large {line.in_the_large.value:+.2f} "
        f"({line.in_the_large.low:+.2f} to {line.in_the_large.high:+.2f}).\n"
    )
    print("| against | Brier of the tool | Brier of the rule | better by | 95 % limits |")
    print("|---|--:|--:|--:|---|")
    for rule in (BASE_RATE, HOURS_ONLY, FUEL_AGE_RULE):
        mine, theirs, gain = better_than(table, rule)
        print(
            f"| {rule} | {mine:.5f} | {theirs:.5f} | {gain.value:+.5f} | "
            f"{gain.low:+.5f} to {gain.high:+.5f} |"
        )
