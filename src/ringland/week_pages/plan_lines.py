"""What stands behind the week's list in words: bay load, who waits, kits, the season ahead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from ringland.service_week.action_catalogue import NOTHING, Catalogue
from ringland.service_week.call_lines import no_room_text
from ringland.service_week.week_decisions import WeekDecisions
from ringland.service_week.week_limits import RENTAL_DAYS, SPARE_DAYS
from ringland.wording.number_words import (
    UNKNOWN,
    count_text,
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
                "name": _title(name),
                "used": number_text(plan.used.get(name), 1 if "hours" in name else 0),
                "room": number_text(room, 0),
                "worth": _worth(plan.worth_of_one_more.get(name), currency),
            }
        )
    return rows


def spare_line(decisions: WeekDecisions, currency: str) -> str:
    """Days off the water this week, what spares make good, and what one more is worth."""
    plan = decisions.plan
    if plan is None or not plan.used[SPARE_DAYS]:
        return ""
    return (
        f"{number_text(plan.used[SPARE_DAYS])} hull-days off the water this week, "
        f"{number_text(plan.spare_days)} made good by a spare; one more spare hull would save "
        f"{_worth(plan.worth_of_one_more[SPARE_DAYS], currency)}."
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
        blank = {"line": f"{catalogue.short(option)} waits for next week, {why}", "hulls": []}
        groups.setdefault((option, lack), blank)["hulls"].append(call["hull_id"])
    return list(groups.values())


def hand_lines(decisions: WeekDecisions, catalogue: Catalogue, currency: str) -> list[str]:
    """What was decided by hand, what it costs against the free plan, and what was set aside."""
    lines = []
    if decisions.plan is not None:
        given = dict(decisions.plan.rows.select("hull_id", "option").iter_rows())
        pinned = set(decisions.plan.rows.filter("is_pinned")["hull_id"])
        for hull, cost in decisions.plan.hand_changes.items():
            what = f"pinned to {catalogue.short(given[hull])}"
            if hull not in pinned:
                what = f"something is forbidden on it; it gets {catalogue.short(given[hull])}"
            price = f"costs {money_text(cost, currency)} more" if cost > 0 else "costs nothing more"
            lines.append(f"{hull}: {what}; {price} than the plan without it.")
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
            f"Order now: {count_text(n, _kit(part))} for this week's jobs."
            for part, n in sorted(decisions.plan.to_order.items())
            if n > 0
        ]
    if not lines:
        lines.append("No kit to order for this week's jobs.")
    if decisions.outlook is not None:
        for row in decisions.outlook.iter_rows(named=True):
            if row["quantity"].startswith("kits: "):
                part = _kit(row["quantity"].removeprefix("kits: "))
                lines.append(
                    f"To the season's end repairs are likely to use "
                    f"{count_text(round(row['q50']), part)}: enough in 8 plays of 10 are "
                    f"{number_text(row['q80'], 0)}, in 19 of 20 {number_text(row['q95'], 0)}."
                )
    return lines


def outlook_line(decisions: WeekDecisions, currency: str) -> str:
    """The rest of the season in a sentence; empty after its end."""
    if decisions.outlook is None:
        return ""
    rows = {row["quantity"]: row for row in decisions.outlook.iter_rows(named=True)}
    failures, lost = rows["failures"], rows["rental lost"]
    return (
        f"To the season's end, with the plan's renewals and today's fuel: about "
        f"{number_text(failures['mean'], 0)} failures ({number_text(failures['q05'], 0)} to "
        f"{number_text(failures['q95'], 0)} in 9 of 10 plays) and "
        f"{money_text(lost['mean'], currency)} of "
        f"rental lost."
    )


def renewal_line(decisions: WeekDecisions) -> str:
    """At what age a set is best renewed on plan, with limits, or none; empty if not known."""
    found = decisions.renewal
    if found is None:
        return ""
    limits = found.limits
    if found.age is None:
        line = "Renewing piston sets at a planned age pays at no age this record knows of"
        if limits is None:
            return f"{line}."
        return f"{line} (so in {share_text(limits.share_without)} of the draws)."
    line = f"Planned renewal of a piston set pays best at {number_text(found.age, 0)} engine hours"
    if limits is None:
        return f"{line}."
    low = "under the first" if limits.low is None else number_text(limits.low, 0)
    high = "never" if limits.high is None else f"{number_text(limits.high, 0)} h"
    return (
        f"{line} for a hull at the fleet's middle ({low} to {high}; in "
        f"{share_text(limits.share_without)} of the draws no planned renewal pays)."
    )


def hull_plan_line(call: Row, catalogue: Catalogue) -> str:
    """Why a hull's action is not the one it would get alone; empty where it is."""
    if call["waits_for"] is not None:
        short = ", ".join(map(no_room_text, str(call["no_room_in"]).split(", ")))
        return f"{catalogue.label(call['waits_for'])} waits for next week: {short}."
    if call["decided_by"] == "hand":
        return "decided by hand in the week's file."
    return ""


def _worth(amount: float | None, currency: str) -> str:
    if amount is None:
        return UNKNOWN
    return "nothing this week" if amount == 0 else money_text(amount, currency)


def _kit(part: str) -> str:
    return part.replace("_", " ")


def _title(name: str) -> str:
    text = name.replace("_", " ")
    return text[:1].upper() + text[1:]
