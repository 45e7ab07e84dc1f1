"""Counts, tables and drawings as the Dagster page shows them beside an asset.

Nothing here imports Dagster, so that a step can be run without it (`ringland today`);
`weekly.assets.on_page` makes of them what its page takes.
"""

import base64
from typing import Any, NamedTuple

import polars as pl

from ringland.reports.plot_panel import Panel, Style, round_ticks
from ringland.reports.plot_panel import picture as drawing


class Markdown(NamedTuple):
    """What the page shows as Markdown."""

    text: str


Figures = dict[str, Any]
"""What stands beside an asset, by name."""

LISTED = 12
"""Rows of a table shown in an asset's metadata."""


def rows(count: int) -> Figures:
    """The count that the page shows beside an asset's name."""
    return {"dagster/row_count": count}


def table(frame: pl.DataFrame, most: int = LISTED) -> Markdown:
    """The first rows as a Markdown table; what a record says cannot act in it."""
    shown = frame.head(most)
    lines = [
        "| " + " | ".join(shown.columns) + " |",
        "|" + "|".join("--:" if kind.is_numeric() else "---" for kind in shown.dtypes) + "|",
        *("| " + " | ".join(_cell(value) for value in row) + " |" for row in shown.iter_rows()),
    ]
    if frame.height > most:
        lines += ["", f"{most} of {frame.height} rows"]
    return Markdown("\n".join(lines))


def picture(svg: bytes, label: str) -> Markdown:
    """A drawing as it stands in the run's page."""
    return Markdown(f"![{label}](data:image/svg+xml;base64,{base64.b64encode(svg).decode()})")


_ACTIVE = str.maketrans({sign: f"\\{sign}" for sign in "\\`*_{}[]()<>#|!~"})


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.4g}"
    return " ".join(str(value).split()).translate(_ACTIVE)


_LINE = Style("line", "#0a5a78", "dot")
_LIMIT = Style("limit", "#8fb3c2", "dot")


def survival_picture(steps: pl.DataFrame) -> bytes:
    """Share of sets not yet failed by hours, with its limits.

    Args:
        steps: at_h, estimate, low, high, from 0 h.
    """
    last_h = max(1.0, float(steps["at_h"].to_numpy().max())) if steps.height else 1.0
    panel = Panel(60.0, 560.0, 30.0, 205.0, (0.0, last_h), (0.0, 1.0))
    panel.frame("Ring lands still whole", "engine hours of the piston set", "share of sets")
    panel.x_ticks(round_ticks(*panel.x_range))
    panel.y_ticks()
    for style, name in ((_LIMIT, "low"), (_LIMIT, "high"), (_LINE, "estimate")):
        values = steps.select("at_h", name).drop_nulls().rows()
        followed = [*values[1:], (last_h, None)] if values else []  # no set on record: no line
        corners = [
            corner
            for now, then in zip(values, followed, strict=True)
            for corner in (now, (then[0], now[1]))
        ]
        if corners:
            panel.line(style, corners)
    return drawing(600.0, 250.0, [panel])


def below_need_picture(exposure: pl.DataFrame) -> bytes:
    """Share of each month's rentals whose fuel fell short of the need, where that is known."""
    months = (
        exposure.filter(pl.col("shortfall_on").is_not_null())
        .group_by(month=pl.col("started_at").dt.truncate("1mo"), maintain_order=True)
        .agg(share=(pl.col("shortfall_on") > 0).mean())
        .sort("month")
    )
    ticks = [(float(at), f"{month:%b %Y}") for at, month in enumerate(months["month"])]
    panel = Panel(60.0, 720.0, 30.0, 205.0, (-0.5, max(1.0, months.height - 0.5)), (0.0, 1.0))
    panel.frame("Rentals below need", "", "share of the month's")
    panel.x_ticks(ticks[:: max(1, len(ticks) // 8)])
    panel.y_ticks()
    values = [(float(at), float(share)) for at, share in enumerate(months["share"])]
    if values:
        panel.line(_LINE, values)
        panel.points(_LINE, values)
    return drawing(740.0, 250.0, [panel])
