"""What stands behind the week's list in words: bay load, who waits, kits, the season ahead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from ringland.decision.action_catalogue import NOTHING, Catalogue
from ringland.decision.call_lines import no_room_text
from ringland.decision.week_decisions import WeekDecisions
from ringland.decision.week_limits import RENTAL_DAYS, SPARE_DAYS
from ringland.pages.week import plan_words
from ringland.words.number_words import (
    money_text,
    number_text,
    price_text,
    share_text,
)

Row = Mapping[str, Any]


def plan_groups(
    decisions: WeekDecisions, calls: Sequence[Row], catalogue: Catalogue
) -> list[dict[str, Any]]:
    """The week's jobs, action by action, the one that saves most first.

    Args:
        decisions: the week's.
        calls: rows of `HullCalls`.
        catalogue: the words of the actions.

    Returns:
        One entry per action other than nothing: label, hulls in order of rank, cost (paid
        for sure) and mechanic_h over all of them.
    """
    hours = {
        (hull, option): mechanic_h
        for hull, option, mechanic_h in decisions.options.select(
            "hull_id", "option", "mechanic_h"
        ).iter_rows()
    }
    groups: dict[str, dict[str, Any]] = {}
    for call in calls:
        option = call["action"]
        if option in (None, NOTHING):
            continue
        blank = {"label": catalogue.label(option), "hulls": [], "cost": 0.0, "mechanic_h": 0.0}
        group = groups.setdefault(option, blank)
        group["hulls"].append(call["hull_id"])
        group["cost"] += call["action_cost"]
        group["mechanic_h"] += hours[call["hull_id"], option]
    return list(groups.values())


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


def practice_rows(
    decisions: WeekDecisions, catalogue: Catalogue, currency: str
) -> list[dict[str, Any]]:
    """Changes of fuel, throttle or calibration that this record does not show to help.

    Returns:
        One entry per such action: label, shown (in words), price (per hull, over the time
        looked ahead), n_hulls it is meant for.
    """
    alone = decisions.options.filter(
        pl.col("option").is_in(list(catalogue.actions)) & ~pl.col("is_paid_for")
    )
    rows = alone.group_by("option", maintain_order=True).agg(
        pl.col("shown_chance").first(), pl.col("sure_cost").median(), n_hulls=pl.len()
    )
    order = {name: place for place, name in enumerate(catalogue.actions)}
    return [
        {
            "label": catalogue.label(row["option"]),
            "shown": share_text(row["shown_chance"]),
            "price": price_text(row["sure_cost"], currency),
            "n_hulls": row["n_hulls"],
        }
        for row in sorted(rows.iter_rows(named=True), key=lambda row: order[row["option"]])
    ]


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
        failures=number_text(failures["mean"], 0),
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
