"""What the dock comparison says: fuel and failures side by side, and what cannot be told."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
import polars as pl

from ringland.week_pages.chart_look import GREY, inert, layout
from ringland.week_pages.fuel_rules_charts import ranges, rows_axis
from ringland.week_pages.week_report import WeekReport
from ringland.wording.number_words import (
    count_text,
    number_text,
    quantity_text,
    share_text,
)

Row = Mapping[str, Any]


def docks_context(report: WeekReport, docks: pl.DataFrame) -> dict[str, Any]:
    """Everything the template of the dock comparison names; `figures` are Plotly figures.

    Args:
        report: the week.
        docks: `DockRows`.
    """
    figures = {"rates": rates_chart(docks)} if docks.height else {}
    rows = docks.to_dicts()
    return {
        "figures": figures,
        "lead": _lead(rows),
        "docks": [_dock(row) for row in rows],
        "few": report.assumptions.number("survival.few_events_per_covariate"),
    }


def docks_table(docks: pl.DataFrame) -> pl.DataFrame:
    """One row per dock for a spreadsheet, headings with units."""
    names = {
        "dock_id": "dock",
        "n_hulls": "hulls (count)",
        "n_sets": "piston sets (count)",
        "running_h": "running (engine h)",
        "burned_l": "burned (l)",
        "below_need_l": "burned below need (l)",
        "below_need_share": "below need (share of 1)",
        "unknown_share": "octane not on record (share of 1)",
        "fuel_age_d": "mean fuel age (d)",
        "over_28d_share": "older than 28 d (share of 1)",
        "n_failures": "ring failures (count)",
        "rate": "ring failures per 1000 engine h",
        "rate_low": "per 1000 engine h, low",
        "rate_high": "per 1000 engine h, high",
        "expected": "expected with its fuel and use (count)",
        "ratio": "seen over expected (ratio)",
        "ratio_low": "ratio, low (ratio)",
        "ratio_high": "ratio, high (ratio)",
        "is_one_grade": "burned one grade only",
    }
    return docks.select(pl.col(name).alias(title) for name, title in names.items())


def rates_chart(docks: pl.DataFrame) -> go.Figure:
    """Ring failures per 1000 engine hours at each dock with exact limits."""
    total_h = float(docks["running_h"].sum())
    fleet = 1000 * float(docks["n_failures"].sum()) / total_h
    figure = go.Figure(
        ranges(
            docks["rate"].to_numpy(),
            docks["rate_low"].to_numpy(),
            docks["rate_high"].to_numpy(),
            name="with exact limits",
        )
    )
    figure.add_vline(x=fleet, line={"color": GREY, "width": 1.5, "dash": "dash"})
    figure.update_layout(**layout(height=84 + 56 * docks.height, legend=False))
    figure.update_xaxes(title_text="ring failures per 1,000 engine h", rangemode="tozero")
    rows_axis(
        figure,
        [
            f"{inert(dock)}<br>{count_text(count, 'failure')}"
            for dock, count in docks.select("dock_id", "n_failures").iter_rows()
        ],
    )
    return figure


def _lead(rows: list[dict[str, Any]]) -> str:
    if not rows:
        return "No dock has running on record yet."
    if len(rows) == 1:
        return "One dock: there is nothing to compare it with."
    top, last = rows[0], rows[-1]
    clear = [row for row in rows if _stands_out(row)]
    more = (
        f"Most ring failures per engine hour: {top['dock_id']}, "
        f"{_rate(top)} per 1,000 engine hours; fewest: {last['dock_id']}, {_rate(last)}. "
    )
    if clear:
        names = ", ".join(row["dock_id"] for row in clear)
        return f"{more}Beyond its fuel and use, {names} stands out from the fleet."
    return (
        f"{more}Once each dock's fuel, use, calibrations and set ages are counted, no dock can be "
        f"told from the rest of the fleet."
    )


def _dock(row: Row) -> dict[str, Any]:
    return {
        "name": row["dock_id"],
        "hulls": count_text(row["n_hulls"], "hull"),
        "sets": count_text(row["n_sets"], "piston set"),
        "hours": number_text(row["running_h"], 0),
        "burned": quantity_text(row["burned_l"], "l"),
        "below": f"{quantity_text(row['below_need_l'], 'l')} "
        f"({share_text(row['below_need_share'])})",
        "unknown": share_text(row["unknown_share"]),
        "age": f"{number_text(row['fuel_age_d'], 0)} days",
        "old": share_text(row["over_28d_share"]),
        "failures": number_text(row["n_failures"], 0),
        "rate": _rate(row),
        "expected": number_text(row["expected"], 1),
        "ratio": _ratio(row),
        "says": _says(row),
    }


def _rate(row: Row) -> str:
    low, middle, high = (number_text(row[name], 2) for name in ("rate_low", "rate", "rate_high"))
    return f"{middle} ({low} to {high}; {count_text(row['n_failures'], 'failure')})"


def _ratio(row: Row) -> str:
    if row["ratio"] is None:
        return "not known: no hazard could be estimated"
    low, middle, high = (number_text(row[f"ratio{end}"], 2) for end in ("_low", "", "_high"))
    return f"{middle} ({low} to {high})"


def _stands_out(row: Row) -> bool:
    return row["ratio"] is not None and not row["ratio_low"] <= 1 <= row["ratio_high"]


def _says(row: Row) -> str:
    """What the ratio says, with the two ways in which it may say nothing."""
    if row["ratio"] is None:
        return "cannot tell"
    told = (
        ("more than its fuel and use explain" if row["ratio"] > 1 else "fewer than expected")
        if _stands_out(row)
        else "cannot tell from the fleet"
    )
    if row["is_one_grade"]:
        return f"{told}; it burned one grade, so dock and fuel cannot be separated"
    return told
