"""What the cheap fuel cost: the rules worth comparing, over the last year's own use and prices.

`fuel_rules` says what failures go with one rule.  Here stand which rules are compared, the
range that fuel missing from the record adds, and what the better fuel would have cost at the
prices the docks paid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import dataframely as dy
import polars as pl

from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.action_prices import Prices, as_on_record
from ringland.decision.value.fuel_rules import (
    WHOLE_FLEET,
    FuelRule,
    RuleOutcomes,
    compare_fuel_rules,
)
from ringland.decision.value.hazard_ahead import CumulativeHazard
from ringland.exposure.factor_registry import BOUNDS
from ringland.risk.fleet_hazard import MODES_AT_STAKE, with_bound
from ringland.risk.unmeasured_confounding import e_value_with_limit
from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import plain_text

BENEFITS = (0.0, 1.0)
"""Shares of a booster's labelled numbers its range holds: nobody measured what is in the bottle."""

VERDICTS = ("pays", "does not pay", "cannot tell", "no price", "nothing to buy")


class SeasonRuleOutcomes(RuleOutcomes):
    """One row per rule and dock (and the whole fleet): what the rule goes with, and its price."""

    label = dy.String(description="the rule in words")
    failures_seen = dy.Int64(min=0, description="failures of the modes at stake in that year")
    running_h = dy.Float64(min=0, description="engine hours in that year")
    dearer_per_l = dy.Float64(
        nullable=True, description="better grade less the dock's own, as paid; null: no price"
    )
    net_money = dy.Float64(nullable=True, description="failures less jobs and dearer fuel")
    net_low = dy.Float64(nullable=True)
    net_high = dy.Float64(nullable=True)
    verdict = dy.String(check=lambda col: col.is_in(VERDICTS))


@dataclass(frozen=True)
class SeasonRules:
    """The rules compared over (since, until], and their table; empty where `problem` says why."""

    since: datetime
    until: datetime
    outcomes: pl.DataFrame
    n_failures: int
    """Failures on record behind the hazard, all modes at stake."""
    problem: str | None


def rules_to_compare(
    docks: Sequence[str], assumptions: Assumptions, booster_benefit: float | None = None
) -> tuple[FuelRule, ...]:
    """The rules an operator can make: a least grade, a drain, a throttle limit, a mild engine.

    And a booster, of whose labelled numbers the share `booster_benefit` is taken to be there;
    None: the settings' best estimate.
    """
    label_on = assumptions.number("octane.booster_label_on")
    if booster_benefit is None:
        booster_benefit = assumptions.number("octane.booster_benefit")
    stock = assumptions.number("octane.need_stock_aki")
    raised = assumptions.number("octane.need_raised_aki")
    drain_d = assumptions.number("fuel.old_after_d")
    return (
        FuelRule(
            "least_stock",
            f"At least {plain_text(stock)} AKI at every dock",
            least_grade_aki=dict.fromkeys(docks, stock),
        ),
        FuelRule(
            "least_raised",
            f"At least {raised:g} AKI at every dock",
            least_grade_aki=dict.fromkeys(docks, raised),
        ),
        FuelRule("mild", "Mild calibration while the fuel is below need", goes_mild=True),
        FuelRule(
            "least_stock_mild",
            f"At least {plain_text(stock)} AKI, and mild calibration while still below need",
            least_grade_aki=dict.fromkeys(docks, stock),
            goes_mild=True,
        ),
        FuelRule("throttle", "Throttle limit while the fuel is below need", limits_throttle=True),
        FuelRule(
            "drain", f"Drain fuel older than {drain_d:g} days before a ride", drain_after_d=drain_d
        ),
        FuelRule(
            "booster",
            f"Booster in fuel below need: {plain_text(label_on)} octane numbers by its label",
            boosts_on=booster_benefit * label_on,
        ),
    )


