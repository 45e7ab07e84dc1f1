"""What the tests before the failure add to the findings: one cylinder's step, or even drift.

A break steps in one cylinder; wear drifts in all.  Compression is followed against the
other cylinders, so an even drift of it cannot be seen; leak-down is followed by itself.
"""

from __future__ import annotations

from dataclasses import replace

import polars as pl

from ringland.bench.bench_trends import DRIFT, STEP, TOO_FEW
from ringland.causes.cause_findings import NOT_LOOKED_AT, NOT_SEEN, SEEN, EngineFindings
from ringland.words.fixed_words import MEASURE_LABELS
from ringland.words.number_words import day_text

STEP_FINDING, DRIFT_FINDING = "one_cylinder_step", "even_drift"
_WORSE = {"compression": -1, "leak_down": 1}
"""The direction in which each ring test gets worse."""


def with_trends(
    findings: EngineFindings, trends: pl.DataFrame, before: pl.DataFrame
) -> EngineFindings:
    """The findings with what the trends show, where nobody entered it by hand.

    With fewer tests than give a shape, or without a test of every cylinder, the trends say
    nothing: 'not looked at'.

    Args:
        findings: what was seen.
        trends: `bench_trends.reading_trends` of this piston set up to its opening, in which
            the break itself shows as a step.
        before: the same of the readings before the failure; only these can show a drift.
    """
    if not {STEP_FINDING, DRIFT_FINDING} <= set(findings.states):
        return findings
    shown = {STEP_FINDING: _step(trends), DRIFT_FINDING: _drift(before)}
    if set(shown.values()) == {SEEN}:
        return findings  # both at once name neither
    states = dict(findings.states)
    for key, state in shown.items():
        if states[key] == NOT_LOOKED_AT:
            states[key] = state
    return replace(findings, states=states)


def trend_lines(trends: pl.DataFrame) -> tuple[str, ...]:
    """Every step and drift in words, e.g. 'Leak-down, cyl 2: stepped by +40 %, Mon 5 May 2025'."""
    lines = []
    for row in trends.filter(pl.col("shape").is_in([STEP, DRIFT])).iter_rows(named=True):
        place = f"cyl {row['cylinder']}" if row["cylinder"] else "engine"
        what = f"{MEASURE_LABELS[row['measure']]}, {place}"
        when = (
            f"stepped by {row['change']:+.0%}, seen on {day_text(row['step_at'])}"
            if row["shape"] == STEP
            else f"drifted by {row['change']:+.0%} over {row['readings']} tests"
        )
        lines.append(f"{what}: {when}.")
    few = trends.filter(pl.col("shape") == TOO_FEW).height
    if few:
        lines.append(
            f"{few} series of tests of this piston set are too short to tell a step from a drift."
        )
    return tuple(lines)


def _of(trends: pl.DataFrame, measure: str) -> pl.DataFrame:
    """The measure's trends by cylinder; none if any cylinder has too few tests."""
    rows = trends.filter((pl.col("measure") == measure) & pl.col("cylinder").is_not_null())
    return rows.clear() if rows["shape"].is_in([TOO_FEW]).any() else rows


def _step(trends: pl.DataFrame) -> str:
    """Whether one cylinder fell away from the rest.

    Compression is followed against the other cylinders, so that one that steps up lets all
    others seem to step down: the fall counts that is at least twice every other one.
    """
    falls: dict[int, float] = {}
    looked = False
    for measure, worse in _WORSE.items():
        rows = _of(trends, measure)
        looked |= rows.height > 1
        for cylinder, change in (
            rows.filter((pl.col("shape") == STEP) & (pl.col("change") * worse > 0))
            .select("cylinder", "change")
            .iter_rows()
        ):
            falls[cylinder] = max(falls.get(cylinder, 0.0), abs(change))
    if not looked:
        return NOT_LOOKED_AT
    largest = sorted(falls.values(), reverse=True)
    stands_out = len(largest) == 1 or (len(largest) > 1 and largest[0] >= 2 * largest[1])
    return SEEN if stands_out else NOT_SEEN


def _drift(trends: pl.DataFrame) -> str:
    rows = _of(trends, "leak_down")
    if rows.height < 2:
        return NOT_LOOKED_AT
    drifted = rows.filter((pl.col("shape") == DRIFT) & (pl.col("change") > 0))
    return SEEN if drifted.height == rows.height else NOT_SEEN
