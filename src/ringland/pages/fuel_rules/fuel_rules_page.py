"""What the fuel-rules page says: what the cheap fuel costs, dock by dock, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
import polars as pl

from ringland.decision.value.fuel_rules import WHOLE_FLEET
from ringland.decision.value.season_rules import SeasonRules
from ringland.pages.fuel_rules import fuel_rule_words
from ringland.pages.fuel_rules.fuel_rule_words import (
    break_even_text,
    fewer_text,
    rule_sentences,
    verdict_words,
)
from ringland.pages.fuel_rules.fuel_rules_charts import price_chart, rules_chart
from ringland.pages.week.week_report import WeekReport
from ringland.risk.unmeasured_confounding import SOURCE
from ringland.words.number_words import (
    currency_text,
    day_text,
    money_text,
    number_text,
    quantity_text,
    unit_price_text,
)

Row = Mapping[str, Any]


def rules_context(report: WeekReport, rules: SeasonRules, control: str) -> dict[str, Any]:
    """Everything the template of the fuel-rules page names; `figures` are Plotly figures.

    Args:
        report: the week.
        rules: as `season_rules` returns them.
        control: what the negative control says.
    """
    currency, settings = report.prices.currency, report.assumptions
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
        "said": fuel_rule_words,
        "problem": rules.problem,
        "span": fuel_rule_words.SPAN.format(
            since=day_text(rules.since), until=day_text(rules.until)
        ),
        "counts_line": fuel_rule_words.counts_words(
            rules.n_failures, fleet.row(0, named=True) if fleet.height else None
        ),
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
        "part_throttle": number_text(settings.number("octane.part_throttle_need_aki"), 0),
        "old_d": number_text(settings.number("fuel.old_after_d"), 0),
    }


def rules_table(rules: SeasonRules, currency: str) -> pl.DataFrame:
    """One row per rule and dock for a spreadsheet, headings with units."""
    names = fuel_rule_words.TABLE_HEADINGS
    return rules.outcomes.select(
        pl.col(name).alias(title.format(currency=currency)) for name, title in names.items()
    )


def _dock(dock: str, part: pl.DataFrame, currency: str) -> dict[str, Any]:
    """One dock's answer: the least grade that meets the stock need, then every rule."""
    rows = part.to_dicts()
    first = next(row for row in rows if row["rule"] == "least_stock")
    if first["better_l"] > 0:
        answer = " ".join(rule_sentences(first, currency, is_fleet=False))
    else:
        answer = fuel_rule_words.BURNED_ALREADY.format(rule=first["label"])
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
        "label": fuel_rule_words.rule_label(row),
        "today": number_text(row["failures_today"], 1),
        "rule": number_text(row["failures_rule"], 1),
        "fewer": fewer_text(row),
        "worth": money_text(row["money_fewer"], currency),
        "jobs": money_text(row["job_cost"], currency) if row["job_cost"] else fuel_rule_words.NONE,
        "litres": quantity_text(row["better_l"], "l") if is_bought else fuel_rule_words.NONE,
        "break_even": break_even_text(row, currency) if is_bought else fuel_rule_words.NO_FUEL,
        "dearer": (
            fuel_rule_words.NO_PRICE
            if is_bought and row["dearer_per_l"] is None
            else unit_price_text(row["dearer_per_l"], currency)
            if is_bought
            else fuel_rule_words.NO_FUEL
        ),
        "verdict": verdict_words(row),
        "kind": row["verdict"].replace(" ", "-"),
    }


def _confounding(row: Row) -> dict[str, str]:
    return {
        "label": fuel_rule_words.rule_label(row),
        "ratio": fuel_rule_words.number_range(row, "risk_ratio", 2),
        "e_value": number_text(row["e_value"], 1),
        "e_value_limit": number_text(row["e_value_limit"], 1),
    }
