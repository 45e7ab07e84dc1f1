"""What the score page says: of past weeks' advice, what came true."""

from __future__ import annotations

from typing import Any

import numpy as np
import plotly.graph_objects as go
import polars as pl

from ringland.pages.frame.chart_look import BLUE, GREY, layout
from ringland.pages.score import score_words as said
from ringland.score.score_history import HORIZON_D, ScoreHistory
from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import (
    chance_text,
    count_text,
    day_text,
    number_text,
    share_text,
)

SHOWN_ROWS = 250
"""Failures and warnings listed, the latest, so that the page stays small in a large fleet."""


def score_context(
    score: ScoreHistory, assumptions: Assumptions, ahead: pl.DataFrame | None = None
) -> dict[str, Any]:
    """Everything the template of the score page names; `figures` are Plotly figures.

    Args:
        score: how earlier weeks' advice fared.
        assumptions: settings.
        ahead: `WeeksAhead`; None: no earlier list is old enough.
    """
    figures = {}
    groups = score.groups.filter(pl.col("came_true").is_not_null())
    if groups.height:
        figures["calibration"] = calibration_chart(groups)
    return {
        "figures": figures,
        "said": said,
        "horizon_d": f"{HORIZON_D:.0f}",
        "counts": list(score.counts.items()),
        "is_empty": score.counts["scored"] == 0,
        "lead_line": lead_line(score),
        "flag_line": flag_line(score),
        "n_warnings": score.warnings.height,
        "warnings": [
            row | {"first": day_text(row["first_at"]), "last": day_text(row["last_at"])}
            for row in _latest(score.warnings, "first_at").iter_rows(named=True)
        ],
        "n_leads": score.leads.height,
        "in_all": in_all(score),
        "calibration_line": calibration_sentence(score, assumptions),
        "groups": score.groups.to_dicts(),
        "ahead": [] if ahead is None else ahead_rows(ahead),
        "rivals": rival_rows(score),
        "plain_line": plain_line(score),
        "advice": advice_rows(score),
        "leads": [
            row | {"day": day_text(row["failed_at"])}
            for row in _latest(score.leads, "failed_at").iter_rows(named=True)
        ],
    }


def advice_rows(score: ScoreHistory) -> list[tuple[str, ...]]:
    """The jobs that lists asked for and what became of them, the musts first."""
    names = said.ADVICE_COUNTS
    return [
        (
            said.ADVICE_KINDS[row["is_must"]],
            *(number_text(row[name], 0) for name in names),
            f"{row['failed_after_done']}; {row['failed_undone']}",
        )
        for row in score.advice.iter_rows(named=True)
    ]


def ahead_rows(ahead: pl.DataFrame) -> list[tuple[str, ...]]:
    """Each week ahead: what was said of it, what was seen, and what would be in keeping."""
    return [
        (
            number_text(row["week"], 0),
            number_text(row["n_hull_weeks"], 0),
            number_text(row["expected"], 1),
            number_text(row["seen"], 0),
            said.IN_KEEPING.format(
                low=number_text(row["low"], 0), high=number_text(row["high"], 0)
            ),
            said.AHEAD_MISSES[row["misses"]],
        )
        for row in ahead.iter_rows(named=True)
    ]


def _latest(rows: pl.DataFrame, by: str) -> pl.DataFrame:
    return rows.sort(by, "hull_id").tail(SHOWN_ROWS)


def rival_rows(score: ScoreHistory) -> list[dict[str, str]]:
    """Each forecaster's Brier score, and by how much the tool was nearer, in words."""
    return [
        {
            "name": row["forecaster"],
            "brier": number_text(row["brier"], 4),
            "lead": said.TOOL_ITSELF
            if row["tool_better_by"] is None
            else said.WITH_RANGE.format(
                middle=number_text(row["tool_better_by"], 4),
                low=number_text(row["tool_better_low"], 4),
                high=number_text(row["tool_better_high"], 4),
            ),
            "hull_weeks": number_text(row["n_hull_weeks"], 0),
            "failures": number_text(row["n_failures"], 0),
            "verdict": row["verdict"],
        }
        for row in score.scores.iter_rows(named=True)
    ]


