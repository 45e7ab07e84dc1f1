"""Figures of a tank over time: level, octane against need, age of the fuel in it."""

from __future__ import annotations

import polars as pl

from ringland.pages.frame.chart_look import (
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
from ringland.pages.frame.packed_columns import Column, minutes, scaled, texts
from ringland.pages.frame.picture_sketch import Points, Sketch, bind
from ringland.pages.hull.timeline_chart import (
    MARGIN_CLASSES,
    hover_time,
    level_line,
    shortfall_class,
)
from ringland.words.number_words import unit_text
from ringland.words.shown_units import shown_factor

TANK = "tank"
HEIGHT = 640
UNKNOWN_MARGIN = MarkClass("octane or need not known", GREY, "diamond-open")
RIDES = (*MARGIN_CLASSES, UNKNOWN_MARGIN)
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


def tank_sketch(turns_after_d: float, old_after_d: float) -> Sketch:
    """The form of one tank's level, octane with its bounds, and mean fuel age on one time axis.

    Rides of a craft's tank stand on the level they left, coloured and shaped by margin, the
    worst ringed.

    Args:
        turns_after_d: age drawn as 'begins to turn'.
        old_after_d: age drawn as 'old'.
    """
    return {
        "data": [
            _level(),
            *(_rides(mark, number) for number, mark in enumerate(RIDES)),
            _worst(),
            *(_poured(mark, event) for event, mark in POURED.items()),
            *_octane(),
            _need(),
            _age(),
        ],
        "layout": layout(height=HEIGHT)
        | {
            "hovermode": "closest",
            "margin": {"l": 70, "r": 16, "t": 48, "b": 36},
            "shapes": [level_line("y3", days, "dot") for days in (turns_after_d, old_after_d)],
            "xaxis": {"type": "date", "anchor": "y3"},
            "yaxis": {
                "domain": [0.64, 1.0],
                "title": {"text": f"level, {unit_text('l')}"},
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


def tank_points(course: pl.DataFrame, need_aki: float | None = None) -> Points:
    """One tank's points: every event of its course, none thinned out.

    Args:
        course: its events in order: at, event, before_l, after_l, moved_l, octane_aki with
            its bounds, fuel_age_d; for a craft's tank also octane_margin_on, hard_running_h,
            is_worst_hour.
        need_aki: need drawn across the octane; by default that of each ride.
    """
    per_l = shown_factor("l")
    is_craft = "octane_margin_on" in course.columns
    tables = {
        "course": {
            "at": minutes(course["at"]),
            "event": texts(course["event"]),
            "before": scaled(course["before_l"] * per_l, 10),
            "after": scaled(course["after_l"] * per_l, 10),
            "moved": scaled(course["moved_l"] * per_l, 1),
            "source": texts(_sources(course)),
            "octane": scaled(course["octane_aki"], 100),
            "low": scaled(course["octane_low_aki"], 100),
            "high": scaled(course["octane_high_aki"], 100),
            "age_d": scaled(course["fuel_age_d"], 10),
            "aged_d": scaled(_age_before(course), 10),
        }
    }
    if is_craft:
        tables["course"] |= _ride_columns(course)
        tables["need"] = _needs(course)
    elif need_aki is not None:
        ends = course["at"].sort()[[0, -1]]
        tables["need"] = {"at": minutes(ends), "need": scaled(pl.Series([need_aki] * 2), 10)}
    return Points(TANK, tables, HEIGHT)


def _ride_columns(course: pl.DataFrame) -> dict[str, Column]:
    is_ride = course["event"] == "session"
    marks = shortfall_class(course).fill_null(len(MARGIN_CLASSES))
    return {
        "ride": scaled(marks.set(~is_ride, None), 1),
        "margin": scaled(course["octane_margin_on"], 10),
        "hard_h": scaled(course["hard_running_h"], 100),
        "worst": scaled((is_ride & course["is_worst_hour"].fill_null(value=False)), 1),
    }


def _needs(course: pl.DataFrame) -> dict[str, Column]:
    """The need each ride was run at: where it changed and at the last ride, for a stepped line."""
    rides = course.filter(
        (pl.col("event") == "session") & pl.col("octane_margin_on").is_not_null()
    ).select("at", need=(pl.col("octane_aki") - pl.col("octane_margin_on")).round(1))
    is_last = pl.int_range(pl.len()) == pl.len() - 1
    turns = rides.filter(pl.col("need").ne_missing(pl.col("need").shift()) | is_last)
    return {"at": minutes(turns["at"]), "need": scaled(turns["need"], 10)}


def _age_before(course: pl.DataFrame) -> pl.Series:
    """Mean age just before each event: fuel ages between fills and is renewed by them."""
    waited_d = (pl.col("at") - pl.col("at").shift()).dt.total_seconds() / 86_400
    before = (pl.col("fuel_age_d").shift() + waited_d).fill_null(pl.col("fuel_age_d"))
    is_known = pl.col("fuel_age_d").is_not_null()
    return course.select(pl.when(is_known).then(before)).to_series()


def _sources(course: pl.DataFrame) -> pl.Series:
    """Where each event's litres came from, as the end of a sentence."""
    if "source_dock_id" not in course.columns:
        return pl.Series([""] * course.height, dtype=pl.String)
    named = course.select(pl.coalesce("source_dock_id", "source")).to_series()
    return pl.Series(
        ["" if name is None else f" from {inert(name)}" for name in named], dtype=pl.String
    )


def _level() -> dict[str, object]:
    """Two points an event, so that the line rises and falls where litres moved."""
    return {
        "bind": bind("course", ["before", "after"]),
        "type": "scatter",
        "mode": "lines",
        "line": {"color": GREY, "width": 1},
        "name": "level",
        "showlegend": False,
        "hoverinfo": "skip",
    }


def _rides(mark: MarkClass, number: int) -> dict[str, object]:
    litres = unit_text("l")
    return {
        "bind": bind(
            "course", "after", where=["ride", number], customdata=["moved", "margin", "hard_h"]
        ),
        "type": "scatter",
        "name": mark.label,
        "mode": "markers",
        "marker": {"color": mark.colour, "symbol": mark.symbol, "size": 7},
        "hovertemplate": f"{hover_time()}<br>burned %{{customdata[0]}} {litres}, %{{y}} {litres} "
        "left<br>margin %{customdata[1]}, hard running %{customdata[2]} h<extra></extra>",
    }


def _worst() -> dict[str, object]:
    return {
        "bind": bind("course", "after", where=["worst", 1]),
        "type": "scatter",
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


def _poured(mark: MarkClass, event: str) -> dict[str, object]:
    return {
        "bind": bind(
            "course", "after", where=["event", event], customdata=["moved"], text="source"
        ),
        "type": "scatter",
        "name": mark.label,
        "mode": "markers",
        "marker": {"color": mark.colour, "symbol": mark.symbol, "size": 8},
        "hovertemplate": f"{hover_time()}<br>{mark.label}: %{{customdata[0]}} {unit_text('l')}"
        "%{text}<extra></extra>",
    }


def _octane() -> list[dict[str, object]]:
    edge = {
        "type": "scatter",
        "yaxis": "y2",
        "mode": "lines",
        "line": {"width": 0, "shape": "hv", "color": BLUE},
        "showlegend": False,
        "hoverinfo": "skip",
    }
    return [
        edge | {"bind": bind("course", "high")},
        edge | {"bind": bind("course", "low"), "fill": "tonexty", "fillcolor": pale(BLUE)},
        {
            "bind": bind("course", "octane"),
            "type": "scatter",
            "yaxis": "y2",
            "mode": "lines",
            "line": {"color": BLUE, "width": 1.5, "shape": "hv"},
            "name": "octane in the tank",
            "showlegend": False,
            "hovertemplate": f"{hover_time()}<br>%{{y:.1f}} AKI<extra></extra>",
        },
    ]


def _need() -> dict[str, object]:
    return {
        "bind": bind("need", "need"),
        "type": "scatter",
        "yaxis": "y2",
        "mode": "lines",
        "line": {"color": GREY, "width": 1.5, "dash": "dash", "shape": "hv"},
        "name": "need",
        "showlegend": False,
        "hovertemplate": f"{hover_time()}<br>need %{{y:.1f}} AKI<extra></extra>",
    }


def _age() -> dict[str, object]:
    """Two points an event, before and after it."""
    return {
        "bind": bind("course", ["aged_d", "age_d"]),
        "type": "scatter",
        "yaxis": "y3",
        "mode": "lines",
        "line": {"color": GREEN, "width": 1.5},
        "name": "mean age",
        "showlegend": False,
        "hovertemplate": f"{hover_time()}<br>%{{y:.0f}} days old on average<extra></extra>",
    }
