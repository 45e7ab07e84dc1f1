"""What stands behind the week's list in words: bay load, who waits, kits, the season ahead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from ringland.contracts.plan_tables import NO_FUEL
from ringland.decision.actions.action_catalogue import NOTHING, Catalogue
from ringland.decision.actions.fuel_offers import DOCK_WAY
from ringland.decision.actions.week_limits import RENTAL_DAYS, SPARE_DAYS
from ringland.decision.jobs.call_lines import no_room_text
from ringland.decision.jobs.step_prices import plan_steps
from ringland.decision.week_decisions import WeekDecisions
from ringland.pages.week import plan_words
from ringland.words.number_words import (
    count_text,
    money_text,
    number_text,
    share_text,
)

Row = Mapping[str, Any]

LEAST = 0.005
"""Below this a difference is rounding, not money."""


def plan_groups(
    decisions: WeekDecisions, calls: Sequence[Row], catalogue: Catalogue
) -> list[dict[str, Any]]:
    """The week's jobs, action by action, the one that saves most first, then those beside the plan.

    Args:
        decisions: the week's.
        calls: rows of `HullCalls`.
        catalogue: the words of the actions.

    Returns:
        One entry per action other than nothing, and one for the jobs beside the plan (of earlier
        lists, tanks to drain): label, hulls in order of rank, cost (paid for sure; the entries
        add up to the calls' own) and mechanic_h over all of them.
    """
    planned = {
        hull: (cost, mechanic_h)
        for hull, cost, mechanic_h in _planned(decisions)
        .select("hull_id", "sure_cost", "mechanic_h")
        .iter_rows()
    }
    groups: dict[str, dict[str, Any]] = {}
    beside = _group(plan_words.BESIDE)
    for call in calls:
        option, more = call["action"], call["action_cost"] or 0.0
        if option not in (None, NOTHING):
            cost, mechanic_h = planned[call["hull_id"]]
            _add(groups.setdefault(option, _group(catalogue.label(option))), call, cost, mechanic_h)
            more -= cost
        if more > LEAST:
            own = plan_steps(option, catalogue)
            jobs = [a for what in call["do"] if what not in own for a in catalogue.jobs(what)]
            _add(beside, call, more, sum(job.mechanic_h for job in jobs))
    return [*groups.values(), *([beside] if beside["hulls"] else [])]


def _group(label: str) -> dict[str, Any]:
    return {"label": label, "hulls": [], "cost": 0.0, "mechanic_h": 0.0}


def _add(group: dict[str, Any], call: Row, cost: float, mechanic_h: float) -> None:
    group["hulls"].append(call["hull_id"])
    group["cost"] += cost
    group["mechanic_h"] += mechanic_h


def _planned(decisions: WeekDecisions) -> pl.DataFrame:
    """The options that the plan chose."""
    if decisions.plan is None:
        return decisions.options.clear()
    return decisions.options.join(
        decisions.plan.rows.select("hull_id", "option", "fuel_way"),
        on=["hull_id", "option", "fuel_way"],
        how="semi",
    )


def bay_lines(decisions: WeekDecisions, currency: str) -> list[dict[str, str]]:
    """How full the bay is: per limit what is used, what there is, what one more is worth."""
    plan = decisions.plan
    if plan is None:
        return []
    rows = []
    for name, room in plan.room.items():
        if name == RENTAL_DAYS and name not in plan.worth_of_one_more:
            continue
        rows.append(
            {
                "name": plan_words.title_words(name),
                "used": number_text(plan.used.get(name), 1 if "hours" in name else 0),
                "room": number_text(room, 0),
                "worth": plan_words.worth_words(plan.worth_of_one_more.get(name), currency),
            }
        )
    return rows


def spare_line(decisions: WeekDecisions, currency: str) -> str:
    """Days off the water this week, what spares make good, and what one more is worth."""
    plan = decisions.plan
    if plan is None or not plan.used[SPARE_DAYS]:
        return ""
    return plan_words.SPARES.format(
        days=number_text(plan.used[SPARE_DAYS]),
        made_good=number_text(plan.spare_days),
        worth=plan_words.worth_words(plan.worth_of_one_more[SPARE_DAYS], currency),
    )


def waiting_groups(calls: Sequence[Row], catalogue: Catalogue) -> list[dict[str, Any]]:
    """Hulls whose action finds no room this week, by what they wait for and why.

    Returns:
        One entry per action and lack: line, hulls in order of rank.
    """
    groups: dict[tuple[str, str], dict[str, Any]] = {}
    for call in calls:
        if call["waits_for"] is None:
            continue
        option, lack = str(call["waits_for"]), str(call["no_room_in"])
        why = ", ".join(map(no_room_text, lack.split(", ")))
        line = plan_words.WAITS.format(job=catalogue.short(option), why=why)
        groups.setdefault((option, lack), {"line": line, "hulls": []})["hulls"].append(
            call["hull_id"]
        )
    return list(groups.values())


def hand_lines(decisions: WeekDecisions, catalogue: Catalogue, currency: str) -> list[str]:
    """What was decided by hand, what it costs against the free plan, and what was set aside."""
    lines = []
    if decisions.plan is not None:
        given = dict(decisions.plan.rows.select("hull_id", "option").iter_rows())
        pinned = set(decisions.plan.rows.filter("is_pinned")["hull_id"])
        for hull, cost in decisions.plan.hand_changes.items():
            change = plan_words.PINNED if hull in pinned else plan_words.FORBIDDEN
            what = change.format(job=catalogue.short(given[hull]))
            lines.append(plan_words.hand_words(hull, what, cost, currency))
    return [*lines, *decisions.set_aside]


def instead_lines(decisions: WeekDecisions, currency: str) -> list[str]:
    """What the plan and each simple policy beside it are expected to cost, the plan first."""
    plan = decisions.plan
    if plan is None or decisions.alternatives.is_empty():
        return []
    whole = plan_words.PLAN_COSTS.format(cost=money_text(plan.total_cost, currency))
    if plan.gap > 0:
        whole += plan_words.PLAN_GAP.format(share=share_text(plan.gap))
    return [
        whole,
        *(
            plan_words.instead_words(
                row["policy"], row["n_hulls"], row["cost"], row["cost"] - plan.total_cost, currency
            )
            for row in decisions.alternatives.iter_rows(named=True)
        ),
        *(
            plan_words.booster_words(
                offer.dock_id,
                len(offer.hulls),
                offer.days,
                (offer.cost, offer.saving, offer.saving_low, offer.saving_high),
                currency,
            )
            for offer in decisions.boosters
        ),
    ]


def order_lines(decisions: WeekDecisions, catalogue: Catalogue, currency: str) -> list[str]:
    """What docks should order with the next delivery, and rules begun and ended this week."""
    if decisions.plan is None:
        return []
    rows = decisions.plan.rows
    homes = decisions.options.select("hull_id", "dock_id").unique()
    ordered = (
        rows.filter(pl.col("fuel_way").str.starts_with(DOCK_WAY))
        .join(homes, on="hull_id")
        .group_by("dock_id", "fuel_way", maintain_order=True)
        .agg(n=pl.len(), per_l=pl.col("fuel_per_l").first())
        .sort("dock_id")
    )
    lines = [
        plan_words.order_fuel_words(dock, way.removeprefix(DOCK_WAY), n, per_l, currency)
        for dock, way, n, per_l in ordered.iter_rows()
    ]
    begun = rows.explode("begins").drop_nulls("begins").sort("hull_id")
    for (rule,), hulls in begun.group_by("begins", maintain_order=True):
        names = ", ".join(hulls["hull_id"])
        lines.append(plan_words.BEGUN.format(rule=catalogue.short(str(rule)), hulls=names))
    for (rule, why), hulls in _ended(decisions.options, rows).group_by(
        "ends", "why", maintain_order=True
    ):
        lines.append(
            plan_words.ENDED[str(why)].format(
                rule=catalogue.short(str(rule)),
                hulls=", ".join(hulls["hull_id"]),
                more=money_text(sum(hulls["more"].fill_null(0.0)), currency),
            )
        )
    return lines


def _ended(options: pl.DataFrame, rows: pl.DataFrame) -> pl.DataFrame:
    """The rules the plan ends, hull by hull: why, and what keeping each would cost more."""
    whole = pl.col("planned_cost") + pl.col("change_cost")
    ended = rows.explode("ends").drop_nulls("ends").sort("hull_id")
    given = ["hull_id", "option", "fuel_way"]
    now = ended.join(options.select(*given, _now=whole), on=given, maintain_order="left")
    kept = (
        now.select("hull_id", "ends")
        .join(options.select("hull_id", _ends="ends", _kept=whole), on="hull_id")
        .filter(~pl.col("_ends").list.contains(pl.col("ends")))
        .group_by("hull_id", "ends", maintain_order=True)
        .agg(pl.col("_kept").min())
    )
    more = pl.col("_kept") - pl.col("_now")
    why = pl.when("is_pinned").then(pl.lit("hand")).when(more > 0).then(pl.lit("cost"))
    return now.join(kept, on=["hull_id", "ends"], how="left", maintain_order="left").with_columns(
        more=more, why=why.otherwise(pl.lit("room"))
    )


def reading_lines(decisions: WeekDecisions, currency: str) -> list[str]:
    """What each prior makes of the effect of fuel, what its plan would do, and how to find out."""
    lines = []
    for place, reading in enumerate(decisions.readings):
        octane = reading.belief.effect("octane")
        ways = reading.plan.rows["fuel_way"]
        lines.append(
            plan_words.reading_words(
                reading.belief.name,
                (octane.no_effect, octane.log_ratio, octane.reference),
                n_hulls=int((ways != NO_FUEL).sum()),
                cost=reading.plan.total_cost,
                currency=currency,
                is_own=place == 0,
            )
        )
    trial = decisions.trial
    if trial is not None:
        lines.append(
            plan_words.trial_words(
                trial.dock_id,
                (trial.on_better_fuel, trial.as_they_are),
                (trial.fuel_cost, trial.net_cost, trial.worth),
                trial.would_change,
                currency,
            )
        )
    return lines


def kit_lines(decisions: WeekDecisions) -> list[str]:
    """Kits to order: for the plan this week, and what repairs are likely to use up this season."""
    lines = []
    if decisions.plan is not None:
        lines = [
            plan_words.order_words(n, part)
            for part, n in sorted(decisions.plan.to_order.items())
            if n > 0
        ]
    if not lines:
        lines.append(plan_words.NO_KIT)
    if decisions.outlook is not None:
        for row in decisions.outlook.iter_rows(named=True):
            if row["quantity"].startswith("kits: "):
                part = row["quantity"].removeprefix("kits: ")
                lines.append(plan_words.season_kits_words(part, row["q50"], row["q80"], row["q95"]))
    return lines


def outlook_line(decisions: WeekDecisions, currency: str) -> str:
    """The rest of the season in a sentence; empty after its end."""
    if decisions.outlook is None:
        return ""
    rows = {row["quantity"]: row for row in decisions.outlook.iter_rows(named=True)}
    failures, lost = rows["failures"], rows["rental lost"]
    return plan_words.OUTLOOK.format(
        failures=count_text(round(failures["mean"]), "failure"),
        low=number_text(failures["q05"], 0),
        high=number_text(failures["q95"], 0),
        lost=money_text(lost["mean"], currency),
    )


def renewal_line(decisions: WeekDecisions) -> str:
    """At what age a set is best renewed on plan, with limits, or none; empty if not known."""
    found = decisions.renewal
    if found is None:
        return ""
    limits = found.limits
    return plan_words.renewal_words(
        found.age, None if limits is None else (limits.low, limits.high, limits.share_without)
    )


def hull_plan_line(call: Row, catalogue: Catalogue) -> str:
    """Why a hull's action is not the one it would get alone; empty where it is."""
    if call["waits_for"] is not None:
        short = ", ".join(map(no_room_text, str(call["no_room_in"]).split(", ")))
        return plan_words.HULL_WAITS.format(job=catalogue.label(call["waits_for"]), why=short)
    if call["decided_by"] == "hand":
        return plan_words.HULL_BY_HAND
    return ""
