"""Figures of a tank over time: level, octane against need, age of the fuel in it."""

from __future__ import annotations

import plotly.graph_objects as go
import polars as pl

from ringland.week_pages.chart_look import (
    BLUE,
    GREEN,
    GREY,
    PURPLE,
    VERMILION,
    MarkClass,
    inert,
    layout,
    pale,
)
from ringland.week_pages.risk_charts import AT, MARGIN_CLASSES, by_shortfall, level_line

UNKNOWN_MARGIN = MarkClass("octane or need not known", GREY, "diamond-open")
WORST = MarkClass("its worst rides", VERMILION, "circle-open")
POURED = {
    "fill": MarkClass("fill", GREEN, "triangle-up"),
    "delivery": MarkClass("delivery", GREEN, "triangle-up"),
    "unrecorded_fill": MarkClass("fill not on record", PURPLE, "diamond-open"),
    "opening_stock": MarkClass("on hand before the record", PURPLE, "square-open"),
    "drain": MarkClass("drained", GREY, "triangle-down-open"),
    "unexplained_outflow": MarkClass("left unexplained", GREY, "x-thin-open"),
}
"""What went in or out beside what was burned or drawn."""


def tank_picture(
    course: pl.DataFrame, turns_after_d: float, old_after_d: float, need_aki: float | None = None
) -> go.Figure:
    """One tank's level, octane with its bounds, and mean fuel age on one time axis.

    Rides of a craft's tank stand on the level they left, coloured and shaped by margin, the
    worst ringed.

    Args:
        course: its events in order: at, event, before_l, after_l, moved_l, octane_aki with
            its bounds, fuel_age_d; for a craft's tank also octane_margin_on, hard_running_h,
            is_worst_hour.
        turns_after_d: age drawn as 'begins to turn'.
        old_after_d: age drawn as 'old'.
        need_aki: need drawn across the octane; by default that of each ride.
    """
    traces = [_level(course)]
    if "octane_margin_on" in course.columns:
        rides = course.filter(pl.col("event") == "session")
        known = rides.filter(pl.col("octane_margin_on").is_not_null())
        unknown = rides.filter(pl.col("octane_margin_on").is_null())
        traces += [
            _rides(mark, part)
            for mark, part in zip(MARGIN_CLASSES, by_shortfall(known), strict=True)
        ]
        traces.append(_rides(UNKNOWN_MARGIN, unknown))
        traces.append(_worst(rides.filter(pl.col("is_worst_hour"))))
    traces += [
        _poured(mark, course.filter(pl.col("event") == event)) for event, mark in POURED.items()
    ]
    traces = [trace for trace in traces if trace["x"]]
    traces += _octane(course)
    traces += _need(course)
    traces.append(_age(course))
    shapes = [level_line("y3", days, "dot") for days in (turns_after_d, old_after_d)]
    if need_aki is not None:
        shapes.append(level_line("y2", need_aki, "dash"))
    return go.Figure(
        {
            "data": traces,
            "layout": layout(height=640)
            | {
                "hovermode": "closest",
                "margin": {"l": 70, "r": 16, "t": 48, "b": 36},
                "shapes": shapes,
                "xaxis": {"type": "date", "anchor": "y3"},
                "yaxis": {
                    "domain": [0.64, 1.0],
                    "title": {"text": "level, l"},
                    "rangemode": "tozero",
                },
                "yaxis2": {"domain": [0.32, 0.58], "title": {"text": "octane, AKI"}},
                "yaxis3": {
                    "domain": [0.0, 0.26],
                    "title": {"text": "age, days"},
                    "rangemode": "tozero",
                },
            },
        }
    )


def _times(part: pl.DataFrame) -> list[str]:
    return list(part["at"].dt.strftime(AT))


def _level(course: pl.DataFrame) -> dict[str, object]:
    """Two points an event, so that the line rises and falls where litres moved."""
    both = (
        course.select("at", litres=pl.concat_list("before_l", "after_l"))
        .explode("litres")
        .with_columns(pl.col("litres").round(1))
    )
    return {
        "type": "scatter",
        "x": _times(both),
        "y": both["litres"].to_numpy(),
        "mode": "lines",
        "line": {"color": GREY, "width": 1},
        "name": "level",
        "showlegend": False,
        "hoverinfo": "skip",
    }


