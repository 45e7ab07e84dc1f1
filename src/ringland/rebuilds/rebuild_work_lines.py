"""The rebuild sheet's part of a cause report: work, options, acceptance, closing, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.bench.build_lines import PASS, BuildLine
from ringland.bench.build_sheet import OF_TESTS, place_of
from ringland.causes.cause_lines import Rows
from ringland.rebuilds import rebuild_sheet_words as said
from ringland.rebuilds.rebuild_scope import RebuildSheet
from ringland.words.fixed_words import MARK_WORDS
from ringland.words.number_words import day_text, number_text, reading_text


def work_rows(sheet: RebuildSheet) -> Rows:
    """What must be done and why, parts and hours."""
    return tuple(
        (
            item.what,
            item.why,
            "; ".join(item.because) or said.EVERY_REBUILD,
            ", ".join(item.parts) or "\N{EN DASH}",
            number_text(item.hours),
            MARK_WORDS[item.mark],
        )
        for item in sheet.items
    )


def work_lines(sheet: RebuildSheet) -> tuple[str, ...]:
    """Scope and hours in one sentence."""
    scope = said.SCOPE_NAMES[sheet.scope]
    return (said.PROPOSED_WORK.format(scope=scope, hours=number_text(sheet.hours)),)


def acceptance_rows(sheet: RebuildSheet, before: pl.DataFrame) -> Rows:
    """Every line of the build sheet: stage, check, place, limits, before, read, verdict, by whom.

    Args:
        sheet: the rebuild sheet.
        before: `BenchVerdicts` from before the work; the latest of a line that is also a bench
            test is shown beside what was read after it.
    """
    earlier = {
        (OF_TESTS[row["measure"]], place_of(row["cylinder"], row["port"])): row
        for row in before.filter(pl.col("measure").is_in(list(OF_TESTS)))
        .sort("inspected_at", maintain_order=True)
        .iter_rows(named=True)
    }
    rows = []
    for line in sheet.build.lines:
        old = earlier.get((line.check.key, line.place))
        rows.append(
            (
                line.check.stage,
                line.check.words,
                line.place or said.THE_ENGINE,
                line.target,
                said.NONE
                if old is None or old["value"] is None
                else reading_text(old["value"], old["unit"]),
                line.shown,
                line.waiver or _verdict(line),
                said.NONE
                if line.read_by is None or line.read_at is None
                else said.BY.format(name=line.read_by, day=day_text(line.read_at)),
            )
        )
    return tuple(rows)


def _verdict(line: BuildLine) -> str:
    """The verdict with its reason; a pass says no more where its reason is the reading again."""
    read, told = (text.lower().split() for text in (line.shown.partition(" (")[0], line.reason))
    if line.verdict == PASS and len(told) <= 2 and told[-1:] == read[-1:]:  # value, unit
        return line.verdict
    return said.VERDICT.format(verdict=line.verdict, reason=line.reason)


def closing_lines(sheet: RebuildSheet, rebuild: Mapping[str, Any] | None) -> tuple[str, ...]:
    """Whether the sheet may be closed, what stands in the way, and all that was let go."""
    let_go = tuple(said.LET_GO.format(waiver=waiver) for waiver in sheet.build.waivers)
    unknown = tuple(said.NOT_ASKED_LINE.format(row=row) for row in sheet.build.unknown)
    obstacles = sheet.build.obstacles
    if not obstacles:
        return (said.MAY_CLOSE, *let_go, *unknown)
    which = said.THIS_REBUILD if rebuild else said.A_REBUILD
    shown = obstacles[:6]
    more = len(obstacles) - len(shown)
    return (
        said.CANNOT_CLOSE.format(which=which, count=len(obstacles)),
        *shown,
        *((said.MORE_READINGS.format(more=more),) if more else ()),
        *let_go,
        *unknown,
    )