def season_rules(
    spells: pl.DataFrame,
    sessions: pl.DataFrame,
    deliveries: pl.DataFrame,
    hazard: CumulativeHazard | None,
    *,
    as_of: datetime,
    prices: Prices,
    catalogue: Catalogue,
    assumptions: Assumptions,
) -> SeasonRules:
    """What each rule would have gone with over the year before `as_of`.

    The ranges hold the draws of the hazard, the best and the worst fuel that the open part of
    the record may have been, and a booster that does nothing or all its label says.

    Args:
        spells: `Spells` as known at `as_of`.
        sessions: `SessionExposure` of the same.
        deliveries: the `deliveries` records, for what each grade cost.
        hazard: the fleet's hazard; None where there is no fit.
        as_of: the instant the report speaks of.
        prices: what things cost this season.
        catalogue: prices the slower craft and the recalibration.
        assumptions: settings.
    """
    since = as_of - timedelta(days=assumptions.number("record.rule_season_d"))
    n_failures = int(spells["mode"].is_in(list(MODES_AT_STAKE)).sum())
    used = spells.filter(pl.col("start_at") >= since)
    problem = None
    if hazard is None:
        problem = "no hazard could be estimated from this record"
    elif used.is_empty():
        problem = "no running with known exposure in that year"
    if hazard is None or problem is not None:
        return SeasonRules(since, as_of, SeasonRuleOutcomes.create_empty(), n_failures, problem)
    ridden = sessions.filter(pl.col("started_at") >= since)
    docks = used["dock_id"].unique().sort().to_list()
    rules = rules_to_compare(docks, assumptions)

    def compared(rows: pl.DataFrame, tried: Sequence[FuelRule] = rules) -> pl.DataFrame:
        return compare_fuel_rules(
            rows, ridden, hazard, tried,
            prices=prices, catalogue=as_on_record(catalogue, prices), assumptions=assumptions,
        )  # fmt: skip

    middle = compared(used)
    bounds = zip(BOUNDS, BENEFITS, strict=True)
    ends = [
        compared(with_bound(used, bound), rules_to_compare(docks, assumptions, benefit))
        for bound, benefit in bounds
    ]
    table = _with_open_record(middle, ends)
    bought = deliveries.filter(pl.col("delivered_at").is_between(since, as_of))
    table = (
        table.join(_what_ran(used), on="dock_id", how="left")
        .with_columns(
            label=pl.col("rule").replace_strict({rule.name: rule.label for rule in rules}),
            dearer_per_l=_dearer(table, rules, bought),
        )
        .with_columns(_net_of_fuel(prices))
        .with_columns(verdict=_verdict())
    )
    return SeasonRules(
        since,
        as_of,
        SeasonRuleOutcomes.validate(table.select(SeasonRuleOutcomes.column_names()), cast=True),
        n_failures,
        None,
    )


def _with_open_record(middle: pl.DataFrame, others: Sequence[pl.DataFrame]) -> pl.DataFrame:
    """The middle's table with ranges that hold those of the best and the worst fuel too."""
    keys = ["rule", "dock_id"]
    ends = {
        "failures_fewer": "failures_fewer", "break_even": "break_even", "risk_ratio": "risk_ratio",
    }  # fmt: skip
    out = middle
    for place, other in enumerate(others):
        columns = [f"{name}_{end}" for name in ends for end in ("low", "high")]
        out = out.join(
            other.select(*keys, *columns), on=keys, suffix=f":{place}", maintain_order="left"
        )
    for name in ends:
        for end, worst in (("low", pl.min_horizontal), ("high", pl.max_horizontal)):
            column = f"{name}_{end}"
            tried = [column, *(f"{column}:{place}" for place in range(len(others)))]
            out = out.with_columns(worst(tried).alias(column))
    limits = [
        e_value_with_limit(*row).limit
        for row in out.select("risk_ratio", "risk_ratio_low", "risk_ratio_high").iter_rows()
    ]
    return out.with_columns(pl.Series("e_value_limit", limits)).select(middle.columns)


