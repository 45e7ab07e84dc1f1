"""The look every figure shares: colours, marks, text made inert, layout.

Figures carry no template, no clock and no random name, so the same frame gives the same
bytes.  Colours are told apart by the colour-blind and are never the only carrier: every
class also has its own marker or dash.
"""

from __future__ import annotations

import html
from dataclasses import dataclass

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from ringland.words.manner import manner

BLUE, ORANGE, VERMILION, GREEN, GREY, PURPLE = (
    "#0072B2",
    "#B87400",
    "#C2410C",
    "#00795B",
    "#6B7780",
    "#8A4B85",
)
"""After Okabe and Ito's colour-blind-safe set, darkened for contrast on white."""


@dataclass(frozen=True)
class MarkClass:
    """How one class of points is drawn: colour and shape always together."""

    label: str
    colour: str
    symbol: str


def inert(text: object) -> str:
    """Text that Plotly shows as it stands: its markup is escaped."""
    return html.escape(str(text), quote=False)


def step_line(
    hours: NDArray[np.float64],
    values: NDArray[np.float64],
    colour: str,
    *,
    width: float,
    name: str,
    legend: bool = True,
    dash: str = "solid",
    **more: object,
) -> go.Scatter:
    """A step curve: each value holds from its hour to the next."""
    return go.Scatter(
        x=np.round(hours, 2),
        y=np.round(values, 5),
        mode="lines",
        line={"color": colour, "width": width, "shape": "hv", "dash": dash},
        name=name,
        showlegend=legend,
        hoverinfo="skip" if width == 0 else None,
        **more,
    )


def pale(colour: str) -> str:
    """A colour thinned for a band; it keeps its letters, so that dark pages lighten it too."""
    return f"{colour}33"


def layout(height: int, *, legend: bool = True) -> dict[str, object]:
    """The look every figure shares; colours of text and grid are the page's, set there.

    A figure without a legend keeps no room for one.
    """
    return {
        "template": "none",
        "height": height,
        "margin": {"l": 70, "r": 16, "t": 48 if legend else 14, "b": 60},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"size": 13},
        "legend": {"orientation": "h", "y": 1.0, "x": 0, "yanchor": "bottom"},
        "dragmode": False,
        "separators": manner().decimal + manner().thousands,
    }
