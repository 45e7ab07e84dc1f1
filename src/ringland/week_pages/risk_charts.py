"""Figures of one hull and of the fleet this week."""

from __future__ import annotations

import plotly.graph_objects as go
import polars as pl

from ringland.fuel_exposure.octane_margin import ROUNDING_ON
from ringland.week_pages.chart_look import (
    BLUE,
    GREEN,
    GREY,
    ORANGE,
    PURPLE,
    VERMILION,
    MarkClass,
    inert,
    layout,
)
from ringland.week_pages.hull_timeline import LANES
from ringland.wording.fixed_words import CALL_LABELS

AT = "%Y-%m-%d %H:%M"


MARGIN_CLASSES = (
    MarkClass("meets the need", BLUE, "circle"),
    MarkClass("below need, up to 1 octane number", ORANGE, "triangle-down"),
    MarkClass("below need by more than 1", VERMILION, "x"),
)

LANE_MARKS = dict(
    zip(
        LANES,
        (
            MarkClass("Fill", GREY, "line-ns-open"),
            MarkClass("Drain", PURPLE, "triangle-down-open"),
            MarkClass("Test", BLUE, "square-open"),
            MarkClass("Calibration", PURPLE, "diamond"),
            MarkClass("Piston set", GREEN, "star"),
            MarkClass("Failure", VERMILION, "x"),
            MarkClass("Rebuild", GREEN, "hexagon-open"),
        ),
        strict=True,
    )
)

CALL_COLOURS = {
    "keep_off": (VERMILION, "x"),
    "book_check": (ORANGE, "triangle-up"),
    "rent_as_normal": (BLUE, "circle"),
    "not_enough_record": (GREY, "diamond-open"),
}


def exposure_timeline(
    exposure: pl.DataFrame,
    events: pl.DataFrame,
    turns_after_d: float,
    old_after_d: float,
) -> go.Figure:
    """One hull's record on one time axis: octane margin, fuel age, and what was done.

    Built as one literal: a figure put together call by call takes five times as long, and a
    fleet has hundreds.

    Args:
        exposure: the hull's `SessionExposure`.
        events: its `hull_events`.
        turns_after_d: age drawn as 'begins to turn'.
        old_after_d: age drawn as 'old'.
    """
    traces = [
        _margin_trace(mark, part)
        for mark, part in zip(MARGIN_CLASSES, by_shortfall(exposure), strict=True)
    ]
    traces.append(_age_trace(exposure.filter(pl.col("fuel_age_d").is_not_null())))
    traces += [_lane_trace(lane, events.filter(pl.col("lane") == lane)) for lane in LANES]
    lines = [level_line("y", 0.0, "solid")]
    lines += [level_line("y2", days, "dot") for days in (turns_after_d, old_after_d)]
    return go.Figure(
        {
            "data": traces,
            "layout": layout(height=560)
            | {
                "hovermode": "closest",
                "margin": {"l": 70, "r": 16, "t": 48, "b": 36},
                "shapes": lines,
                "xaxis": {"type": "date", "anchor": "y3"},
                "yaxis": {
                    "domain": [0.62, 1.0],
                    "title": {"text": "octane margin"},
                    "zeroline": False,
                },
                "yaxis2": {
                    "domain": [0.36, 0.57],
                    "title": {"text": "age, days"},
                    "rangemode": "tozero",
                },
                "yaxis3": {
                    "domain": [0.0, 0.31],
                    "type": "category",
                    "categoryorder": "array",
                    "categoryarray": list(reversed(LANES)),
                    "dtick": 1,
                    "range": [-0.6, len(LANES) - 0.4],
                },
            },
        }
    )


def _margin_trace(mark: MarkClass, part: pl.DataFrame) -> dict[str, object]:
    return {
        "type": "scatter",
        "x": part["started_at"].dt.strftime(AT).to_list(),
        "y": part["octane_margin_on"].round(2).to_numpy(),
        "customdata": part.select(
            pl.col("octane_aki", "octane_need_aki").round(1), pl.col("hard_running_h").round(2)
        ).to_numpy(),
        "name": mark.label,
        "mode": "markers",
        "marker": {"color": mark.colour, "symbol": mark.symbol, "size": 6},
        "hovertemplate": "%{x}<br>margin %{y:.1f}: fuel %{customdata[0]} AKI, need "
        "%{customdata[1]} AKI<br>hard running %{customdata[2]} h<extra></extra>",
    }


