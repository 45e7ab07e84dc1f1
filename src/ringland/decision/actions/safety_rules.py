"""Which hulls a safety rule binds this week, and to which options: before any price is weighed.

An open failure asks for its repair.  A chance in 7 days at the limit, a high chance in 30
days and a failed bench test that nothing answers, however old, ask that the hull be looked
at, or its pistons renewed, before it is rented; where the week has no room for that, the hull
stays ashore.  No rule here asks
whether the record shows an effect of fuel.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import dataframely as dy
import polars as pl

from ringland.decision.actions.action_catalogue import REPAIR, Action, Catalogue, CatalogueError
from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.action_terms import TESTED, job_days_off
from ringland.decision.actions.week_limits import WEEK_D
from ringland.settings.assumptions import Assumptions

OPEN_FAILURE, HIGH_7D, FAILED_TEST, HIGH_30D, OPEN_JOB = (
    "open_failure", "chance_7d", "failed_test", "chance_30d", "open_job",
)  # fmt: skip

Bound = Mapping[str, frozenset[str]]
"""The options left to each hull that a rule binds; a hull not in it may get any."""


class SafetyRules(dy.Schema):
    """One row per hull that a rule binds, with the rule that comes first."""

    hull_id = dy.String(primary_key=True)
    rule = dy.String(
        check=lambda col: col.is_in([OPEN_FAILURE, HIGH_7D, FAILED_TEST, HIGH_30D, OPEN_JOB])
    )


def safety_rules(
    running: pl.DataFrame,
    chances: pl.DataFrame,
    bench_warnings: pl.DataFrame,
    assumptions: Assumptions,
    must_look: Collection[str] = (),
) -> pl.DataFrame:
    """The rule that binds each hull: open failure, 7 days, failed test, 30 days, an open job.

    A check passed within `call.checked_stands_d` days answers a high chance in 30 days, so
    that a hull looked at last week is not sent back; nothing answers one in 7 days.

    Args:
        running: as `running_sets` returns it, with `tested_d_ago`.
        chances: `HullChances` made from the same `running`.
        bench_warnings: engine_id, warning: the failed tests that stand against an engine.
        assumptions: settings.
        must_look: hulls that an earlier list asked to look at before they are rented, and that
            nobody looked at yet.

    Returns:
        `SafetyRules`, in order of hull.
    """
    stands_d = assumptions.number("call.checked_stands_d")
    was_checked = (pl.col(TESTED) <= stands_d).fill_null(False)
    too_high = pl.col("chance_7d") >= assumptions.number("call.keep_off_chance_7d")
    is_high = pl.col("chance_30d") >= assumptions.number("call.check_chance_30d")
    facts = (
        running.select("hull_id", "engine_id", "found_at", TESTED)
        .join(
            chances.select("hull_id", "chance_7d", "chance_30d"),
            on="hull_id",
            maintain_order="left",
        )
        .join(bench_warnings, on="engine_id", how="left")
    )
    rule = (
        pl.when(pl.col("found_at").is_not_null())
        .then(pl.lit(OPEN_FAILURE))
        .when(too_high)
        .then(pl.lit(HIGH_7D))
        .when(pl.col("warning").is_not_null())
        .then(pl.lit(FAILED_TEST))
        .when(is_high & ~was_checked)
        .then(pl.lit(HIGH_30D))
        .when(pl.col("hull_id").is_in(list(must_look)))
        .then(pl.lit(OPEN_JOB))
    )
    return SafetyRules.validate(
        facts.select("hull_id", rule=rule).drop_nulls("rule").sort("hull_id")
    )


def bound_options(rules: pl.DataFrame, catalogue: Catalogue, prices: Prices) -> Bound:
    """What each bound hull may still be given.

    A broken hull may get its repair, or stand.  Any other may get an option that looks at it
    or renews it, or the week ashore.

    Raises:
        CatalogueError: the catalogue has nothing that keeps a hull ashore for the week.
    """
    ashore = week_ashore(catalogue, prices)
    looked_at = frozenset({*answering_options(catalogue), ashore})
    return {
        hull: frozenset({REPAIR, ashore}) if rule == OPEN_FAILURE else looked_at
        for hull, rule in rules.select("hull_id", "rule").iter_rows()
    }


def waiting_costs(options: pl.DataFrame, bound: Bound, ashore: str) -> pl.DataFrame:
    """The options with what a week ashore puts off counted into it: it answers no rule.

    A bound hull that stands this week waits for the cheapest of what answers its rule, at what
    that costs then, beside the week's rental.

    Args:
        options: `WeekOptions`.
        bound: as `bound_options` returns it.
        ashore: the option that keeps a hull off the water for the week.
    """
    pairs = [(hull, option) for hull, left in bound.items() for option in left if option != ashore]
    answers = pl.DataFrame(
        pairs, schema={"hull_id": pl.String, "own_option": pl.String}, orient="row"
    )
    cheapest = (
        options.join(answers, on=["hull_id", "own_option"], how="semi")
        .group_by("hull_id", "fuel_way", maintain_order=True)
        .agg(_then=pl.col("planned_cost").min())
    )
    waits = pl.when(pl.col("own_option") == ashore).then(pl.col("sure_cost") + pl.col("_then"))
    return (
        options.join(cheapest, on=["hull_id", "fuel_way"], how="left", maintain_order="left")
        .with_columns(planned_cost=pl.max_horizontal("planned_cost", waits))
        .drop("_then")
    )


def answering_options(catalogue: Catalogue) -> tuple[str, ...]:
    """Options that answer a rule: those that renew, and those with the test that finds most."""
    offered = [action for action in catalogue.actions.values() if action.offered]
    finds = [a.test.sensitivity.value for a in offered if a.test and not a.after_failed]
    most = max(finds, default=0.0)

    def answers(action: Action) -> bool:
        is_best = action.test is not None and action.test.sensitivity.value >= most
        return action.renews_age or is_best or bool(action.after_failed)

    return tuple(
        name for name, actions in catalogue.bundles().items() if any(map(answers, actions))
    )


def week_ashore(catalogue: Catalogue, prices: Prices) -> str:
    """The option that keeps a hull off the water for the week and takes no room in the bay.

    Raises:
        CatalogueError: there is none.
    """
    for name, actions in catalogue.bundles().items():
        needs = sum(a.mechanic_h + a.lift_slots + len(a.parts) for a in actions)
        if not needs and sum(job_days_off(a, prices) for a in actions) >= WEEK_D:
            return name
    raise CatalogueError(
        f"action catalogue: nothing keeps a hull off the water for the week; the plan needs that "
        f"for a hull it may not rent out. Offer an action with days_off of {WEEK_D:g} that takes "
        f"no mechanic hour, lift slot or part."
    )
