"""What a fuel rule would go with: the same season of use, the hazard under each rule.

For each rule the covariates of every spell of the season are put to what the rule would
have made them, and the fitted hazard is summed again over the same hours (g-computation:
standardisation to the season's own use; Robins 1986, Hernan and Robins 2020, chapter 13).
It says what failures go with the rule in this fleet's record.  It is an association: the
fit adjusts for what is on record and for nothing else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import dataframely as dy
import numpy as np
import polars as pl

from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.action_prices import Prices
from ringland.decision.value.hazard_ahead import CumulativeHazard, Floats
from ringland.risk.expected_use import DAY_S
from ringland.risk.unmeasured_confounding import e_value_with_limit
from ringland.settings.assumptions import Assumptions

WHOLE_FLEET = "whole fleet"


@dataclass(frozen=True)
class FuelRule:
    """One rule for the season; parts left out do not apply, parts given apply together.

    `least_grade_aki` is by dock; `drain_after_d` drains fuel older than that many days;
    `limits_throttle` keeps a hull below full throttle while its fuel is below need;
    `goes_mild` takes a raised calibration off while it is; `boosts_on` is what a booster, put
    into fuel below need, adds to it in octane numbers; None: none is used.
    """

    name: str
    label: str
    least_grade_aki: Mapping[str, float] | None = None
    drain_after_d: float | None = None
    limits_throttle: bool = False
    goes_mild: bool = False
    boosts_on: float | None = None


class RuleOutcomes(dy.Schema):
    """One row per rule and dock (and the whole fleet): failures and money against today's fuel."""

    rule = dy.String(primary_key=True)
    dock_id = dy.String(primary_key=True, description="or 'whole fleet'")
    failures_today = dy.Float64(min=0, description="expected under the season's own fuel")
    failures_rule = dy.Float64(min=0)
    failures_fewer = dy.Float64()
    failures_fewer_low = dy.Float64()
    failures_fewer_high = dy.Float64()
    money_fewer = dy.Float64(description="price of those failures")
    job_cost = dy.Float64(
        min=0, description="drains, recalibrations, slower craft, booster; no fuel"
    )
    better_l = dy.Float64(min=0, description="litres that would have been of a better grade")
    break_even_per_l = dy.Float64(
        nullable=True, description="dearer by this per better litre, the rule costs what it saves"
    )
    break_even_low = dy.Float64(nullable=True)
    break_even_high = dy.Float64(nullable=True)
    risk_ratio = dy.Float64(description="failures today over failures under the rule")
    risk_ratio_low = dy.Float64()
    risk_ratio_high = dy.Float64()
    e_value = dy.Float64(min=1)
    e_value_limit = dy.Float64(min=1)
    cannot_separate = dy.String(nullable=True, description="why fuel and dock cannot be told apart")


