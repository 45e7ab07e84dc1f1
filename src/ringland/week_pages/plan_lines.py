"""The week's plan in words: what to do to which hulls, the bay's load, kits, the season ahead."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.service_week.action_catalogue import NOTHING, Catalogue
from ringland.service_week.week_decisions import WeekDecisions
from ringland.service_week.week_limits import RENTAL_DAYS
from ringland.wording.number_words import UNKNOWN, count_text, money_text, number_text

Row = Mapping[str, Any]


def plan_groups(decisions: WeekDecisions, catalogue: Catalogue) -> list[dict[str, Any]]:
    """What the plan gives to hulls, option by option, the one that saves most first.

    Returns:
        One entry per option other than nothing: label, hulls (largest saving first), saving
        and sure_cost over all of them, mechanic_h.
    """
    chosen = (
        decisions.plan.rows.filter(pl.col("option") != NOTHING)
        .join(
            decisions.options.select("hull_id", "option", "sure_cost", "mechanic_h"),
            on=["hull_id", "option"],
        )
        .sort("saving", "hull_id", descending=[True, False])
    )
    groups = (
        chosen.group_by("option", maintain_order=True)
        .agg(pl.col("hull_id"), pl.col("saving", "sure_cost", "mechanic_h").sum())
        .sort("saving", "option", descending=[True, False])
    )
    return [
        row | {"label": catalogue.label(row["option"]), "hulls": row["hull_id"]}
        for row in groups.iter_rows(named=True)
    ]


def plan_summary(decisions: WeekDecisions, currency: str) -> str:
    """What the plan costs against leaving every hull with a chance as it is this week."""
    plan = decisions.plan
    to_do = plan.rows.filter(pl.col("option") != NOTHING).height
    if not to_do:
        return (
            "Nothing on the catalogue is likely to save more than it costs: leaving every hull "
            "this week costs least."
        )
    saved = plan.cost_of_nothing - plan.total_cost
    return (
        f"{count_text(to_do, 'hull')} changed, the others left: expected to cost "
        f"{money_text(plan.total_cost, currency)} in all instead of "
        f"{money_text(plan.cost_of_nothing, currency)}, a saving of "
        f"{money_text(saved, currency)}."
    )


def bay_lines(decisions: WeekDecisions, currency: str) -> list[dict[str, str]]:
    """How full the bay is: per limit what is used, what there is, what one more is worth."""
    plan = decisions.plan
    rows = []
    for name, room in plan.room.items():
        if name == RENTAL_DAYS:
            continue
        worth = plan.worth_of_one_more.get(name)
        rows.append(
            {
                "name": _title(name),
                "used": number_text(plan.used.get(name), 1 if "hours" in name else 0),
                "room": number_text(room, 0),
                "worth": UNKNOWN
                if worth is None
                else "nothing this week"
                if worth == 0
                else money_text(worth, currency),
            }
        )
    return rows


def kit_lines(decisions: WeekDecisions) -> list[str]:
    """Kits to order: for the plan this week, and what repairs are likely to use up this season."""
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
                    f"{count_text(round(row['q50']), part)} "
                    f"(9 in 10 plays: {row['q05']:.0f} to {row['q95']:.0f})."
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
        f"{number_text(failures['mean'], 0)} failures ({failures['q05']:.0f} to "
        f"{failures['q95']:.0f} in 9 of 10 plays) and {money_text(lost['mean'], currency)} of "
        f"rental lost."
    )


def hull_plan_line(
    hull_id: str, decisions: WeekDecisions, catalogue: Catalogue, currency: str
) -> str:
    """What the plan gives one hull, and why; empty where it has no chance."""
    rows = decisions.plan.rows.filter(pl.col("hull_id") == hull_id)
    if rows.is_empty():
        return ""
    row = rows.row(0, named=True)
    if row["option"] == NOTHING and row["wanted"] == NOTHING:
        return "nothing beyond the call: no priced step is likely to save more than it costs."
    label = catalogue.label(row["option"])
    saving = f"expected saving {money_text(row['saving'], currency)}" if row["saving"] else ""
    reason = "" if row["given_up"] <= 0 and not row["is_pinned"] else f" ({row['reason']})"
    return f"{label}{'; ' + saving if saving else ''}{reason}."


def _kit(part: str) -> str:
    return part.replace("_", " ")


def _title(name: str) -> str:
    text = name.replace("_", " ")
    return text[:1].upper() + text[1:]