def _what_ran(used: pl.DataFrame) -> pl.DataFrame:
    """Failures seen and hours run, by dock and over the fleet."""
    counts = [
        pl.col("mode").is_in(list(MODES_AT_STAKE)).sum().cast(pl.Int64).alias("failures_seen"),
        (pl.col("stop_h") - pl.col("start_h")).sum().alias("running_h"),
    ]
    by_dock = used.group_by("dock_id", maintain_order=True).agg(counts)
    return pl.concat([by_dock, used.select(pl.lit(WHOLE_FLEET).alias("dock_id"), *counts)])


def _dearer(table: pl.DataFrame, rules: Sequence[FuelRule], bought: pl.DataFrame) -> pl.Series:
    """What a better litre costs over the dock's own, row by row; null where no price says so.

    The better grade is priced at the dock where it was sold there, else at the cheapest dock
    that sold it.  Over the fleet it is the mean over the better litres that have a price.
    """
    by_rule = {rule.name: rule for rule in rules}
    found: dict[tuple[str, str], float | None] = {}
    for row in table.filter(pl.col("dock_id") != WHOLE_FLEET).iter_rows(named=True):
        grade = (by_rule[row["rule"]].least_grade_aki or {}).get(row["dock_id"])
        found[row["rule"], row["dock_id"]] = (
            _price_step(bought, row["dock_id"], grade) if grade and row["better_l"] > 0 else None
        )
    for rule in by_rule:
        docks = table.filter(
            (pl.col("rule") == rule) & (pl.col("dock_id") != WHOLE_FLEET) & (pl.col("better_l") > 0)
        )
        priced = [
            (step, litres)
            for dock, litres in docks.select("dock_id", "better_l").iter_rows()
            if (step := found[rule, dock]) is not None
        ]
        found[rule, WHOLE_FLEET] = (
            sum(step * litres for step, litres in priced) / sum(litres for _, litres in priced)
            if priced
            else None
        )
    return pl.Series(
        [found[rule, dock] for rule, dock in table.select("rule", "dock_id").iter_rows()],
        dtype=pl.Float64,
    )


def _price_step(bought: pl.DataFrame, dock: str, grade: float) -> float | None:
    """The dearer litre at one dock; null where either price is not on record."""
    priced = bought.filter(pl.col("price_per_l").is_not_null() & pl.col("octane_aki").is_not_null())
    paid = (pl.col("price_per_l") * pl.col("volume_l")).sum() / pl.col("volume_l").sum()
    here = priced.filter(pl.col("dock_id") == dock)
    low = here.filter(pl.col("octane_aki") < grade)
    better = here.filter(pl.col("octane_aki") >= grade)
    if better.is_empty():
        better = priced.filter(pl.col("octane_aki") >= grade)
    if low.is_empty() or better.is_empty():
        return None
    by_dock = better.group_by("dock_id", maintain_order=True).agg(paid.alias("paid"))
    cheapest: float = by_dock["paid"].min()  # type: ignore[assignment]
    return cheapest - float(low.select(paid).item())


def _net_of_fuel(prices: Prices) -> list[pl.Expr]:
    """Money left after jobs and dearer fuel; null where fuel is to be bought at no known price."""
    fuel = (
        pl.when(pl.col("better_l") > 0)
        .then(pl.col("dearer_per_l") * pl.col("better_l"))
        .otherwise(0.0)
    )
    ends = {"net_money": "failures_fewer", "net_low": "failures_fewer_low",
            "net_high": "failures_fewer_high"}  # fmt: skip
    return [
        (pl.col(fewer) * prices.unplanned - pl.col("job_cost") - fuel).alias(name)
        for name, fewer in ends.items()
    ]


def _verdict() -> pl.Expr:
    """Whether the rule pays, over its whole range."""
    does_nothing = (pl.col("failures_rule") == pl.col("failures_today")) & (pl.col("job_cost") == 0)
    return (
        pl.when(does_nothing & (pl.col("better_l") == 0))
        .then(pl.lit("nothing to buy"))
        .when(pl.col("net_money").is_null())
        .then(pl.lit("no price"))
        .when(pl.col("net_low") > 0)
        .then(pl.lit("pays"))
        .when(pl.col("net_high") < 0)
        .then(pl.lit("does not pay"))
        .otherwise(pl.lit("cannot tell"))
    )
