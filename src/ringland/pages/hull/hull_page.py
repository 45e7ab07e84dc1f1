"""What a hull's page says: its call, chances, drivers, record, tests, job and history."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any

import polars as pl

from ringland.decision.actions.action_catalogue import FUEL_RULE, Catalogue
from ringland.decision.jobs.bench_lines import WORST_FIRST, bench_rows
from ringland.decision.jobs.call_lines import action_line, ahead_text, do_label
from ringland.decision.value.what_if import choices
from ringland.decision.week_decisions import WeekDecisions
from ringland.pages.frame.picture_sketch import Points
from ringland.pages.hull import hull_choices, hull_words
from ringland.pages.hull.hull_choices import changed_line, changed_rows, choice_rows
from ringland.pages.hull.hull_words import cost_facts
from ringland.pages.hull.timeline_chart import TIMELINE, timeline_points
from ringland.pages.hull.what_if_form import what_if_form
from ringland.pages.week.fuel_advice_words import (
    age_rule_line,
    hull_rule_line,
    is_fuel_wrong,
)
from ringland.pages.week.job_lines import job_rows
from ringland.pages.week.past_calls import call_history
from ringland.pages.week.plan_lines import hull_plan_line
from ringland.pages.week.report_words import (
    change_lines,
    driver_line,
    failure_count_line,
    fuel_line,
    level_line,
    makes_no_difference,
    quality_line,
    use_line,
)
from ringland.pages.week.week_report import HullSheet, WeekReport
from ringland.words.number_words import (
    UNKNOWN,
    instant_text,
    number_text,
    plain_text,
    quantity_text,
)

Row = Mapping[str, Any]


def hull_context(
    report: WeekReport,
    sheet: HullSheet,
    clear: Collection[str],
    what_ifs: pl.DataFrame | None = None,
    *,
    tank: Mapping[str, Any] | None = None,
    record: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """What the hull page's template needs; `figures` are drawn by name.

    Args:
        report: the week's report.
        sheet: the hull.
        clear: factors whose effect the record tells from none.
        what_ifs: its rows of `WhatIfs`; None: the page has no what-if.
        tank: what it says of its tank, as `tank_contexts` returns it.
        record: what it says of its records, as `hull_record_contexts` returns it.
    """
    settings = report.assumptions
    turns_d, old_d = settings.number("fuel.turns_after_d"), settings.number("fuel.old_after_d")
    figures: dict[str, Points] = {}
    for part in (tank, record):
        figures |= {} if part is None else part["figures"]
    if sheet.exposure.height:
        figures[TIMELINE] = timeline_points(sheet.exposure, sheet.events)
    tests = sorted(bench_rows(sheet.tests), key=lambda test: WORST_FIRST.index(test["verdict"]))
    return {
        "sheet": sheet,
        "action": action_line(
            sheet.call, report.catalogue, report.decisions.horizon_d, report.prices.currency
        ),
        "step": step_line(sheet.call, report.catalogue),
        "facts": cost_facts(
            sheet.call, ahead_text(report.decisions.horizon_d), report.prices.currency
        ),
        "engine": hull_words.engine_line(sheet.state, sheet.chance),
        "said": hull_words,
        "job": job_line(sheet.call["do"], report.catalogue),
        "plan": hull_plan_line(sheet.call, report.catalogue),
        "advice": []
        if sheet.chance["chance_30d"] is not None
        else report.decisions.advice.filter(
            (pl.col("hull_id") == sheet.hull_id) & (pl.col("about") != "chance")
        )["advice"].to_list(),
        "fuel_rule": hull_rule_line(sheet.at_hand, settings),
        "age_rule": age_rule_line(settings),
        "is_fuel_wrong": is_fuel_wrong(sheet.at_hand),
        "quality": quality_line(sheet.quality),
        "use": use_line(sheet.state, settings),
        "behind": failure_count_line(
            (fit.mode, fit.n_failures, fit.n_sets) for fit in report.fits.modes
        ),
        "drivers": _driver_rows(sheet.drivers, clear),
        "fuel": fuel_line(sheet.fuel, settings),
        "unknown_note": _unknown_note(sheet.exposure),
        "tests": tests,
        "tests_open": [test for test in tests if test["verdict"] != "pass"],
        "tests_passed": [test for test in tests if test["verdict"] == "pass"],
        "jobs": job_rows(sheet, report),
        "choices": choice_rows(sheet, report),
        "ahead": ahead_text(report.decisions.horizon_d),
        "changed": changed_rows(sheet),
        "changed_line": changed_line(sheet),
        "choice_words": hull_choices,
        "tank": tank,
        "record": record,
        "turns_d": number_text(turns_d, 0),
        "old_d": number_text(old_d, 0),
        "changes": change_lines(sheet.call, sheet.state, sheet.quality),
        "horizons": horizon_rows(report, sheet),
        "history": call_history(
            report.past,
            sheet.hull_id,
            sheet.events.filter(pl.col("lane") == "Failure"),
            report.as_of,
            catalogue=report.catalogue,
            n_weeks=int(settings.number("report.history_weeks")),
        ),
        "has_past": report.past is not None,
        "lineage": [lineage_row(row) for row in sheet.lineage.iter_rows(named=True)],
        "look_back_h": number_text(settings.number("exposure.trailing_h"), 0),
        "what_if": None if what_ifs is None else _what_if(report, sheet, what_ifs),
        "figures": figures,
    }


def step_line(call: Row, catalogue: Catalogue) -> str:
    """What is to be done, without its price; what stands in its place where nothing is named."""
    label = do_label(call, catalogue)
    return hull_words.NO_STEP if label is None else f"{label}."


def job_line(do: Sequence[str], catalogue: Catalogue) -> str:
    """What the jobs take: mechanic's hours, lift slots, kits; empty where there is none."""
    jobs = [job for what in do for job in catalogue.jobs(what)]
    if not jobs:
        return ""
    return hull_words.job_words(
        sum(job.mechanic_h for job in jobs),
        sum(job.lift_slots for job in jobs),
        [(part, count) for job in jobs for part, count in job.parts.items()],
    )


