"""Figures of what the fleet's record shows: survival, cumulative incidence, effects."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go
import polars as pl

from ringland.pages.evidence import evidence_words as said
from ringland.pages.frame.chart_look import (
    BLUE,
    GREEN,
    GREY,
    ORANGE,
    PURPLE,
    VERMILION,
    inert,
    layout,
    pale,
    step_line,
)
from ringland.survival.lives.probability_plot import ProbabilityPlot
from ringland.words.fixed_words import FACTOR_LABELS, MODE_LABELS

MODE_STYLES = {
    "ring_land_fracture": (VERMILION, "solid"),
    "ring_wear": (BLUE, "dash"),
    "head_gasket": (GREEN, "dot"),
    "valve_seal": (PURPLE, "dashdot"),
    "bearing": (ORANGE, "longdash"),
    "water": (GREY, "longdashdot"),
    "foreign_object": (GREEN, "10px 3px"),
    "other": (GREY, "2px 2px"),
}
"""Colours of `chart_look`, which dark pages lighten; where one comes twice the dash tells."""


def survival_curve(steps: pl.DataFrame, smooth: pl.DataFrame, mode: str) -> go.Figure:
    """Kaplan-Meier survival with its band, and the Weibull curve where one was fitted.

    Args:
        steps: at_h, estimate, low, high of one mode; starts at 0 h with 1.
        smooth: at_h, estimate of the fitted Weibull; may be empty.
        mode: the failure mode, for the label.
    """
    colour, _ = MODE_STYLES[mode]
    hours = steps["at_h"].to_numpy()
    figure = go.Figure(
        [
            step_line(hours, steps["high"].to_numpy(), colour, width=0, name="upper", legend=False),
            step_line(
                hours,
                steps["low"].to_numpy(),
                colour,
                width=0,
                name=said.BAND,
                fill="tonexty",
                fillcolor=pale(colour),
            ),
            step_line(hours, steps["estimate"].to_numpy(), colour, width=2.5, name=said.OBSERVED),
        ]
    )
    if smooth.height:
        figure.add_trace(
            go.Scatter(
                x=smooth["at_h"].to_numpy(),
                y=smooth["estimate"].to_numpy().round(5),
                mode="lines",
                line={"color": GREY, "width": 2, "dash": "dash"},
                name=said.FITTED,
            )
        )
    figure.update_layout(**layout(height=340))
    figure.update_xaxes(title_text=said.SINCE_FITTED)
    figure.update_yaxes(title_text=said.SHARE_RUNNING, range=[0, 1.02])
    return figure


PLOT_SHARES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 0.9)
"""Shares failed that the probability plot's axis names."""


def weibull_plot(plot: ProbabilityPlot, mode: str) -> go.Figure:
    """The failures on Weibull axes with the fitted line and its limits.

    Failures that follow the line follow the distribution; a bend says they do not.
    """
    colour, _ = MODE_STYLES[mode]
    line = plot.line.filter(pl.all_horizontal(pl.col("y", "y_low", "y_high").is_finite()))
    ages, points = line["age"].to_numpy().round(1), plot.points
    quiet = {"color": colour, "width": 0}
    figure = go.Figure(
        [
            go.Scatter(
                x=ages, y=line["y_high"].to_numpy().round(4), mode="lines", line=quiet,
                showlegend=False,
            ),
            go.Scatter(
                x=ages, y=line["y_low"].to_numpy().round(4), mode="lines", line=quiet,
                fill="tonexty", fillcolor=pale(colour),
                name=said.LINE_LIMITS.format(percent=f"{100 * plot.confidence:.0f}"),
            ),
            go.Scatter(
                x=ages, y=line["y"].to_numpy().round(4), mode="lines",
                line={"color": GREY, "width": 2, "dash": "dash"}, name=said.FITTED,
            ),
            go.Scatter(
                x=points["age"].to_numpy().round(1), y=points["y"].to_numpy().round(4),
                mode="markers", marker={"color": colour, "size": 8, "symbol": "diamond"},
                name=said.FAILURES,
            ),
        ]
    )  # fmt: skip
    figure.update_layout(**layout(height=340))
    hours = [10, 20, 50, 100, 200, 500, 1000, 2000, 5000]
    figure.update_xaxes(type="log", title_text=said.SINCE_FITTED_LOG, tickvals=hours)
    ticks = np.log(-np.log1p(-np.array(PLOT_SHARES)))
    figure.update_yaxes(
        title_text=said.SHARE_FAILED,
        tickvals=ticks.round(4).tolist(),
        ticktext=[f"{100 * share:.0f} %" for share in PLOT_SHARES],
        zeroline=False,
    )
    return figure


