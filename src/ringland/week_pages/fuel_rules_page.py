"""What the fuel-rules page says: what the cheap fuel costs, dock by dock, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
import polars as pl

from ringland.fleet_risk.unmeasured_confounding import SOURCE
from ringland.service_week.fuel_rules import WHOLE_FLEET
from ringland.service_week.season_rules import SeasonRules
from ringland.week_pages.fuel_rule_words import (
    break_even_text,
    fewer_text,
    rule_sentences,
    verdict_words,
)
from ringland.week_pages.fuel_rules_charts import price_chart, rules_chart
from ringland.week_pages.week_report import WeekReport
from ringland.wording.number_words import (
    count_text,
    currency_text,
    day_text,
    money_text,
    number_text,
    quantity_text,
    unit_price_text,
    unit_text,
)

Row = Mapping[str, Any]


def rules_context(report: WeekReport, rules: SeasonRules, control: str) -> dict[str, Any]:
    """Everything the template of the fuel-rules page names; `figures` are Plotly figures.

    Args:
        report: the week.
        rules: as `season_rules` returns them.
        control: what the negative control says.
    """
    currency = report.prices.currency
    table = rules.outcomes
    fleet = table.filter(pl.col("dock_id") == WHOLE_FLEET)
    docks = table.filter(pl.col("dock_id") != WHOLE_FLEET)
    bought = docks.filter(
        (pl.col("better_l") > 0)
        & pl.col("break_even_per_l").is_not_null()
        & pl.col("rule").is_in(("least_stock", "least_raised"))
    ).sort("dock_id", "label")
    figures: dict[str, go.Figure] = {}
    if fleet.height:
        figures["rules"] = rules_chart(fleet)
    if bought.height:
        figures["prices"] = price_chart(bought, currency_text(currency))
    return {
        "figures": figures,
        "problem": rules.problem,
        "span": f"{day_text(rules.since)} to {day_text(rules.until)}",
        "counts_line": _counts_line(rules, fleet),
        "docks": [
            _dock(dock, part, currency)
            for (dock,), part in docks.partition_by(
                "dock_id", as_dict=True, maintain_order=True
            ).items()
        ],
        "fleet": [_line(row, currency) for row in fleet.iter_rows(named=True)],
        "cannot_separate": sorted(set(table["cannot_separate"].drop_nulls())),
        "confounding": [_confounding(row) for row in fleet.iter_rows(named=True)],
        "confounding_source": SOURCE,
        "control": control,
        "volume_unit": unit_text("l"),
    }


def rules_table(rules: SeasonRules, currency: str) -> pl.DataFrame:
    """One row per rule and dock for a spreadsheet, headings with units."""
    names = {
        "label": "rule",
        "dock_id": "dock",
        "failures_seen": "failures seen in the year (count)",
        "running_h": "running in the year (engine h)",
        "failures_today": "failures expected, fuel as it was (count)",
        "failures_rule": "failures expected under the rule (count)",
        "failures_fewer": "fewer failures (count)",
        "failures_fewer_low": "fewer failures, low (count)",
        "failures_fewer_high": "fewer failures, high (count)",
        "money_fewer": f"price of those failures ({currency})",
        "job_cost": f"cost of the rule's jobs ({currency})",
        "better_l": "litres to be of a better grade (l)",
        "break_even_per_l": f"break-even price step ({currency}/l)",
        "break_even_low": f"break-even price step, low ({currency}/l)",
        "break_even_high": f"break-even price step, high ({currency}/l)",
        "dearer_per_l": f"price step as paid ({currency}/l)",
        "net_money": f"left over after jobs and fuel ({currency})",
        "net_low": f"left over, low ({currency})",
        "net_high": f"left over, high ({currency})",
        "risk_ratio": "failures today over under the rule (ratio)",
        "risk_ratio_low": "ratio, low (ratio)",
        "risk_ratio_high": "ratio, high (ratio)",
        "e_value": "E-value (risk ratio)",
        "e_value_limit": "E-value of the nearer limit (risk ratio)",
        "verdict": "verdict",
        "cannot_separate": "cannot separate",
    }
    return rules.outcomes.select(pl.col(name).alias(title) for name, title in names.items())


def _counts_line(rules: SeasonRules, fleet: pl.DataFrame) -> str:
    behind = f"Behind every figure stand {count_text(rules.n_failures, 'ring failure')} on record"
    if fleet.is_empty():
        return f"{behind}."
    row = fleet.row(0, named=True)
    return (
        f"{behind}; {row['failures_seen']} of them fell in this year, where the model expects "
        f"{number_text(row['failures_today'], 1)} over {number_text(row['running_h'], 0)} engine "
        f"hours. Ring failures are ring-land fracture and ring wear."
    )


def _dock(dock: str, part: pl.DataFrame, currency: str) -> dict[str, Any]:
    """One dock's answer: the least grade that meets the stock need, then every rule."""
    rows = part.to_dicts()
    first = next(row for row in rows if row["rule"] == "least_stock")
    if first["better_l"] > 0:
        answer = " ".join(rule_sentences(first, currency))
    else:
        answer = f"{first['label']} is what its hulls burned already: nothing to change."
    return {
        "name": dock,
        "verdict": verdict_words(first),
        "is_clear": first["verdict"] == "pays",
        "answer": answer,
        "cannot_separate": first["cannot_separate"],
        "rows": [_line(row, currency) for row in rows],
    }


def _line(row: Row, currency: str) -> dict[str, Any]:
    """One row of a table of rules, in words."""
    is_bought = row["better_l"] > 0
    return {
        "label": row["label"].replace(" at every dock", ""),
        "today": number_text(row["failures_today"], 1),
        "rule": number_text(row["failures_rule"], 1),
        "fewer": fewer_text(row),
        "worth": money_text(row["money_fewer"], currency),
        "jobs": money_text(row["job_cost"], currency) if row["job_cost"] else "none",
        "litres": quantity_text(row["better_l"], "l") if is_bought else "none",
        "break_even": break_even_text(row, currency) if is_bought else "no fuel to buy",
        "dearer": (
            "no price on record"
            if is_bought and row["dearer_per_l"] is None
            else unit_price_text(row["dearer_per_l"], currency)
            if is_bought
            else "no fuel to buy"
        ),
        "verdict": verdict_words(row),
        "kind": row["verdict"].replace(" ", "-"),
    }


def _confounding(row: Row) -> dict[str, str]:
    return {
        "label": row["label"].replace(" at every dock", ""),
        "ratio": f"{number_text(row['risk_ratio'], 2)} "
        f"({number_text(row['risk_ratio_low'], 2)} to {number_text(row['risk_ratio_high'], 2)})",
        "e_value": number_text(row["e_value"], 1),
        "e_value_limit": number_text(row["e_value_limit"], 1),
    }
