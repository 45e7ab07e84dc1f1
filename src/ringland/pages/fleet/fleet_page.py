"""What the fleet page says this week: the list, what changed, what stands behind it, the docks."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go
import polars as pl

from ringland.contracts.decision_tables import DO_NOT_RENT, NO_OPEN_JOB, NOT_FOR_RENT, STATES
from ringland.decision.actions.action_catalogue import FUEL_RULE
from ringland.decision.jobs.call_lines import ahead_text, over_text, room_line, summary_line
from ringland.decision.jobs.hull_state import is_overdue, job_short
from ringland.pages.fleet import fleet_words
from ringland.pages.fleet.risk_charts import fleet_chances
from ringland.pages.fleet.slot_lines import slot_rows
from ringland.pages.week import plan_words
from ringland.pages.week.fuel_advice_words import age_rule_line, dock_rule_line
from ringland.pages.week.job_lines import also_line, due_line, mind_line
from ringland.pages.week.past_calls import WeekChange
from ringland.pages.week.plan_lines import (
    bay_lines,
    hand_lines,
    instead_lines,
    kit_lines,
    order_lines,
    outlook_line,
    plan_groups,
    reading_lines,
    renewal_line,
    spare_line,
    waiting_groups,
)
from ringland.pages.week.report_words import (
    AFTERWARDS,
    WORTH_SAYING,
    fuel_line,
    one_grade_line,
    outside_line,
    unpriced_line,
)
from ringland.pages.week.week_listing import jobs_text
from ringland.pages.week.week_report import HullSheet, WeekReport, hulls_at
from ringland.words.job_cautions import cautions_of
from ringland.words.number_words import (
    count_text,
    day_text,
    number_text,
    quantity_text,
    share_text,
)

Row = Mapping[str, Any]


def fleet_context(report: WeekReport) -> dict[str, Any]:
    """What the fleet page's template needs; `figures` are drawn by name."""
    counts = Counter(str(sheet.call["call"]) for sheet in report.hulls)
    told = [sheet for sheet in report.hulls if sheet.chance["chance_30d"] is not None]
    figures: dict[str, go.Figure] = {}
    if told:
        chances = pl.DataFrame([{**sheet.chance, "call": sheet.call["call"]} for sheet in told])
        figures["fleet"] = fleet_chances(chances)
    change = report.change
    return {
        "tally": [(call, counts[call]) for call in STATES if counts[call]],
        "summary": summary_line(
            [sheet.call for sheet in report.assessed],
            report.decisions.horizon_d,
            report.prices.currency,
        ),
        "ahead": ahead_text(report.decisions.horizon_d),
        "waits": {
            sheet.hull_id: line
            for sheet in report.hulls
            if (line := room_line(sheet.call, report.catalogue))
        },
        "advice": _advice(report),
        "life_bound": _bound(report),
        "change": change,
        "change_title": change_title(change),
        "plan": _behind(report),
        "slots": slot_rows(report.decisions, report.catalogue, report.prices.currency),
        "docks": [_dock(row, report) for row in report.dock_fuel.iter_rows(named=True)],
        "dock_ids": sorted({sheet.dock_id for sheet in report.hulls}),
        "need_of": need_of,
        "week_jobs": week_jobs(report),
        "do_of": lambda sheet: jobs_text(sheet, report),
        "due_of": lambda sheet: due_line(sheet, report.as_of),
        "also_of": lambda sheet: also_line(sheet, report.catalogue),
        "mind_of": mind_line,
        "cautions": cautions_of(what for sheet in report.hulls for what in sheet.call["do"]),
        "age_rule": age_rule_line(report.assumptions),
        "figures": figures,
        "finder": json.dumps(fleet_words.FINDER),
        "said": fleet_words,
        "slot_words": plan_words,
        "price_note": _price_note(report),
    }


def _price_note(report: WeekReport) -> str:
    docks = sorted({sheet.dock_id for sheet in report.hulls})
    rule = report.catalogue.actions.get(FUEL_RULE)
    lines = (
        unpriced_line(report.prices.from_settings),
        outside_line(rule, report.prices, docks),
    )
    return " ".join(line for line in lines if line)


def need_of(sheet: HullSheet) -> str:
    """What a hull needs this week: 'shop' (not rented first), 'dock' (rented only so) or 'none'.

    One that somebody let go by name is not among those that need nothing.
    """
    if sheet.call["call"] == DO_NOT_RENT:
        return "shop"
    is_idle = sheet.call["call"] in (NO_OPEN_JOB, NOT_FOR_RENT) and not sheet.released
    return "none" if is_idle else "dock"


