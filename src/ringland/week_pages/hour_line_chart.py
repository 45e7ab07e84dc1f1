"""The picture of one hull's hours: its meters, its rentals, and where the line was mended."""

from __future__ import annotations

import plotly.graph_objects as go
import polars as pl

from ringland.week_pages.chart_look import BLUE, GREEN, GREY, PURPLE, VERMILION, layout

HEIGHT = 460
MOST_READINGS = 80
"""More are thinned evenly; the first, the last and every repair stay."""


def hour_line_chart(line: pl.DataFrame, left_out: pl.DataFrame) -> go.Figure:
    """Readings as shown, hours along the meters, hours by the rentals, and their difference.

    Both lines begin at the first good reading's figure.  A reading left out that lies far
    beyond the others stands at the picture's edge, with its figure beside it.

    Args:
        line: one hull's rows of `HourLine`, at least one.
        left_out: its readings that are not on the line.
    """
    rows = _thinned(line.sort("read_at"))
    base = rows["meter_h"][0]
    top = max(rows["meter_h"].max(), base + rows["line_h"].max())
    top = base + 1.12 * max(top - base, 1.0)
    bottom = min(base, float(rows["meter_h"].min()))  # type: ignore[arg-type]
    at = _instants(rows["read_at"])
    mended = rows.filter(pl.col("repair").is_not_null())
    figure = go.Figure(
        [
            _line(at, base + rows["line_h"], BLUE, "solid", "along its meters"),
            _line(at, base + rows["rentals_h"], GREEN, "dash", "by its rentals"),
            _marks(at, rows["meter_h"], GREY, "circle-open", "meter as shown"),
            _marks(
                _instants(left_out["read_at"]),
                left_out["meter_h"].clip(bottom, top),
                VERMILION,
                "x",
                "left out",
                [f"{hours:,.1f} h" for hours in left_out["meter_h"]],
            ),
            _marks(
                _instants(mended["read_at"]),
                base + mended["line_h"],
                PURPLE,
                "diamond",
                "carried on",
                mended["repair"].to_list(),
            ),
            _line(at, rows["residual_h"], BLUE, "solid", "difference")
            | {"yaxis": "y2", "showlegend": False},
        ]
    )
    figure.update_layout(**layout(height=HEIGHT), hovermode="closest")
    figure.update_layout(
        xaxis={"type": "date", "anchor": "y2"},
        yaxis={"domain": [0.36, 1.0], "title": {"text": "hours"}},
        yaxis2={"domain": [0.0, 0.26], "title": {"text": "difference, h"}},
    )
    return figure


def _thinned(rows: pl.DataFrame) -> pl.DataFrame:
    step = -(-rows.height // MOST_READINGS)
    place = pl.int_range(pl.len())
    keep = (place % step == 0) | (place == pl.len() - 1) | pl.col("repair").is_not_null()
    return rows.filter(keep)


def _instants(at: pl.Series) -> list[str]:
    return at.dt.strftime("%Y-%m-%d %H:%M").to_list()


def _line(at: list[str], hours: pl.Series, colour: str, dash: str, name: str) -> dict[str, object]:
    return {
        "type": "scatter",
        "mode": "lines",
        "x": at,
        "y": hours.round(1).to_list(),
        "line": {"color": colour, "dash": dash, "width": 2},
        "name": name,
    }


def _marks(  # noqa: PLR0917 - one mark class in the order it is drawn from
    at: list[str],
    hours: pl.Series,
    colour: str,
    symbol: str,
    name: str,
    words: list[str] | None = None,
) -> dict[str, object]:
    marks: dict[str, object] = {
        "type": "scatter",
        "mode": "markers",
        "x": at,
        "y": hours.round(1).to_list(),
        "marker": {"color": colour, "symbol": symbol, "size": 9 if words else 5},
        "name": name,
        "showlegend": bool(at),
    }
    return marks | ({"text": words, "hovertemplate": "%{x}<br>%{text}"} if words else {})
