"""What is said where a fit misses failures: of a part of its own record, or of weeks ahead."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from ringland.words.fixed_words import MODE_LABELS
from ringland.words.number_words import MONTHS, count_text, number_text

PART_WORDS = {
    "age": "piston sets of {part}",
    "shortfall": "fuel short by {part}",
    "dock": "dock {part}",
    "season": "{part}",
}
"""By kind of part, what its name stands in."""

MISSED = (
    "Doubt: {mode}, {where}: {seen} on record where the chances' own model expects {expected} "
    "({low} to {high} would be in keeping with it). Its chances there are too {way}."
)

AHEAD_MISSED = (
    "Doubt: ring failures against the chances earlier lists gave, {weeks}. The chances are too "
    "{way}."
)
WEEK_AHEAD = "in week {week} ahead {seen} where {expected} were said ({low} to {high} in keeping)"


def against_record_line(row: Mapping[str, Any]) -> str:
    """One part that the fit misses, with its figures; `row` has the columns of the check."""
    part = MONTHS[int(row["part"]) - 1] if row["kind"] == "season" else row["part"]
    return MISSED.format(
        mode=MODE_LABELS[row["mode"]].lower(),
        where=PART_WORDS[row["kind"]].format(part=part),
        seen=count_text(row["seen"], "failure"),
        expected=number_text(row["expected"], 1),
        low=number_text(row["low"], 0),
        high=number_text(row["high"], 0),
        way="low" if row["seen"] > row["expected"] else "high",
    )


def weeks_ahead_lines(rows: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """The weeks ahead that earlier lists missed, a line for each way; `rows` are `WeeksAhead`."""
    missed = [row for row in rows if row["misses"]]
    lines = []
    for way, is_low in (("low", True), ("high", False)):
        weeks = "; ".join(
            WEEK_AHEAD.format(
                week=row["week"],
                seen=count_text(row["seen"], "failure"),
                expected=number_text(row["expected"], 1),
                low=number_text(row["low"], 0),
                high=number_text(row["high"], 0),
            )
            for row in missed
            if (row["seen"] > row["expected"]) == is_low
        )
        if weeks:
            lines.append(AHEAD_MISSED.format(weeks=weeks, way=way))
    return tuple(lines)
