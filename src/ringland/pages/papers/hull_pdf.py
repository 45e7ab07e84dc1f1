"""One hull's week on one sheet of paper, as a PDF.

The sentences are those of its page.  Text only ever passes as data: through JSON into the
layout, which sets it as text and never reads it as markup.  The layout chooses the largest
type at which everything fits one sheet.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import typst

from ringland.pages.frame.page_files import page_file
from ringland.pages.hull import hull_words
from ringland.pages.hull.hull_page import hull_context
from ringland.pages.records.records_page import restated_line
from ringland.pages.site.site_frame import range_top
from ringland.pages.week.week_report import HullSheet, WeekReport
from ringland.risk.fleet_hazard import clear_factors
from ringland.words import fixed_words, site_words
from ringland.words.job_cautions import cautions_of
from ringland.words.manner import in_manner
from ringland.words.number_words import chance_text, known_text, range_text, share_text
from ringland.words.state_words import STATE_MARKS

FONTS = ("Libertinus Serif",)
"""Within the typesetter itself: the same letters on every machine."""

STATE_INKS = {
    "do_not_rent": "#9f2f0b",
    "rent_only": "#754c00",
    "no_open_job": "#0a5a78",
    "not_for_rent": "#46525a",
    "not_enough_record": "#46525a",
}
"""The inks of the pages' stylesheet; each state says itself in words as well."""


def hull_pdf(report: WeekReport, hull_id: str) -> bytes:
    """One hull's sheet, one page of the manner's paper; the same report gives the same bytes.

    Raises:
        ValueError: the hull has no page this week.
    """
    sheet = next((sheet for sheet in report.hulls if sheet.hull_id == hull_id), None)
    if sheet is None:
        raise ValueError(f"{hull_id} has no page this week; give a hull in service.")
    with in_manner(report.manner):
        data = sheet_data(report, sheet)
    layout = page_file("hull_sheet.typ")
    made: object = typst.compile(  # type: ignore[call-overload]  # its types lag: a dict is taken
        {"main.typ": layout},
        format="pdf",
        sys_inputs={"sheet": json.dumps(data)},
        timestamp=report.as_of,
        ignore_system_fonts=True,
    )
    if not isinstance(made, bytes):
        raise TypeError("the PDF did not come back as bytes")
    return made


def sheet_data(report: WeekReport, sheet: HullSheet) -> dict[str, Any]:
    """Every text and length on the sheet, for the layout to set; lengths are shares of a bar."""
    context = hull_context(report, sheet, clear_factors(report.fits, report.assumptions))
    top = range_top(row["high"] for row in context["horizons"])
    history = context["history"]
    return {
        "paper": report.manner.paper,
        "fonts": FONTS,
        "hull": sheet.hull_id,
        "dock": sheet.dock_id,
        "as_of": site_words.AS_KNOWN.format(instant=known_text(report.as_of)),
        "demo": site_words.INVENTED.format(label=fixed_words.DEMO_LABEL) if report.is_demo else "",
        "restated": "" if report.restated is None else restated_line(report.restated),
        "record": f"{hull_words.engine_line(sheet.state, sheet.chance)} {context['quality']}",
        "call": sheet.call["says"],
        "mark": STATE_MARKS[str(sheet.call["call"])],
        "ink": STATE_INKS[str(sheet.call["call"])],
        "reason": sheet.call["reason"],
        "steps": _steps(context),
        "chance_headings": hull_words.CHANCE_HEADINGS,
        "horizons": [_horizon(row, top) for row in context["horizons"]],
        "why_not": ""
        if context["horizons"]
        else hull_words.NO_CHANCE.format(why=sheet.chance["why_not"]),
        "chance_note": f"{context['use']} {hull_words.RANGE_NOTE} "
        + hull_words.BARS_RUN.format(top=share_text(top), behind=context["behind"]),
        "drivers": [
            {"line": row["line"], "part": row["width"] / 100 * (1 if row["part"] > 0 else -1)}
            for row in context["drivers"]
        ],
        "fuel": context["fuel"],
        "tests": [
            [row[name] for name in ("measure", "day", "readings", "verdict", "why", "mark")]
            for row in context["tests"]
        ],
        "test_headings": hull_words.TEST_HEADINGS,
        "changes": context["changes"],
        "last_call": hull_words.last_call_line(history[0] if history else None),
        "cautions": cautions_of(sheet.call["do"]),
        "never": fixed_words.NEVER_CLEARANCE,
        "association": fixed_words.ASSOCIATION,
        "versions": ", ".join(f"{name} {value}" for name, value in report.versions.items()),
        "titles": {
            "this_week": hull_words.THIS_WEEK,
            "chance": hull_words.CHANCE,
            "drivers": hull_words.DRIVERS,
            "fuel": hull_words.FUEL,
            "tests": hull_words.TESTS,
            "changes": hull_words.CHANGES,
            "last_call": hull_words.LAST_CALL,
            "cautions": fixed_words.CAUTIONS_HEADING,
        },
        "drivers_note": hull_words.DRIVERS_NOTE,
        "tests_note": hull_words.TESTS_NOTE if context["tests"] else hull_words.NO_TEST,
    }


def _steps(context: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What to do, what it takes, what to fill: a label and its sentence each."""
    advice = " ".join(context.get("advice", ()))
    released = " ".join(context["sheet"].released)
    said = (
        (hull_words.RELEASED, released),
        (hull_words.DO, context["action"]),
        (hull_words.JOB, context["job"]),
        (hull_words.FUEL_RULE, f"{context['fuel_rule']} {context['age_rule']}"),
        (hull_words.ROOM, context["plan"]),
        (hull_words.ADVICE, advice),
    )
    return [(label, text) for label, text in said if text]


def _horizon(row: Mapping[str, Any], top: float) -> dict[str, Any]:
    middle = row["middle"]
    return {
        "cells": [
            row["label"],
            chance_text(row["chance"]),
            range_text(row["low"], row["high"]),
            chance_text(middle),
        ],
        "low": row["low"] / top,
        "at": row["chance"] / top,
        "high": min(1.0, row["high"] / top),
        "middle": None if middle is None else min(1.0, middle / top),
    }
