"""What bench readings add to the findings: a failed test is a finding, trend or no trend.

A reading that failed on this piston set speaks whenever it was taken.  One that passed says
'not seen' only where it was taken after the failure, at every place the test has on record:
a good reading from before tells nothing of what broke afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

import polars as pl

from ringland.causes import cause_words as said
from ringland.causes.cause_findings import NOT_LOOKED_AT, NOT_SEEN, SEEN, EngineFindings
from ringland.causes.cause_table import CauseTable, Finding
from ringland.words.fixed_words import MEASURE_LABELS
from ringland.words.number_words import day_text, reading_text

_BAD, _JUDGED = ("fail", "lap and retest"), ("fail", "lap and retest", "pass")


def with_readings(
    findings: EngineFindings, judged: pl.DataFrame, failed_at: datetime, table: CauseTable
) -> tuple[EngineFindings, tuple[str, ...]]:
    """The findings with what readings show where nobody entered it, and each in a sentence.

    Args:
        findings: what was seen.
        judged: `BenchVerdicts` of this engine and piston set, up to its rebuild.
        failed_at: when the failure was found.
        table: the cause table; a finding names the measures that show it.
    """
    states, seen_in = dict(findings.states), dict(findings.seen_in)
    latest = judged.filter(pl.col("verdict").is_in(_JUDGED)).filter(
        pl.col("inspected_at") == pl.col("inspected_at").max().over("measure", "cylinder", "port")
    )
    lines, read = [], latest.to_dicts()
    for finding in table.findings.values():
        if not finding.measures:
            continue
        rows = [row for row in read if row["measure"] in finding.measures]
        state, shown = _shown(finding, rows, failed_at)
        entered = findings.states.get(finding.key, NOT_LOOKED_AT)
        if state in (NOT_LOOKED_AT, entered):
            continue
        if entered != NOT_LOOKED_AT:
            lines.append(_line(said.READING_AGAINST_ENTRY, finding, state, shown))
            continue
        states[finding.key] = state
        if state == SEEN:
            seen_in[finding.key] = tuple(sorted({row["cylinder"] or 0 for row in shown}))
        lines.append(_line(said.FROM_READING, finding, state, shown))
    return replace(findings, states=states, seen_in=seen_in), tuple(lines)


def _shown(
    finding: Finding, rows: list[dict[str, Any]], failed_at: datetime
) -> tuple[str, list[dict[str, Any]]]:
    """The state that readings give a finding, and the readings that do."""
    after = [row for row in rows if row["inspected_at"] >= failed_at]
    bad = [row for row in rows if row["verdict"] in _BAD and _is_side(finding, row)]
    if finding.kind == "sound":
        if bad:
            return NOT_SEEN, bad
        return (SEEN, after) if after and len(after) == len(rows) else (NOT_LOOKED_AT, [])
    if bad:
        return SEEN, bad
    return (NOT_SEEN, after) if after and len(after) == len(rows) else (NOT_LOOKED_AT, [])


def _is_side(finding: Finding, row: Mapping[str, Any]) -> bool:
    """Whether a failed reading failed on the side the finding speaks of."""
    if finding.measured_side is None:
        return True
    return bool(row["is_limit_least"]) == (finding.measured_side == "low")


def _line(pattern: str, finding: Finding, state: str, shown: list[dict[str, Any]]) -> str:
    worst = shown[0]
    place = said.OF_PLACE.format(number=worst["cylinder"]) if worst["cylinder"] else ""
    return pattern.format(
        finding=finding.words[:1].upper() + finding.words[1:],
        state=said.STATE_WORDS[state],
        reading=said.ONE_READING.format(
            measure=MEASURE_LABELS[worst["measure"]].lower(),
            place=place,
            reading=reading_text(worst["value"], worst["unit"]),
            day=day_text(worst["inspected_at"]),
        ),
        more=said.MORE_READINGS.format(more=len(shown) - 1) if len(shown) > 1 else "",
    )