def compare_fuel_rules(
    spells: pl.DataFrame,
    sessions: pl.DataFrame,
    hazard: CumulativeHazard,
    rules: Sequence[FuelRule],
    *,
    prices: Prices,
    catalogue: Catalogue,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """Failures and money under each rule against today's fuel, over the same season of use.

    Args:
        spells: `Spells` of the season, a row per interval.
        sessions: `SessionExposure` of the same season, for litres, drains and days.
        hazard: the fleet's hazard.
        rules: the rules to compare.
        prices: what things cost this season.
        catalogue: prices the slower craft and the recalibration.
        assumptions: settings.

    Returns:
        `RuleOutcomes`, rule by rule, the whole fleet first; empty without spells.

    Raises:
        ValueError: a rule names a dock that has no spell in the season.
    """
    docks = spells["dock_id"].unique().sort().to_list()
    for rule in rules:
        if unknown := sorted(set(rule.least_grade_aki or {}) - set(docks)):
            raise ValueError(
                f"fuel rule {rule.name}: no running on record at dock {', '.join(unknown)}; "
                f"docks with running: {', '.join(docks)}."
            )
    if spells.is_empty():
        return RuleOutcomes.create_empty()
    one_grade = _one_grade_docks(sessions, assumptions)
    today = _hazard_by_spell(hazard, spells)
    level = assumptions.number("survival.confidence")
    inside = {dock: (spells["dock_id"] == dock).to_numpy() for dock in docks}
    inside = {WHOLE_FLEET: np.ones(spells.height, np.bool_)} | inside
    failing = {dock: today[:, here].sum(axis=1) for dock, here in inside.items()}
    rows = []
    for rule in rules:
        after = _hazard_by_spell(hazard, under_rule(spells, rule, assumptions))
        for dock, here in inside.items():
            used = sessions if dock == WHOLE_FLEET else sessions.filter(pl.col("dock_id") == dock)
            rows.append(
                {"rule": rule.name, "dock_id": dock}
                | _failures(failing[dock], after[:, here].sum(axis=1), level)
                | _price(rule, used, prices, catalogue, assumptions)
                | {"cannot_separate": _why_inseparable(dock, one_grade, docks)}
            )
    table = pl.DataFrame(rows, infer_schema_length=None).with_columns(
        money_fewer=pl.col("failures_fewer") * prices.unplanned
    )
    return RuleOutcomes.validate(_with_break_even(table, prices), cast=True)


def under_rule(spells: pl.DataFrame, rule: FuelRule, assumptions: Assumptions) -> pl.DataFrame:
    """The spells as the rule would have made their covariates.

    A least grade caps the shortfall at need less grade.  The need is that of the stock or
    the raised calibration, as on record; for a milder one this understates the rule.  A
    throttle limit takes the full-throttle share down to the least these spells have seen:
    of hulls that never open up the fit knows nothing.  Null covariates stay null.
    """
    stock = assumptions.number("octane.need_stock_aki")
    raised = assumptions.number("octane.need_raised_aki")
    eased = stock - assumptions.number("octane.part_throttle_need_aki")
    short = pl.col("shortfall_25h_on")
    is_short = (short > 0).fill_null(False)
    out = spells
    if rule.least_grade_aki is not None:
        grade = pl.col("dock_id").replace_strict(
            dict(rule.least_grade_aki), default=None, return_dtype=pl.Float64
        )
        need = pl.when("is_raised_calibration").then(raised).otherwise(stock)
        worst = (need - grade).clip(lower_bound=0.0)
        out = out.with_columns(
            shortfall_25h_on=pl.when(worst.is_null()).then(short).otherwise(short.clip(None, worst))
        )
    if rule.boosts_on is not None:
        out = out.with_columns(shortfall_25h_on=(short - rule.boosts_on).clip(lower_bound=0.0))
    if rule.drain_after_d is not None:
        out = out.with_columns(pl.col("fuel_age_25h_d").clip(upper_bound=rule.drain_after_d))
    if rule.goes_mild:
        turns = is_short & pl.col("is_raised_calibration")
        out = out.with_columns(
            shortfall_25h_on=pl.when(turns)
            .then((short - (raised - stock)).clip(lower_bound=0.0))
            .otherwise(short),
            is_raised_calibration=pl.col("is_raised_calibration") & ~turns,
        )
    if rule.limits_throttle:
        share = pl.col("full_throttle_25h")
        least_seen = share.quantile(assumptions.number("record.least_seen_share"), "lower")
        out = out.with_columns(
            shortfall_25h_on=(short - eased).clip(lower_bound=0.0),
            full_throttle_25h=pl.when(is_short)
            .then(pl.min_horizontal(share, least_seen))
            .otherwise(share),
        )
    return out


def _hazard_by_spell(hazard: CumulativeHazard, spells: pl.DataFrame) -> Floats:
    return hazard(spells["start_h"].to_numpy(), spells["stop_h"].to_numpy(), spells)


def _failures(today: Floats, after: Floats, level: float) -> dict[str, float]:
    """Expected failures today and under the rule, their difference and ratio with ranges."""
    tails = [(1 - level) / 2, (1 + level) / 2]
    fewer, ratio = today - after, today / after
    middle = float(fewer.mean())
    fewer_low, fewer_high = np.quantile(fewer, tails)
    ratio_low, ratio_middle, ratio_high = np.quantile(ratio, [tails[0], 0.5, tails[1]])
    strength = e_value_with_limit(float(ratio_middle), float(ratio_low), float(ratio_high))
    return {
        "failures_today": float(today.mean()),
        "failures_rule": float(after.mean()),
        "failures_fewer": middle,
        # A mean of few, skewed draws may leave its own quantiles; the range must hold it.
        "failures_fewer_low": min(float(fewer_low), middle),
        "failures_fewer_high": max(float(fewer_high), middle),
        "risk_ratio": float(ratio_middle),
        "risk_ratio_low": float(ratio_low),
        "risk_ratio_high": float(ratio_high),
        "e_value": strength.point,
        "e_value_limit": strength.limit,
    }


def _price(
    rule: FuelRule,
    sessions: pl.DataFrame,
    prices: Prices,
    catalogue: Catalogue,
    assumptions: Assumptions,
) -> dict[str, float]:
    """Litres of better fuel, and what the rule's jobs would have cost in the season.

    A blend as near to the grade as fuel lies to its label counts as of the grade.
    """
    job_cost, better_l = 0.0, 0.0
    near = assumptions.number("octane.label_spread_on")
    is_short = pl.col("octane_margin_on") < 0
    if rule.least_grade_aki:
        grades = dict(rule.least_grade_aki)
        grade = pl.col("dock_id").replace_strict(grades, default=None, return_dtype=pl.Float64)
        better_l = float(sessions.filter(pl.col("octane_aki") < grade - near)["burn_l"].sum())
    if rule.drain_after_d is not None:
        idle_d = pl.col("started_at").diff().over("hull_id").dt.total_seconds() / DAY_S
        idle = sessions.sort("hull_id", "started_at").select((idle_d > rule.drain_after_d).sum())
        job_cost += prices.drain_refill * idle.item()
    if rule.limits_throttle:
        days = sessions.filter(is_short).select("hull_id", pl.col("started_at").dt.date()).unique()
        job_cost += catalogue.actions["restrict_throttle"].cost_per_d * days.height
    if rule.boosts_on is not None:
        boosted_l = float(sessions.filter(is_short)["burn_l"].sum())
        job_cost += assumptions.number("fuel.booster_per_l") * boosted_l
    if rule.goes_mild:
        raised = sessions.filter(is_short & (pl.col("calibration") == "raised"))
        job_cost += catalogue.actions["mild_calibration"].cost * raised["engine_id"].n_unique()
    return {"job_cost": job_cost, "better_l": better_l}


def _with_break_even(table: pl.DataFrame, prices: Prices) -> pl.DataFrame:
    """Money saved less jobs, over the better litres; null where the rule buys none."""
    ends = {"per_l": "failures_fewer", "low": "failures_fewer_low", "high": "failures_fewer_high"}
    return table.with_columns(
        pl.when(pl.col("better_l") > 0)
        .then((pl.col(fewer) * prices.unplanned - pl.col("job_cost")) / pl.col("better_l"))
        .alias(f"break_even_{end}")
        for end, fewer in ends.items()
    ).select(RuleOutcomes.column_names())


def _one_grade_docks(sessions: pl.DataFrame, assumptions: Assumptions) -> set[str]:
    """Docks whose hulls burned one grade: the octane on record hardly varies there."""
    spread = sessions.group_by("dock_id", maintain_order=True).agg(
        pl.col("octane_aki").std().fill_null(0.0)
    )
    least = assumptions.number("record.one_grade_sd_on")
    return set(spread.filter(pl.col("octane_aki") < least)["dock_id"])


def _why_inseparable(dock: str, one_grade: set[str], docks: Sequence[str]) -> str | None:
    if dock in one_grade:
        return f"{dock} burned one grade: fuel and dock cannot be separated there"
    if dock == WHOLE_FLEET and one_grade.issuperset(docks):
        return "each dock burned one grade: fuel and dock cannot be separated"
    return None