def week_jobs(report: WeekReport) -> list[dict[str, Any]]:
    """What the week asks for, job by job, the one on most hulls first.

    Returns:
        Per job: label, hulls (count in words), ids (as the list has them) and late (how many of
        them are overdue, in words; empty where none is).
    """
    ids, late = dict[str, list[str]](), Counter[str]()
    for sheet in report.hulls:
        overdue = {job["what"] for job in sheet.jobs if is_overdue(job, report.as_of)}
        for what in sheet.call["do"]:
            ids.setdefault(what, []).append(sheet.hull_id)
            late[what] += what in overdue
    return [
        {
            "label": job_short(what, report.catalogue),
            "hulls": count_text(len(hulls), fleet_words.ONE_HULL),
            "ids": hulls,
            "late": fleet_words.LATE.format(n=late[what]) if late[what] else "",
        }
        for what, hulls in sorted(ids.items(), key=lambda job: -len(job[1]))
    ]


def change_title(change: WeekChange) -> str:
    """The heading over what changed since the last report."""
    since = None if change.since is None else day_text(change.since)
    if since is not None:
        since = (
            fleet_words.GIVEN_OUT.format(day=since) if change.was_given_out else since + AFTERWARDS
        )
    return fleet_words.change_words(since, len(change.lines))


def dock_alarm(dock: Row, report: WeekReport) -> str:
    """Litres below need and old litres at a dock, where there are any; else empty."""
    parts = []
    below, old = dock["below_need_share"], dock["over_28d_share"]
    litres = dock["burned_l"] or 0.0
    if below is not None and below >= WORTH_SAYING:
        amount = quantity_text(below * litres, "l")
        parts.append(fleet_words.BELOW_NEED.format(amount=amount, share=share_text(below)))
    if old is not None and old >= WORTH_SAYING:
        days = number_text(report.assumptions.number("fuel.old_after_d"), 0)
        amount = quantity_text(old * litres, "l")
        parts.append(fleet_words.OLDER.format(amount=amount, days=days, share=share_text(old)))
    return "; ".join(parts)


def _dock(row: Row, report: WeekReport) -> dict[str, Any]:
    is_one_grade = row["dock_id"] in report.one_grade_docks
    return {
        **row,
        "alarm": dock_alarm(row, report),
        "rule": dock_rule_line(row, hulls_at(report, row["dock_id"]), report.assumptions),
        "burned": fuel_line(row, report.assumptions),
        "one_grade": one_grade_line([row["dock_id"]] if is_one_grade else []),
    }


def _behind(report: WeekReport) -> dict[str, Any]:
    """The block behind the list: jobs, bay load, who waits, hand changes, kits, the season."""
    decisions, catalogue, currency = report.decisions, report.catalogue, report.prices.currency
    calls = [sheet.call for sheet in report.hulls]
    return {
        "jobs": plan_groups(decisions, calls, catalogue),
        "bay": bay_lines(decisions, currency),
        "spare": spare_line(decisions, currency),
        "waiting": waiting_groups(calls, catalogue),
        "by_hand": hand_lines(decisions, catalogue, currency),
        "to_end": over_text(decisions.horizon_d),
        "instead": instead_lines(decisions, currency),
        "orders": order_lines(decisions, catalogue, currency),
        "readings": reading_lines(decisions, currency),
        "kits": kit_lines(decisions),
        "outlook": outlook_line(decisions, currency),
        "renewal": renewal_line(decisions),
    }


def _advice(report: WeekReport) -> dict[str, list[str]]:
    """What to do about fuel and record on the hulls that cannot be assessed; needs no chance."""
    unknown = {sheet.hull_id for sheet in report.not_assessed}
    advice: dict[str, list[str]] = {}
    for row in report.decisions.advice.iter_rows(named=True):
        if row["hull_id"] in unknown and row["about"] != "chance":
            advice.setdefault(row["hull_id"], []).append(row["advice"])
    return advice


def _bound(report: WeekReport) -> str:
    """The bound on a new set's life where there are too few failures to say more; else empty."""
    bound, few = (
        report.decisions.bound,
        report.assumptions.number("survival.few_events_per_covariate"),
    )
    if bound is None or bound.n_failures >= few:
        return ""
    return bound.sentence(report.assumptions.number("rebuild.incidence_at_h"))
