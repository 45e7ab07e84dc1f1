"""A hull's record on one time axis: octane margin, fuel age, and what was done."""

from __future__ import annotations

import polars as pl

from ringland.exposure.octane_margin import ROUNDING_ON
from ringland.pages.frame.chart_look import (
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
from ringland.pages.frame.packed_columns import Column, minutes, scaled, texts
from ringland.pages.frame.picture_sketch import Points, Sketch, bind
from ringland.pages.week.hull_timeline import LANES
from ringland.words.manner import manner

TIMELINE = "timeline"
HEIGHT = 560

MARGIN_CLASSES = (
    MarkClass("meets the need", BLUE, "circle"),
    MarkClass("below need, up to 1 octane number", ORANGE, "triangle-down"),
    MarkClass("below need by more than 1", VERMILION, "x"),
)
"""In the order of `shortfall_class`."""

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


def timeline_sketch(turns_after_d: float, old_after_d: float) -> Sketch:
    """The picture's form, the same for every hull.

    Args:
        turns_after_d: age drawn as 'begins to turn'.
        old_after_d: age drawn as 'old'.
    """
    lines = [level_line("y", 0.0, "solid")]
    lines += [level_line("y2", days, "dot") for days in (turns_after_d, old_after_d)]
    return {
        "data": [
            *(_margin_trace(mark, number) for number, mark in enumerate(MARGIN_CLASSES)),
            _age_trace(),
            *(_lane_trace(lane) for lane in LANES),
        ],
        "layout": layout(height=HEIGHT)
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


def timeline_points(exposure: pl.DataFrame, events: pl.DataFrame) -> Points:
    """One hull's points: every rental and every event, none thinned out.

    Args:
        exposure: the hull's `SessionExposure`.
        events: its `hull_events`.
    """
    return Points(
        TIMELINE,
        {"rides": _ride_columns(exposure)}
        | {
            lane: _lane_columns(part)
            for lane in LANES
            if (part := events.filter(pl.col("lane") == lane)).height
        },
        HEIGHT,
    )


def _ride_columns(rides: pl.DataFrame) -> dict[str, Column]:
    return {
        "at": minutes(rides["started_at"]),
        "class": scaled(shortfall_class(rides), 1),
        "margin": scaled(rides["octane_margin_on"], 100),
        "octane": scaled(rides["octane_aki"], 10),
        "need": scaled(rides["octane_need_aki"], 10),
        "hard_h": scaled(rides["hard_running_h"], 100),
        "age_d": scaled(rides["fuel_age_d"], 10),
    }


def _lane_columns(part: pl.DataFrame) -> dict[str, Column]:
    return {
        "at": minutes(part["at"]),
        "lane": texts(part["lane"]),
        "text": texts(pl.Series([inert(text) for text in part["text"]])),
    }


def shortfall_class(rides: pl.DataFrame) -> pl.Series:
    """0 where a ride met its need, 1 below by up to 1 octane number, 2 by more; null unknown."""
    margin = pl.col("octane_margin_on")
    return rides.select(
        pl.when(margin >= -ROUNDING_ON).then(0).when(margin >= -1).then(1).when(margin < -1).then(2)
    ).to_series()


def hover_time() -> str:
    """A point's instant in a hover, in the shop's manner of writing."""
    return f"%{{x|{manner().chart_instant}}}"


def _margin_trace(mark: MarkClass, number: int) -> dict[str, object]:
    return {
        "bind": bind(
            "rides", "margin", where=["class", number], customdata=["octane", "need", "hard_h"]
        ),
        "type": "scatter",
        "name": mark.label,
        "mode": "markers",
        "marker": {"color": mark.colour, "symbol": mark.symbol, "size": 6},
        "hovertemplate": f"{hover_time()}<br>margin %{{y:.1f}}: fuel %{{customdata[0]}} AKI, need "
        "%{customdata[1]} AKI<br>hard running %{customdata[2]} h<extra></extra>",
    }


def _age_trace() -> dict[str, object]:
    return {
        "bind": bind("rides", "age_d"),
        "type": "scatter",
        "yaxis": "y2",
        "name": "age of the fuel burned",
        "mode": "markers",
        "marker": {"color": GREEN, "symbol": "circle-open", "size": 4},
        "hovertemplate": f"{hover_time()}<br>fuel %{{y:.0f}} days old<extra></extra>",
        "showlegend": False,
    }


def _lane_trace(lane: str) -> dict[str, object]:
    mark = LANE_MARKS[lane]
    return {
        "bind": bind(lane, "lane", text="text"),
        "type": "scatter",
        "yaxis": "y3",
        "name": lane,
        "mode": "markers",
        "marker": {
            "color": mark.colour,
            "symbol": mark.symbol,
            "size": 9,
            "line": {"width": 1.5, "color": mark.colour},
        },
        "hovertemplate": f"{hover_time()}<br>{lane}: %{{text}}<extra></extra>",
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
