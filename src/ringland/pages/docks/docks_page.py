"""What the dock comparison says: fuel and failures side by side, and what cannot be told."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
import polars as pl

from ringland.pages.docks import dock_words
from ringland.pages.evidence.evidence_words import step_text
from ringland.pages.frame.chart_look import GREY, inert, layout
from ringland.pages.fuel_rules.fuel_rules_charts import ranges, rows_axis
from ringland.pages.week.week_report import WeekReport
from ringland.words.fixed_words import FACTOR_LABELS
from ringland.words.number_words import (
    count_text,
    number_text,
    quantity_text,
    share_text,
)

Row = Mapping[str, Any]


def docks_context(report: WeekReport, docks: pl.DataFrame) -> dict[str, Any]:
    """Everything the template of the dock comparison names; `figures` are Plotly figures.

    Args:
        report: the week.
        docks: `DockRows`.
    """
    figures = {"rates": rates_chart(docks)} if docks.height else {}
    rows = docks.to_dicts()
    return {
        "figures": figures,
        "said": dock_words,
        "lead": _lead(rows),
        "docks": [_dock(row) for row in rows],
        "effects": _effects(report),
        "cannot_separate": list(report.fits.cannot_separate),
        "few": report.assumptions.number("survival.few_events_per_covariate"),
    }


def docks_table(docks: pl.DataFrame) -> pl.DataFrame:
    """One row per dock for a spreadsheet, headings with units."""
    names = dock_words.TABLE_HEADINGS
    return docks.select(pl.col(name).alias(title) for name, title in names.items())


def rates_chart(docks: pl.DataFrame) -> go.Figure:
    """Ring failures per 1000 engine hours at each dock with exact limits."""
    total_h = float(docks["running_h"].sum())
    fleet = 1000 * float(docks["n_failures"].sum()) / total_h
    figure = go.Figure(
        ranges(
            docks["rate"].to_numpy(),
            docks["rate_low"].to_numpy(),
            docks["rate_high"].to_numpy(),
            name=dock_words.PICTURE_RANGE,
        )
    )
    figure.add_vline(x=fleet, line={"color": GREY, "width": 1.5, "dash": "dash"})
    figure.update_layout(**layout(height=84 + 56 * docks.height, legend=False))
    figure.update_xaxes(title_text=dock_words.PICTURE_AXIS, rangemode="tozero")
    rows_axis(
        figure,
        [
            f"{inert(dock)}<br>{count_text(count, 'failure')}"
            for dock, count in docks.select("dock_id", "n_failures").iter_rows()
        ],
    )
    return figure


def _lead(rows: list[dict[str, Any]]) -> str:
    if not rows:
        return dock_words.NO_DOCK
    if len(rows) == 1:
        return dock_words.ONE_DOCK
    top, last = rows[0], rows[-1]
    clear = ", ".join(row["dock_id"] for row in rows if _stands_out(row))
    return dock_words.MOST_AND_FEWEST.format(
        top=top["dock_id"],
        top_rate=_rate(top),
        last=last["dock_id"],
        last_rate=_rate(last),
        finding=dock_words.STANDS_OUT.format(docks=clear) if clear else dock_words.NONE_STANDS_OUT,
    )


def _effects(report: WeekReport) -> list[dict[str, str]]:
    """What goes with failure within docks and between them, factor by factor."""
    level = report.assumptions.number("survival.confidence")
    rows = []
    for effect in report.fits.ring_land.effects(level):
        low, middle, high = effect.between_low, effect.between_ratio, effect.between_high
        if low is None or middle is None or high is None:
            continue
        is_shown = not effect.low <= 1 <= effect.high
        apart = low > 1 and not is_shown
        rows.append(
            {
                "factor": FACTOR_LABELS[effect.name],
                "step": step_text({"factor": effect.name, "step": effect.step}),
                "within": dock_words.ratio_words(effect.low, effect.hazard_ratio, effect.high),
                "between": dock_words.ratio_words(low, middle, high),
                "says": dock_words.HOLDS_WITHIN
                if is_shown
                else dock_words.ONLY_BETWEEN
                if apart
                else dock_words.CANNOT_TELL,
            }
        )
    return rows


def _dock(row: Row) -> dict[str, Any]:
    return {
        "name": row["dock_id"],
        "hulls": count_text(row["n_hulls"], "hull"),
        "sets": count_text(row["n_sets"], "piston set"),
        "hours": number_text(row["running_h"], 0),
        "burned": quantity_text(row["burned_l"], "l"),
        "below": dock_words.AMOUNT_AND_SHARE.format(
            amount=quantity_text(row["below_need_l"], "l"),
            share=share_text(row["below_need_share"]),
        ),
        "unknown": share_text(row["unknown_share"]),
        "age": dock_words.DAYS.format(number=number_text(row["fuel_age_d"], 0)),
        "old": share_text(row["over_28d_share"]),
        "failures": number_text(row["n_failures"], 0),
        "rate": _rate(row),
        "expected": number_text(row["expected"], 1),
        "ratio": dock_words.ratio_words(row["ratio_low"], row["ratio"], row["ratio_high"]),
        "says": dock_words.finding_words(
            row["ratio"], stands_out=_stands_out(row), is_one_grade=row["is_one_grade"]
        ),
    }


def _rate(row: Row) -> str:
    return dock_words.rate_words(row["rate_low"], row["rate"], row["rate_high"], row["n_failures"])


def _stands_out(row: Row) -> bool:
    return row["ratio"] is not None and not row["ratio_low"] <= 1 <= row["ratio_high"]