def plain_line(score: ScoreHistory) -> str:
    """What came true where the chances were highest and where they were lowest."""
    groups = score.groups.filter(pl.col("came_true").is_not_null()).sort("said")
    if groups.height < 2:
        return said.TOO_FEW
    low, high = groups.row(0, named=True), groups.row(-1, named=True)
    return said.HIGH_AND_LOW.format(
        days=f"{HORIZON_D:.0f}",
        high=chance_text(high["said"]),
        high_came=chance_text(high["came_true"]),
        high_cases=count_text(high["n_hull_weeks"], "case"),
        high_failed=high["n_failures"],
        low=chance_text(low["said"]),
        low_came=chance_text(low["came_true"]),
        low_cases=count_text(low["n_hull_weeks"], "case"),
        low_failed=low["n_failures"],
    )


def lead_line(score: ScoreHistory) -> str:
    """How many of the failures were flagged before, and how long before."""
    flagged = score.leads.filter(pl.col("lead_d").is_not_null())["lead_d"]
    failures = count_text(score.leads.height, "ring failure")
    if score.leads.is_empty():
        return said.NO_RING_FAILURE
    if flagged.is_empty():
        return said.NONE_FLAGGED.format(failures=failures)
    low, high = (number_text(float(flagged.quantile(q)), 0) for q in (0.0, 1.0))  # type: ignore[arg-type]
    ahead = (
        said.DAYS_AHEAD.format(days=low)
        if low == high
        else said.DAYS_AHEAD_RANGE.format(low=low, high=high)
    )
    return said.FLAGGED_AHEAD.format(
        failures=failures,
        flagged=flagged.len(),
        ahead=ahead,
        days=f"{HORIZON_D:.0f}",
        unflagged=score.leads.height - flagged.len(),
    )


def flag_line(score: ScoreHistory) -> str:
    """What followed the warnings and the single flags."""
    came = score.warnings["failed_at"].is_not_null().sum()
    return said.WARNINGS_CAME.format(
        warnings=count_text(score.warnings.height, "warning"),
        came=came,
        days=f"{HORIZON_D:.0f}",
        failed=score.failed_after_flag,
        flags=count_text(score.flagged, "flag"),
        unflagged=count_text(score.failed_without_flag, "hull-week"),
    )


def in_all(score: ScoreHistory) -> str | None:
    """How many failed of those scored, and how many the chances add to."""
    if score.line is None:
        return None
    return said.IN_ALL.format(
        observed=number_text(score.line.observed_failures, 0),
        expected=number_text(score.line.expected_failures, 1),
    )


def calibration_sentence(score: ScoreHistory, assumptions: Assumptions) -> str:
    """How far the chances were too bold or too timid, with limits."""
    if score.line is None:
        return said.NO_LINE.format(problem=score.no_line)
    slope, level = score.line.slope, score.line.in_the_large
    confidence = share_text(assumptions.number("survival.confidence"))
    return said.CALIBRATION.format(
        slope=number_text(slope.value, 2),
        slope_low=number_text(slope.low, 2),
        slope_high=number_text(slope.high, 2),
        confidence=confidence,
        level=number_text(level.value, 2),
        level_low=number_text(level.low, 2),
        level_high=number_text(level.high, 2),
    )


def calibration_chart(groups: pl.DataFrame) -> go.Figure:
    """Share that failed against the chance that was said, by group, with its limits."""
    told, came = groups["said"].to_numpy(), groups["came_true"].to_numpy()
    top = float(max(told.max(), groups["high"].max(), 0.01)) * 1.05
    figure = go.Figure(
        [
            go.Scatter(
                x=[0, top],
                y=[0, top],
                mode="lines",
                line={"color": GREY, "dash": "dash"},
                name=said.AS_SAID,
            ),
            go.Scatter(
                x=told.round(5),
                y=came.round(5),
                mode="markers",
                marker={"color": BLUE, "size": 9, "symbol": "square"},
                error_y={
                    "type": "data",
                    "symmetric": False,
                    "array": np.maximum(groups["high"].to_numpy() - came, 0).round(5),
                    "arrayminus": np.maximum(came - groups["low"].to_numpy(), 0).round(5),
                },
                name=said.CAME_TRUE_LIMITS,
            ),
        ]
    )
    figure.update_layout(**layout(height=360))
    figure.update_xaxes(title_text=said.CHANCE_AXIS, range=[0, top], tickformat=".0%")
    figure.update_yaxes(title_text=said.FAILED_AXIS, range=[0, top], tickformat=".0%")
    return figure
