"""The figure of the fleet this week."""

from __future__ import annotations

import plotly.graph_objects as go
import polars as pl

from ringland.pages.frame.chart_look import BLUE, GREY, ORANGE, VERMILION, inert, layout
from ringland.words.state_words import STATE_SHORT

STATE_COLOURS = {
    "do_not_rent": (VERMILION, "x"),
    "rent_only": (ORANGE, "triangle-up"),
    "no_open_job": (BLUE, "circle"),
    "not_for_rent": (GREY, "line-ew-open"),
    "not_enough_record": (GREY, "diamond-open"),
}


def fleet_chances(chances: pl.DataFrame) -> go.Figure:
    """The chance in 30 days of each hull with its range, the highest on top.

    Args:
        chances: hull_id, call, chance_30d, chance_30d_low, chance_30d_high of the hulls
            with a chance.
    """
    ordered = chances.sort("chance_30d", "hull_id")
    figure = go.Figure()
    for call, (colour, symbol) in STATE_COLOURS.items():
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
                name=STATE_SHORT[call],
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
