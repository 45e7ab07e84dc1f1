"""What the fuel pages say: dock by dock, hull by hull, and of each tank on its hull's page.

Litres burned against need are those of `fuel_burned`, the dock's rule that of
`report_words`: here stands what the ledger adds, what docks hold and sold and how each tank
came to its blend.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.exposure.week_fuel import WeekFuel
from ringland.pages.frame.picture_sketch import Points
from ringland.pages.fuel import fuel_words
from ringland.pages.fuel.fuel_charts import tank_points
from ringland.pages.week.fuel_advice_words import age_rule_line, dock_rule_line
from ringland.pages.week.report_words import WORTH_SAYING
from ringland.pages.week.week_report import WeekReport, hulls_at
from ringland.settings.assumptions import Assumptions
from ringland.words.job_cautions import cautions_of
from ringland.words.number_words import (
    UNKNOWN,
    count_text,
    day_text,
    number_text,
    quantity_text,
    share_text,
)

Row = Mapping[str, Any]
Page = tuple[str, dict[str, Any]]
"""A template's name and its context; `figures` holds the pictures by name."""

INDEX = "fuel/index.html"


def fuel_contexts(report: WeekReport, fuel: WeekFuel, pages: Mapping[str, str]) -> dict[str, Page]:
    """The docks' page by its path in the site.

    Args:
        report: the week.
        fuel: its fuel, as `week_fuel` returns it.
        pages: the page of each hull, as `hull_pages` returns them.
    """
    return {INDEX: ("fuel.html.j2", _index(report, fuel, pages))}


def tank_contexts(report: WeekReport, fuel: WeekFuel) -> dict[str, dict[str, Any]]:
    """What each hull's own page says of its tank; `figures` holds the picture.

    Args:
        report: the week.
        fuel: its fuel, as `week_fuel` returns it.
    """
    courses = fuel.tank_course.partition_by("hull_id", as_dict=True)
    worst = fuel.worst.partition_by("hull_id", as_dict=True)
    windows = {row["hull_id"]: row for row in fuel.windows.iter_rows(named=True)}
    accounts = {row["tank"]: row for row in fuel.balance.iter_rows(named=True)}
    return {
        sheet.hull_id: {
            "said": fuel_words,
            "figures": _pictures({"tank": courses.get((sheet.hull_id,), fuel.tank_course.clear())}),
            "days": _days(report.assumptions, "fuel.picture_d"),
            "worst": [
                ride | {"day": day_text(ride["started_at"])}
                for ride in worst.get((sheet.hull_id,), fuel.worst.clear()).iter_rows(named=True)
            ],
            "windows": _windows(windows.get(sheet.hull_id), report.assumptions),
            "account": _account_lines(accounts.get(sheet.hull_id), report.assumptions),
            **_ages(report.assumptions),
        }
        for sheet in report.hulls
    }


def _index(report: WeekReport, fuel: WeekFuel, pages: Mapping[str, str]) -> dict[str, Any]:
    settings = report.assumptions
    rules = {row["dock_id"]: row for row in report.dock_fuel.iter_rows(named=True)}
    by_dock = fuel.dock_course.partition_by("dock_id", as_dict=True)
    figures: dict[str, Any] = {}
    docks = []
    most_below_first = fuel.docks.sort("sold_below_need_l", "dock_id", descending=[True, False])
    for number, dock in enumerate(most_below_first.iter_rows(named=True)):
        name = dock["dock_id"]
        course = by_dock.get((name,), fuel.dock_course.clear())
        pictures = _pictures({f"dock-{number}": course}, dock["need_high_aki"])
        figures |= pictures
        docks.append(
            {
                "name": name,
                "picture": next(iter(pictures), None),
                "rule": dock_rule_line(rules[name], hulls_at(report, name), settings)
                if name in rules
                else "",
                "row": dock,
                "facts": _dock_facts(dock, settings),
                "below": [hull for hull in dock["below_need"] or () if hull in pages],
                "likely": _likely_line(dock, settings),
            }
        )
    hulls = [
        {"hull_id": sheet.hull_id, "dock_id": sheet.dock_id, **sheet.fuel}
        for sheet in report.hulls
        if sheet.fuel
    ]
    hulls.sort(key=lambda row: (-(row["below_need_share"] or 0.0), row["hull_id"]))
    well = [row["hull_id"] for row in hulls if _is_well(row)]
    return {
        "figures": figures,
        "said": fuel_words,
        "age_rule": age_rule_line(settings),
        "cautions": cautions_of(["drain_refill", "fuel_rule"]),
        "docks": docks,
        "silent": sorted(set(rules) - set(fuel.docks["dock_id"])),
        "hulls": [row for row in hulls if row["hull_id"] not in well],
        "well": sorted(well),
        "pages": pages,
        "days": _days(settings, "record.recent_sessions_d"),
        "picture_days": _days(settings, "fuel.picture_d"),
        "trials": fuel.trials.to_dicts(),
        "gap": number_text(settings.number("octane.sensitivity_spread_on")),
        "need_spread": number_text(settings.number("octane.need_spread_on"), 2),
        **_ages(settings),
    }


def _is_well(burned: Row) -> bool:
    """Whether all a hull burned of late is known, met the need, and hardly any of it was old."""
    shares = [burned[name] for name in ("below_need_share", "over_28d_share", "unknown_share")]
    return shares[0] == 0.0 and all(x is not None and x < WORTH_SAYING for x in shares)


