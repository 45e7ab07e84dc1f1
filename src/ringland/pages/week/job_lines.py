"""A hull's jobs as list, page and sheet tell them: what, by when, and what to mind at it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from ringland.contracts.decision_tables import DO_NOT_RENT, RENT_ONLY
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.safety_rules import week_ashore
from ringland.decision.jobs.hull_state import is_overdue, job_label, job_short
from ringland.decision.jobs.reason_lines import late_text
from ringland.decision.jobs.step_prices import REST, step_prices
from ringland.pages.week.week_report import HullSheet, WeekReport
from ringland.words.job_cautions import LOCAL_CODES, WORK, short_cautions_of, works_of
from ringland.words.number_words import day_text, price_text, weekday_text

Row = Mapping[str, Any]

DUE, DUE_SINCE, FROM_NOW = "by {day}", "was due {day}{late}", "from the next fill or rental on"
DUE_BY = "Due {day}"
RENTAL_LOST, RUNNING = "Rental lost this week", "What it takes to run it so"


def job_rows(sheet: HullSheet, report: WeekReport) -> list[dict[str, Any]]:
    """What is to be done on a hull, the musts first.

    Returns:
        Per job: label, due (its day in words), is_late, is_must, price (in words, or empty; they
        add up to what doing it costs) and cautions: what to mind at it that no job before it named.
    """
    open_jobs = {job["what"]: job for job in sheet.jobs}
    currency = report.prices.currency
    ashore = week_ashore(report.catalogue, report.prices)
    horizon_d = report.decisions.horizon_d
    prices = step_prices(sheet.call, sheet.jobs, ashore, report.catalogue, horizon_d)
    rows, told = list[dict[str, Any]](), set[str]()
    for what in sheet.call["do"]:
        job = open_jobs.get(what)
        fresh = [work for work in works_of([what]) if work not in told]
        told.update(fresh)
        cautions = [line for work in fresh for line in WORK[work]]
        if told and what == sheet.call["do"][-1]:
            cautions.append(LOCAL_CODES)
        rows.append(
            {
                "label": job_label(what, report.catalogue),
                "due": FROM_NOW if job is None else _due(job, report.as_of),
                "is_late": job is not None and is_overdue(job, report.as_of),
                "is_must": job is not None and job["is_must"],
                "price": _price_words(prices[what], currency),
                "cautions": cautions,
            }
        )
    if REST in prices:
        label = RENTAL_LOST if sheet.call["call"] == DO_NOT_RENT else RUNNING
        rest = {"label": label, "price": _price_words(prices[REST], currency), "due": ""}
        rows.append(rest | {"is_late": False, "is_must": False, "cautions": []})
    return rows


def due_line(sheet: HullSheet, as_of: datetime) -> str:
    """By when what keeps a hull ashore is to be done, or since when it should have been.

    A hull that is rented on a condition has its days in its state.
    """
    if sheet.call["call"] != DO_NOT_RENT or not sheet.jobs:
        return ""
    first = min(job["due_at"] for job in sheet.jobs)
    late = late_text(first, as_of).removeprefix(": ")
    return late or DUE_BY.format(day=weekday_text(first))


def also_line(sheet: HullSheet, catalogue: Catalogue) -> str:
    """What is to be done beside what the state of a hull names already; empty where nothing."""
    if sheet.call["call"] == RENT_ONLY:  # each job and rule is among its conditions
        return ""
    named = {job["what"] for job in sheet.jobs if job["is_must"]}
    shorts = [job_short(what, catalogue) for what in sheet.call["do"] if what not in named]
    return " + ".join(shorts)


def mind_line(sheet: HullSheet) -> str:
    """What to mind at a hull's jobs, in few words."""
    line = "; ".join(short_cautions_of(sheet.call["do"]))
    return line[:1].upper() + line[1:]


def _price_words(price: float | None, currency: str) -> str:
    return price_text(price, currency) if price else ""


def _due(job: Row, as_of: datetime) -> str:
    late = late_text(job["due_at"], as_of)
    said = DUE_SINCE if late else DUE
    return said.format(day=day_text(job["due_at"]), late=late)