def horizon_rows(report: WeekReport, sheet: HullSheet) -> list[dict[str, Any]]:
    """The chances by horizon: label, chance, low, high, middle (of the fleet)."""
    rows = []
    for horizon in report.horizons:
        own = horizon.chances.get(sheet.hull_id)
        if own is not None:
            rows.append(
                {
                    "label": horizon.label,
                    "chance": own[0],
                    "low": own[1],
                    "high": own[2],
                    "middle": horizon.fleet_middle,
                }
            )
    return rows


def lineage_row(row: Row) -> dict[str, str]:
    """One fill in texts: when, litres, source, grade, and the row of the file it stands in."""
    grade = row["octane_aki"], row["octane_ron"]
    at_dock = row["source"] == "dock"
    return {
        "at": instant_text(row["filled_at"]),
        "amount": quantity_text(row["volume_l"], "l", 1),
        "source": str(row["source_dock_id"] or "") if at_dock else str(row["source"]),
        "grade": hull_words.GRADE_AKI.format(grade=plain_text(grade[0]))
        if grade[0] is not None
        else hull_words.GRADE_RON.format(grade=plain_text(grade[1]))
        if grade[1] is not None
        else hull_words.GRADE_OF_DOCK
        if at_dock
        else UNKNOWN,
        "row": UNKNOWN
        if row["source_file"] is None
        else hull_words.FILE_AND_ROW.format(file=row["source_file"], row=row["source_row"]),
    }


def _what_if(report: WeekReport, sheet: HullSheet, what_ifs: pl.DataFrame) -> dict[str, Any] | None:
    return what_if_form(
        what_ifs,
        sheet.at_hand,
        choices=choices(report.catalogue),
        grades_aki=report.grades_aki,
        catalogue=report.catalogue,
        per_l=better_fuel_price(report.decisions, sheet.hull_id),
    )


def better_fuel_price(decisions: WeekDecisions, hull_id: str) -> float | None:
    """What a litre of better fuel costs a hull more, as the list prices it; None: it has none.

    The way the plan takes counts, else the cheapest there is.
    """
    rows = decisions.options.filter(
        (pl.col("hull_id") == hull_id) & (pl.col("option") == FUEL_RULE)
    )
    if decisions.plan is not None:
        planned = rows.join(
            decisions.plan.rows.select("hull_id", "fuel_way"), on=["hull_id", "fuel_way"]
        )
        rows = planned if planned.height else rows
    return min(rows["fuel_per_l"].to_list(), default=None)


def _driver_rows(drivers: Iterable[Row], clear: Collection[str]) -> list[dict[str, object]]:
    """A bar for each factor that makes a difference; those that make none share one line."""
    level: list[Row] = []
    rows: list[Row] = []
    for driver in drivers:
        (level if makes_no_difference(driver) else rows).append(driver)
    longest = max((abs(row["log_hazard_part"]) for row in rows), default=0.0) or 1.0
    told: list[dict[str, object]] = [
        {
            "line": driver_line(row, is_clear=row["factor"] in clear),
            "part": row["log_hazard_part"],
            "width": round(50 * abs(row["log_hazard_part"]) / longest, 1),
        }
        for row in rows
    ]
    if level:
        told.append({"line": level_line(level), "part": 0.0, "width": 0.0})
    return told


def _unknown_note(exposure: pl.DataFrame) -> str:
    unknown = exposure["octane_margin_on"].null_count()
    if not unknown:
        return ""
    return hull_words.NOT_DRAWN.format(unknown=unknown, rentals=exposure.height)
