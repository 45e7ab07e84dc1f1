"""Pictures of the fuel rules: fewer failures by rule, and the price step against what was paid."""

from __future__ import annotations

import textwrap

import numpy as np
import plotly.graph_objects as go
import polars as pl

from ringland.pages.frame.chart_look import BLUE, GREY, VERMILION, inert, layout
from ringland.words.number_words import number_text
from ringland.words.shown_units import price_factor, volume_noun

WIDE = 17
"""Characters of a label's line: more would leave a phone no room for the picture."""


def rules_chart(fleet: pl.DataFrame) -> go.Figure:
    """Fewer failures over the year under each rule, with its range; right of nothing is fewer.

    Args:
        fleet: rows of `SeasonRuleOutcomes` over the whole fleet.
    """
    labels = [_lines(label.replace(" at every dock", "")) for label in fleet["label"]]
    figure = go.Figure(
        ranges(
            fleet["failures_fewer"].to_numpy(),
            fleet["failures_fewer_low"].to_numpy(),
            fleet["failures_fewer_high"].to_numpy(),
            name="fewer failures, with range",
            hover=[f"{number_text(value, 1)} fewer" for value in fleet["failures_fewer"]],
        )
    )
    figure.add_vline(x=0, line={"color": GREY, "width": 1.5})
    figure.update_layout(**layout(height=80 + 70 * fleet.height, legend=False))
    figure.update_xaxes(title_text="fewer ring failures a year")
    rows_axis(figure, labels)
    return figure


def price_chart(bought: pl.DataFrame, currency: str) -> go.Figure:
    """The price step at which each least grade breaks even, beside the step as paid.

    Args:
        bought: rows of `SeasonRuleOutcomes` of docks with fuel to buy, in order of drawing.
        currency: as written beside amounts.
    """
    factor = price_factor()
    labels = [
        f"{inert(dock)}<br>{_lines(label.replace(' at every dock', ''))}"
        for dock, label in bought.select("dock_id", "label").iter_rows()
    ]
    figure = go.Figure(
        ranges(
            bought["break_even_per_l"].to_numpy() * factor,
            bought["break_even_low"].to_numpy() * factor,
            bought["break_even_high"].to_numpy() * factor,
            name="breaks even at, with range",
        )
    )
    paid = bought["dearer_per_l"].is_not_null().to_numpy()
    figure.add_trace(
        go.Scatter(
            x=(bought["dearer_per_l"].to_numpy()[paid] * factor).round(4),
            y=np.flatnonzero(paid),
            mode="markers",
            marker={"color": VERMILION, "symbol": "diamond", "size": 11},
            name="dearer as paid",
        )
    )
    figure.add_vline(x=0, line={"color": GREY, "width": 1.5})
    figure.update_layout(**layout(height=130 + 70 * bought.height))
    figure.update_xaxes(title_text=f"price step ({inert(currency)} a {volume_noun()})")
    rows_axis(figure, labels)
    return figure


def ranges(
    middle: np.ndarray,
    low: np.ndarray,
    high: np.ndarray,
    *,
    name: str,
    hover: list[str] | None = None,
) -> go.Scatter:
    """Points with their ranges lying, one a row from the top."""
    return go.Scatter(
        x=middle.round(4),
        y=np.arange(len(middle)),
        error_x={
            "type": "data",
            "symmetric": False,
            "array": (high - middle).round(4),
            "arrayminus": (middle - low).round(4),
            "color": BLUE,
            "thickness": 2,
        },
        mode="markers",
        marker={"color": BLUE, "symbol": "square", "size": 10},
        name=name,
        text=hover,
        hovertemplate="%{text}<extra></extra>" if hover else None,
    )


def rows_axis(figure: go.Figure, labels: list[str]) -> None:
    """Name the rows of a lying picture, the first on top; labels are inert already."""
    figure.update_yaxes(
        tickvals=list(range(len(labels))),
        ticktext=labels,
        range=[len(labels) - 0.4, -0.6],
        zeroline=False,
    )


def _lines(label: str) -> str:
    return "<br>".join(inert(line) for line in textwrap.wrap(label, WIDE))
