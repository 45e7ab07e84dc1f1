"""What else could be done on a hull, and why its chance is another than last week's, in words."""

from __future__ import annotations

import polars as pl

from ringland.decision.jobs.hull_state import job_short
from ringland.pages.week.week_report import HullSheet, WeekReport
from ringland.words.number_words import UNKNOWN, chance_text, money_text, number_text, price_text

CHOICES = "What can be done, and what each leaves"
CHOICE_HEADINGS = ("Steps", "Cost", "Saves", "Fails all the same")
PLANNED, AS_IT_IS, NOTHING_SAVED = "{steps} (this week's plan)", "Leave it as it is", "nothing"
CHOICES_NOTE = (
    "Over {ahead}, the best sets of steps for this hull alone; what the week has room for and "
    "safety may choose another. Saved is after its own price, against leaving it as it is; a minus "
    "sign: it costs more than it saves."
)

CHANGED = "Why its chance is another than last week"
CHANGED_LINE = "Chance in 30 days {now}, last week {then}."
PART_HEADINGS = ("What changed", "Percentage points")
PARTS = {
    "refit": "what the whole fleet's record taught since",
    "hours": "hours it ran since",
    "season": "how much it is to run from here",
    "fuel": "fuel it burned",
    "throttle": "how hard it was ridden",
    "calibration": "its calibration",
    "other": "anything else",
    "set": "another piston set",
}
CHANGED_NOTE = "A bench test moves none of these: it moves the state and what a step is worth."


def choice_rows(sheet: HullSheet, report: WeekReport) -> list[tuple[str, str, str, str]]:
    """The best sets of steps on a hull and leaving it: steps, cost, saving, chance left."""
    currency = report.prices.currency
    rows = report.decisions.sets.filter(pl.col("hull_id") == sheet.hull_id).sort("place")
    told = []
    for row in rows.iter_rows(named=True):
        steps = " + ".join(job_short(name, report.catalogue) for name in row["steps"])
        if row["is_planned"] and steps:
            steps = PLANNED.format(steps=steps)
        told.append(
            (
                steps[:1].upper() + steps[1:] or AS_IT_IS,
                price_text(row["sure_cost"], currency) if row["sure_cost"] else NOTHING_SAVED,
                money_text(row["saving"], currency) if steps else NOTHING_SAVED,
                UNKNOWN if row["chance"] is None else chance_text(row["chance"]),
            )
        )
    return [*told[1:], *told[:1]]  # as it is stands last


def changed_rows(sheet: HullSheet) -> list[tuple[str, str]]:
    """The parts of what moved a hull's chance that move it by a tenth of a point or more."""
    moved = [row for row in sheet.changed if abs(row["by"]) >= 0.0005]
    return [
        (PARTS[row["part"]], f"{'+' if row['by'] > 0 else ''}{number_text(100 * row['by'])}")
        for row in sorted(moved, key=lambda row: -abs(row["by"]))
    ]


def changed_line(sheet: HullSheet) -> str:
    """The chance now and a week ago; empty where one of them is not known."""
    if not sheet.changed:
        return ""
    first = sheet.changed[0]
    return CHANGED_LINE.format(
        now=chance_text(first["chance_now"]), then=chance_text(first["chance_then"])
    )
