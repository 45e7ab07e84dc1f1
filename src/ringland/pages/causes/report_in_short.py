"""What a cause report says at first sight, where its long tables are folded away."""

from __future__ import annotations

from collections.abc import Sequence

from ringland.causes import cause_words as said
from ringland.causes.bench_form_words import STATES
from ringland.causes.cause_findings import SEEN
from ringland.reports.cause_report import CauseReport

MOST_LINES = 6
PASSED = "pass"


def report_in_short(report: CauseReport) -> dict[str, object]:
    """The lines that stand for each folded table: what failed and what was seen come first."""
    job = {row[0]: row[1] for row in report.job}
    return {
        "job": said.JOB_IN_SHORT.format(
            **{name: job[said.JOB_LABELS[name]] for name in ("engine", "hull", "set")}
        ),
        "measured": _not_passed(report),
        "found": _seen(report),
        "other_causes": "; ".join(
            said.NAME_AND_CHANCE.format(name=cause.name, chance=cause.chance)
            for cause in report.causes[2:]
        ),
        "settle": said.SETTLE_SHORT.format(findings="; ".join(row[0] for row in report.settle[:3]))
        if report.settle
        else "",
    }


def _not_passed(report: CauseReport) -> list[str]:
    """The latest readings that did not pass; those nobody judged stay in the table."""
    lines = [
        said.NOT_PASSED.format(test=test, place=place, day=day, reading=reading, verdict=verdict)
        for test, day, place, reading, verdict, *_ in report.measured
        if verdict != PASSED
    ]
    if not lines:
        return [said.ALL_PASSED.format(n=len(report.measured))] if report.measured else []
    return _cut(lines)


def _seen(report: CauseReport) -> list[str]:
    """What was seen and in which cylinders."""
    places = [*report.found_heading[2:-1], said.WHOLE_ENGINE]
    lines = []
    for part, finding, *cells in report.found:
        where = [
            f"{place.lower()}{cell.removeprefix(STATES[SEEN])}"
            for place, cell in zip(places, cells, strict=True)
            if cell.partition(",")[0] == STATES[SEEN]
        ]
        if where:
            lines.append(said.SEEN_IN.format(part=part, finding=finding, where="; ".join(where)))
    if not lines:
        return [said.NONE_SEEN.format(n=len(report.found))] if report.found else []
    return _cut(lines)


def _cut(lines: Sequence[str]) -> list[str]:
    more = len(lines) - MOST_LINES
    if more <= 1:  # a line for one more is as long as that one
        return list(lines)
    return [*lines[:MOST_LINES], said.MORE_NOT_PASSED.format(more=more)]