def _rides(mark: MarkClass, part: pl.DataFrame) -> dict[str, object]:
    return {
        "type": "scatter",
        "x": _times(part),
        "y": part["after_l"].round(1).to_numpy(),
        "customdata": part.select(
            pl.col("moved_l").round(0),
            pl.col("octane_margin_on").round(1),
            pl.col("hard_running_h").round(2),
        ).to_numpy(),
        "name": mark.label,
        "mode": "markers",
        "marker": {"color": mark.colour, "symbol": mark.symbol, "size": 7},
        "hovertemplate": "%{x}<br>burned %{customdata[0]} l, %{y} l left<br>margin "
        "%{customdata[1]}, hard running %{customdata[2]} h<extra></extra>",
    }


def _worst(part: pl.DataFrame) -> dict[str, object]:
    return {
        "type": "scatter",
        "x": _times(part),
        "y": part["after_l"].round(1).to_numpy(),
        "name": WORST.label,
        "mode": "markers",
        "marker": {
            "color": WORST.colour,
            "symbol": WORST.symbol,
            "size": 14,
            "line": {"width": 2, "color": WORST.colour},
        },
        "hoverinfo": "skip",
    }


def _poured(mark: MarkClass, part: pl.DataFrame) -> dict[str, object]:
    said = ["" if name is None else f" from {inert(name)}" for name in _sources(part)]
    return {
        "type": "scatter",
        "x": _times(part),
        "y": part["after_l"].round(1).to_numpy(),
        "customdata": part["moved_l"].round(0).to_numpy(),
        "text": said,
        "name": mark.label,
        "mode": "markers",
        "marker": {"color": mark.colour, "symbol": mark.symbol, "size": 8},
        "hovertemplate": f"%{{x}}<br>{mark.label}: %{{customdata}} l%{{text}}<extra></extra>",
    }


def _sources(part: pl.DataFrame) -> list[str | None]:
    if "source_dock_id" not in part.columns:
        return [None] * part.height
    return list(part.select(pl.coalesce("source_dock_id", "source")).to_series())


def _octane(course: pl.DataFrame) -> list[dict[str, object]]:
    bounded = course.filter(pl.col("octane_low_aki").is_not_null())
    known = course.filter(pl.col("octane_aki").is_not_null())
    edge = {
        "type": "scatter",
        "yaxis": "y2",
        "mode": "lines",
        "line": {"width": 0, "shape": "hv", "color": BLUE},
        "showlegend": False,
        "hoverinfo": "skip",
    }
    return [
        edge | {"x": _times(bounded), "y": bounded["octane_high_aki"].round(2).to_numpy()},
        edge
        | {
            "x": _times(bounded),
            "y": bounded["octane_low_aki"].round(2).to_numpy(),
            "fill": "tonexty",
            "fillcolor": pale(BLUE),
        },
        {
            "type": "scatter",
            "yaxis": "y2",
            "x": _times(known),
            "y": known["octane_aki"].round(2).to_numpy(),
            "mode": "lines",
            "line": {"color": BLUE, "width": 1.5, "shape": "hv"},
            "name": "octane in the tank",
            "showlegend": False,
            "hovertemplate": "%{x}<br>%{y:.1f} AKI<extra></extra>",
        },
    ]


def _need(course: pl.DataFrame) -> list[dict[str, object]]:
    """The need each ride was run at, where the course has rides of known margin."""
    if "octane_margin_on" not in course.columns:
        return []
    rides = course.filter(pl.col("octane_margin_on").is_not_null())
    if rides.is_empty():
        return []
    return [
        {
            "type": "scatter",
            "yaxis": "y2",
            "x": _times(rides),
            "y": (rides["octane_aki"] - rides["octane_margin_on"]).round(1).to_numpy(),
            "mode": "lines",
            "line": {"color": GREY, "width": 1.5, "dash": "dash", "shape": "hv"},
            "name": "need",
            "showlegend": False,
            "hovertemplate": "%{x}<br>need %{y:.1f} AKI<extra></extra>",
        }
    ]


def _age(course: pl.DataFrame) -> dict[str, object]:
    """Two points an event, before and after it: fuel ages between fills and is renewed by them."""
    aged = course.filter(pl.col("fuel_age_d").is_not_null())
    waited_d = (pl.col("at") - pl.col("at").shift()).dt.total_seconds() / 86_400
    before = (pl.col("fuel_age_d").shift() + waited_d).fill_null(pl.col("fuel_age_d"))
    both = aged.select("at", age_d=pl.concat_list(before, "fuel_age_d")).explode("age_d")
    return {
        "type": "scatter",
        "yaxis": "y3",
        "x": _times(both),
        "y": both["age_d"].round(1).to_numpy(),
        "mode": "lines",
        "line": {"color": GREEN, "width": 1.5},
        "name": "mean age",
        "showlegend": False,
        "hovertemplate": "%{x}<br>%{y:.0f} days old on average<extra></extra>",
    }