def _days(settings: Assumptions, name: str) -> str:
    return number_text(settings.number(name), 0)


def _ages(settings: Assumptions) -> dict[str, str]:
    return {
        "turns_d": _days(settings, "fuel.turns_after_d"),
        "old_d": _days(settings, "fuel.old_after_d"),
    }


def _pictures(
    courses: Mapping[str, pl.DataFrame], need_aki: float | None = None
) -> dict[str, Points]:
    """The picture of each tank that has an event to show."""
    return {
        name: tank_points(course, need_aki) for name, course in courses.items() if course.height
    }


def _dock_facts(dock: Row, settings: Assumptions) -> list[tuple[str, str]]:
    days = _days(settings, "record.recent_sessions_d")
    oldest, lasts = dock["oldest_sold_d"], dock["turnover_d"]
    blend = fuel_words.BLEND.format(
        middle=number_text(dock["octane_aki"]),
        low=number_text(dock["octane_low_aki"]),
        high=number_text(dock["octane_high_aki"]),
        unknown=_unknown_part(dock["unknown_share"]),
    )
    tank = fuel_words.LEVEL_AND_AGE.format(
        level=quantity_text(dock["level_l"], "l"),
        age=fuel_words.age_words(
            dock["fuel_age_d"], dock["old_in_d"], _days(settings, "fuel.old_after_d")
        ),
    )
    need = fuel_words.need_words(
        dock["need_low_aki"], dock["need_high_aki"], dock["below_need_hulls"], dock["hulls"]
    )
    return [
        (fuel_words.SOLD_BELOW_NEED_LAST.format(days=days), _sold_line(dock)),
        (fuel_words.BLEND_NOW, blend),
        (fuel_words.NEED_OF_HULLS, need),
        (fuel_words.IN_THE_TANK, tank),
        (fuel_words.OLDEST_SOLD, _of_sale(fuel_words.OLDEST_FILL, oldest)),
        (fuel_words.TURNOVER, _of_sale(fuel_words.LASTS_AT_THIS_RATE, lasts)),
    ]


def _of_sale(sentence: str, days: float | None) -> str:
    if days is None:
        return fuel_words.NOTHING_SOLD
    return sentence.format(days=number_text(days, 0))


def _sold_line(dock: Row) -> str:
    sold, below = dock["sold_l"], dock["sold_below_need_l"]
    if not sold:
        return fuel_words.NOTHING_SOLD
    if not below:
        return fuel_words.NONE_BELOW.format(sold=quantity_text(sold, "l"))
    return fuel_words.WENT_BELOW.format(
        below=quantity_text(below, "l"),
        sold=quantity_text(sold, "l"),
        share=share_text(below / sold),
    )


def _unknown_part(share: float | None) -> str:
    if share is None or share < WORTH_SAYING:
        return ""
    return fuel_words.NO_GRADE_PART.format(share=share_text(share))


def _likely_line(dock: Row, settings: Assumptions) -> str:
    """What the stated needs leave open: engines of one model differ."""
    share = dock["need_more_share"]
    if share is None:
        return ""
    return fuel_words.NEED_MORE_LIKELY.format(
        share=share_text(share), spread=number_text(settings.number("octane.need_spread_on"), 2)
    )


def _windows(row: Row | None, settings: Assumptions) -> list[dict[str, str]]:
    """The running set's litres over hours, days and life, known and assumed apart."""
    if row is None:
        return []
    hours, days = _days(settings, "exposure.trailing_h"), _days(settings, "exposure.trailing_d")
    return [
        {
            "span": span.format(hours=hours, days=days),
            "burned": quantity_text(row[f"burned_{key}_l"], "l"),
            "known": share_text(row[f"known_{key}_share"]),
            "short": _split(row, f"short_{{}}_{key}_on", 2),
            "age": _split(row, f"age_{{}}_{key}_d", 1),
            "old": _split(row, f"old_{{}}_{key}_share", None),
        }
        for key, span in fuel_words.SPANS.items()
    ]


def _split(row: Row, name: str, digits: int | None) -> str:
    """Known plus assumed part of a mean, e.g. '1.20 + 0.05'."""
    parts = [row[name.format(origin)] for origin in ("known", "assumed")]
    if None in parts:
        return UNKNOWN
    shown = [share_text(x) if digits is None else number_text(x, digits) for x in parts]
    return " + ".join(shown)


def _account_lines(row: Row | None, settings: Assumptions) -> list[str]:
    """Where the litres of this tank came from and went, over the whole record."""
    if row is None:
        return []
    missing = count_text(row["unrecorded_fills"], "fill")
    came = {name: became.format(missing=missing) for name, became in fuel_words.CAME.items()}
    lines = [
        fuel_words.CAME_IN.format(parts=fuel_words.litre_parts(row, came)),
        fuel_words.WENT_OUT.format(parts=fuel_words.litre_parts(row, fuel_words.WENT)),
    ]
    if row["is_balance_off"]:
        lines.append(
            fuel_words.OFF_BALANCE.format(
                days=_days(settings, "fuel.balance_days"),
                share=share_text(settings.number("fuel.balance_off")),
            )
        )
    return lines
