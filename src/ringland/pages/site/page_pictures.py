"""Pictures as they stand in a page: their figures embedded, safe in a script element."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

import plotly.graph_objects as go
from markupsafe import Markup

from ringland.pages.frame.picture_sketch import Points, sketches_script
from ringland.pages.fuel.fuel_charts import TANK, tank_sketch
from ringland.pages.hull.timeline_chart import TIMELINE, timeline_sketch
from ringland.pages.records.hour_line_chart import HOURS, hours_sketch
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class Chart:
    """A figure as it stands in a page: its JSON, safe in a script element, and its height.

    With a sketch the JSON holds its points alone.
    """

    json: Markup
    height: int
    sketch: str = ""


def embedded(figures: Mapping[str, go.Figure | Points]) -> dict[str, Chart]:
    """The figures of a page as they stand in it, by name."""
    return {name: _chart(figure) for name, figure in figures.items()}


def shared_sketches(settings: Assumptions) -> bytes:
    """The script with the forms of the pictures that many pages share."""
    ages = settings.number("fuel.turns_after_d"), settings.number("fuel.old_after_d")
    return sketches_script(
        {TIMELINE: timeline_sketch(*ages), TANK: tank_sketch(*ages), HOURS: hours_sketch()}
    )


def _chart(figure: go.Figure | Points) -> Chart:
    if isinstance(figure, Points):
        text = json.dumps(figure.tables, separators=(",", ":"))
        return Chart(_safe_in_script(text), figure.height, figure.sketch)
    return Chart(_safe_in_script(figure.to_json()), int(figure.layout.height))


def _safe_in_script(text: str) -> Markup:
    for sign in "<>&\u2028\u2029":  # none may end the script element or a line of it
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return Markup(text)  # noqa: S704  # made safe just above
