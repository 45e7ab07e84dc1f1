"""The last eight weeks of a hull on its page: a picture, and the same as a table.

The picture is drawn by the page's own script from the drawing library it has already, when it
comes into view; a page that draws nothing has the table alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from html import escape

import plotly.graph_objects as go

from ringland.dockside.hull_trends import NO_MARK, TITLE, WeekOfHull, state_words
from ringland.pages.frame.chart_look import (
    BLUE,
    GREEN,
    GREY,
    ORANGE,
    PURPLE,
    VERMILION,
    MarkClass,
    layout,
)
from ringland.pages.site.page_pictures import embedded
from ringland.words.number_words import chance_text, day_text, range_text, weekday_text
from ringland.words.state_words import STATE_MARKS

HEIGHT = 300
_HALF_A_WEEK = timedelta(days=3.5)
_NO_CHANCE = "no chance given"
_AXIS = "chance of a failure in 30 days, %"
_SAYS = (
    "What each week's list said then, with its range; a gap is a week whose list is not kept. "
    "A falling line is no clearance to run."
)
_HEADINGS = ("Week of", "State", "Chance in 30 days")
_AS_TABLE = "The same in figures"
_LOOKS = {
    "do_not_rent": (VERMILION, "x"),
    "rent_only": (ORANGE, "triangle-up"),
    "no_open_job": (BLUE, "circle"),
    "not_for_rent": (PURPLE, "line-ew-open"),
    "not_enough_record": (GREY, "diamond-open"),
}


def trend_figure(weeks: Sequence[WeekOfHull]) -> go.Figure:
    """The chance of each week with its range, marked by its state; gaps stay gaps."""
    figure = go.Figure(
        go.Scatter(
            x=[one.monday for one in weeks],
            y=[_percent(one.chance) for one in weeks],
            error_y=_ranges(weeks),
            mode="lines",
            line={"color": GREY, "width": 1.5},
            connectgaps=False,
            hoverinfo="skip",
            showlegend=False,
        )
    )
    for call, mark in _classes(weeks).items():
        mine = [one for one in weeks if one.call == call and one.chance is not None]
        figure.add_trace(
            go.Scatter(
                x=[one.monday for one in mine],
                y=[_percent(one.chance) for one in mine],
                mode="markers",
                marker={
                    "color": mark.colour,
                    "symbol": mark.symbol,
                    "size": 11,
                    "line": {"width": 2, "color": mark.colour},
                },
                name=mark.label,
                text=[_hover(one) for one in mine],
                hovertemplate="%{text}<extra></extra>",
            )
        )
    figure.update_layout(**layout(HEIGHT))
    days = [one.monday for one in weeks]
    figure.update_xaxes(
        type="date",
        range=[days[0] - _HALF_A_WEEK, days[-1] + _HALF_A_WEEK],
        tickvals=days[1::2],  # so many have room on a phone, the newest among them
        ticktext=[weekday_text(one).partition(" ")[2] for one in days[1::2]],
        tickangle=0,
    )
    figure.update_yaxes(title_text=_AXIS, rangemode="tozero")
    return figure


def trend_section(weeks: Sequence[WeekOfHull], *, can_draw: bool) -> str:
    """The section of a hull's page: the picture, if its page draws, and the same as a table."""
    picture = ""
    if can_draw and any(one.chance is not None for one in weeks):
        chart = embedded({"trend": trend_figure(weeks)})["trend"]
        picture = (
            f'<div class="plot" id="chart-trend" role="img" aria-label="{TITLE}: {_AXIS}"'
            f' style="min-height: {chart.height}px"></div>\n'
            f'<script type="application/json" data-chart="chart-trend">{chart.json}</script>\n'
        )
    heads = "".join(f'<th scope="col">{one}</th>' for one in _HEADINGS)
    rows = "\n".join(_row(one) for one in reversed(weeks))
    table = f"<table><thead><tr>{heads}</tr></thead>\n<tbody>\n{rows}\n</tbody></table>"
    if picture:
        table = f"<details><summary>{_AS_TABLE}</summary>\n{table}\n</details>"
    return (
        f'<section class="trend" aria-labelledby="trend">\n<h2 id="trend">{TITLE}</h2>\n'
        f'{picture}<p class="quiet">{_SAYS}</p>\n{table}\n</section>\n'
    )


def _row(one: WeekOfHull) -> str:
    mark = STATE_MARKS.get(one.call or "", NO_MARK)
    chance = ""
    if one.call is not None:
        chance = _NO_CHANCE if one.chance is None else _with_range(one)
    return (
        f'<tr><th scope="row">{escape(day_text(one.monday))}</th>'
        f"<td>{mark} {escape(one.words)}</td><td>{escape(chance)}</td></tr>"
    )


def _with_range(one: WeekOfHull) -> str:
    return f"{chance_text(one.chance)} ({range_text(one.low, one.high)})"


def _classes(weeks: Sequence[WeekOfHull]) -> dict[str, MarkClass]:
    found = dict.fromkeys(one.call for one in weeks if one.call and one.chance is not None)
    looks = {call: _LOOKS.get(call, (GREEN, "square-open")) for call in found}
    return {
        call: MarkClass(state_words(call), colour, symbol)
        for call, (colour, symbol) in looks.items()
    }


def _ranges(weeks: Sequence[WeekOfHull]) -> dict[str, object]:
    def gap(high: float | None, low: float | None) -> float | None:
        return None if high is None or low is None else round(100 * (high - low), 3)

    return {
        "type": "data",
        "symmetric": False,
        "array": [gap(one.high, one.chance) for one in weeks],
        "arrayminus": [gap(one.chance, one.low) for one in weeks],
        "color": GREY,
        "thickness": 1.5,
        "width": 4,
    }


def _percent(chance: float | None) -> float | None:
    return None if chance is None else round(100 * chance, 3)


def _hover(one: WeekOfHull) -> str:
    return f"{day_text(one.monday)}: {one.words}<br>{_with_range(one)}"
