"""The picture of one hull's hours: its meters, its rentals, and where the line was mended."""

from __future__ import annotations

import polars as pl

from ringland.pages.frame.chart_look import BLUE, GREEN, GREY, PURPLE, VERMILION, layout
from ringland.pages.frame.packed_columns import minutes, scaled, texts
from ringland.pages.frame.picture_sketch import Points, Sketch, bind
from ringland.pages.records import record_words as said
from ringland.words.manner import manner
from ringland.words.number_words import number_text

HOURS = "hours"
HEIGHT = 460


def hours_sketch() -> Sketch:
    """The form: readings as shown, hours along the meters and by the rentals, their difference."""
    return {
        "data": [
            _line("along", BLUE, "solid", said.HOUR_LINES["along"]),
            _line("rentals", GREEN, "dash", said.HOUR_LINES["rentals"]),
            _marks("line", "shown", GREY, "circle-open", said.HOUR_LINES["shown"]),
            _marks("left_out", "drawn", VERMILION, "x", said.HOUR_LINES["left_out"]),
            _marks("mended", "along", PURPLE, "diamond", said.HOUR_LINES["mended"]),
            _line("residual", BLUE, "solid", said.HOUR_LINES["residual"])
            | {"yaxis": "y2", "showlegend": False},
        ],
        "layout": layout(height=HEIGHT)
        | {
            "hovermode": "closest",
            "margin": {"l": 70, "r": 16, "t": 48, "b": 36},
            "xaxis": {"type": "date", "anchor": "y2", "hoverformat": manner().chart_instant},
            "yaxis": {"domain": [0.36, 1.0], "title": {"text": said.HOURS_AXIS}},
            "yaxis2": {"domain": [0.0, 0.26], "title": {"text": said.DIFFERENCE_AXIS}},
        },
    }


def hours_points(line: pl.DataFrame, left_out: pl.DataFrame) -> Points:
    """One hull's points, to a tenth of an hour.

    Both lines begin at the first good reading's figure.  A reading left out that lies far
    beyond the others stands at the picture's edge, with its own figure beside it.

    Args:
        line: the hull's rows of `HourLine`, at least one.
        left_out: its readings that are not on the line.
    """
    rows = line.sort("read_at").with_columns(
        pl.col("line_h", "rentals_h") + pl.col("meter_h").first()
    )
    high, low = (
        pick(pl.col("meter_h", "line_h", "rentals_h"))
        for pick in (pl.max_horizontal, pl.min_horizontal)
    )
    bottom, top = rows.select(low.min().alias("low"), high.max().alias("high")).row(0)
    edge = top + 0.1 * max(top - bottom, 1.0)
    mended = rows.filter(pl.col("repair").is_not_null())
    tables = {
        "line": {
            "at": minutes(rows["read_at"]),
            "along": scaled(rows["line_h"], 10),
            "rentals": scaled(rows["rentals_h"], 10),
            "shown": scaled(rows["meter_h"], 10),
            "residual": scaled(rows["residual_h"], 10),
        },
        "left_out": {
            "at": minutes(left_out["read_at"]),
            "drawn": scaled(left_out["meter_h"].clip(bottom, edge), 10),
            "said": texts(_figures(left_out["meter_h"])),
        },
        "mended": {
            "at": minutes(mended["read_at"]),
            "along": scaled(mended["line_h"], 10),
            "said": texts(mended["repair"]),
        },
    }
    return Points(HOURS, tables, HEIGHT)


def _figures(hours: pl.Series) -> pl.Series:
    return pl.Series(
        [said.READ_AS.format(hours=number_text(figure)) for figure in hours], dtype=pl.String
    )


def _line(column: str, colour: str, dash: str, name: str) -> dict[str, object]:
    return {
        "bind": bind("line", column),
        "type": "scatter",
        "mode": "lines",
        "line": {"color": colour, "dash": dash, "width": 2},
        "name": name,
    }


def _marks(table: str, column: str, colour: str, symbol: str, name: str) -> dict[str, object]:
    marks: dict[str, object] = {
        "bind": bind(table, column),
        "type": "scatter",
        "mode": "markers",
        "marker": {"color": colour, "symbol": symbol, "size": 5},
        "name": name,
    }
    if table == "line":
        return marks
    return marks | {
        "bind": bind(table, column, text="said"),
        "marker": {"color": colour, "symbol": symbol, "size": 9},
        "hovertemplate": f"%{{x}}<br>{name}: %{{text}}<extra></extra>",
    }