def incidence_curves(steps: pl.DataFrame) -> go.Figure:
    """Cumulative incidence of each failure mode, the others competing.

    Args:
        steps: mode, at_h, estimate.
    """
    figure = go.Figure()
    for mode in [mode for mode in MODE_STYLES if mode in set(steps["mode"])]:
        colour, dash = MODE_STYLES[mode]
        part = steps.filter(pl.col("mode") == mode).sort("at_h")
        figure.add_trace(
            step_line(
                part["at_h"].to_numpy(),
                part["estimate"].to_numpy(),
                colour,
                width=2.5,
                name=MODE_LABELS[mode],
                dash=dash,
            )
        )
    figure.update_layout(**layout(height=380))
    figure.update_xaxes(title_text=said.SINCE_FITTED)
    figure.update_yaxes(title_text=said.SHARE_BY_MODE, rangemode="tozero")
    return figure


def effects_chart(effects: pl.DataFrame, models: Sequence[str]) -> go.Figure:
    """Hazard ratios with their limits on a log axis, the models side by side in own shapes.

    Args:
        effects: model, factor, step_text, hazard_ratio, low, high.
        models: the three models, in order of drawing.
    """
    styles = ((BLUE, "circle"), (GREY, "diamond-open"), (VERMILION, "square-open"))
    factors = effects["factor"].unique(maintain_order=True).to_list()
    figure = go.Figure()
    for place, (model, (colour, symbol)) in enumerate(zip(models, styles, strict=True)):
        part = effects.filter(pl.col("model") == model)
        ratio = part["hazard_ratio"].to_numpy()
        figure.add_trace(
            go.Scatter(
                x=ratio.round(4),
                y=[factors.index(factor) + 0.22 * (place - 1) for factor in part["factor"]],
                error_x={
                    "type": "data",
                    "array": (part["high"].to_numpy() - ratio).round(4),
                    "arrayminus": (ratio - part["low"].to_numpy()).round(4),
                    "color": colour,
                    "thickness": 1.5,
                },
                mode="markers",
                marker={"color": colour, "symbol": symbol, "size": 10},
                name=model,
                hovertemplate="%{x:.2f} times<extra>" + inert(model) + "</extra>",
            )
        )
    figure.add_vline(x=1, line={"color": GREY, "width": 1.5})
    figure.update_layout(**layout(height=150 + 84 * len(factors)))
    figure.update_xaxes(
        type="log", title_text=said.TIMES_THE_HAZARD, tickvals=[0.1, 0.3, 1, 3, 10], tickangle=0
    )
    steps = dict(effects.select("factor", "step_text").iter_rows())
    figure.update_yaxes(
        tickvals=list(range(len(factors))),
        ticktext=["<br>".join(_lines(factor, steps[factor])) for factor in factors],
        range=[len(factors) - 0.5, -0.5],
        zeroline=False,
    )
    return figure


WIDE = 17
"""Characters of a label's line: more would leave a phone no room for the picture."""


def _lines(factor: str, step: str) -> list[str]:
    return [
        inert(line) for text in (FACTOR_LABELS[factor], step) for line in textwrap.wrap(text, WIDE)
    ]