def _age_trace(aged: pl.DataFrame) -> dict[str, object]:
    return {
        "type": "scatter",
        "yaxis": "y2",
        "x": aged["started_at"].dt.strftime(AT).to_list(),
        "y": aged["fuel_age_d"].round(1).to_numpy(),
        "name": "age of the fuel burned",
        "mode": "markers",
        "marker": {"color": GREEN, "symbol": "circle-open", "size": 4},
        "hovertemplate": "%{x}<br>fuel %{y:.0f} days old<extra></extra>",
        "showlegend": False,
    }


def _lane_trace(lane: str, part: pl.DataFrame) -> dict[str, object]:
    mark = LANE_MARKS[lane]
    return {
        "type": "scatter",
        "yaxis": "y3",
        "x": part["at"].dt.strftime(AT).to_list(),
        "y": [lane] * part.height,
        "text": [inert(text) for text in part["text"]],
        "name": lane,
        "mode": "markers",
        "marker": {
            "color": mark.colour,
            "symbol": mark.symbol,
            "size": 9,
            "line": {"width": 1.5, "color": mark.colour},
        },
        "hovertemplate": "%{x}<br>" + lane + ": %{text}<extra></extra>",
        "showlegend": False,
    }


def level_line(axis: str, at: float, dash: str) -> dict[str, object]:
    """A level line across the whole time axis."""
    return {
        "type": "line",
        "xref": "paper",
        "x0": 0,
        "x1": 1,
        "yref": axis,
        "y0": at,
        "y1": at,
        "line": {"color": GREY, "width": 1, "dash": dash},
    }


def by_shortfall(exposure: pl.DataFrame) -> tuple[pl.DataFrame, ...]:
    """Sessions that met the need, fell short by up to 1 octane number, and by more."""
    margin = pl.col("octane_margin_on")
    return (
        exposure.filter(margin >= -ROUNDING_ON),
        exposure.filter((margin < -ROUNDING_ON) & (margin >= -1)),
        exposure.filter(margin < -1),
    )


def fleet_chances(chances: pl.DataFrame) -> go.Figure:
    """The chance in 30 days of each hull with its range, the highest on top.

    Args:
        chances: hull_id, call, chance_30d, chance_30d_low, chance_30d_high of the hulls
            with a chance.
    """
    ordered = chances.sort("chance_30d", "hull_id")
    figure = go.Figure()
    for call, (colour, symbol) in CALL_COLOURS.items():
        part = ordered.filter(pl.col("call") == call)
        if part.is_empty():
            continue
        middle = part["chance_30d"].to_numpy() * 100
        figure.add_trace(
            go.Scatter(
                x=middle.round(3),
                y=[inert(hull) for hull in part["hull_id"]],
                error_x={
                    "type": "data",
                    "array": (part["chance_30d_high"].to_numpy() * 100 - middle).round(3),
                    "arrayminus": (middle - part["chance_30d_low"].to_numpy() * 100).round(3),
                    "color": colour,
                    "thickness": 1.5,
                    "width": 3,
                },
                name=CALL_LABELS[call].replace(" by {day}", ""),
                mode="markers",
                marker={"color": colour, "symbol": symbol, "size": 9},
                hovertemplate="%{y}: %{x:.1f} %<extra></extra>",
            )
        )
    figure.update_layout(**layout(height=140 + 20 * max(4, ordered.height)))
    figure.update_xaxes(title_text="chance of failure in 30 days, %", rangemode="tozero")
    figure.update_yaxes(
        type="category",
        categoryorder="array",
        categoryarray=[inert(hull) for hull in ordered["hull_id"]],
        dtick=1,
    )
    return figure
