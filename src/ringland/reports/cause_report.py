"""The shop's cause report for one failed engine: twelve parts, as sentences and rows.

Everything a page or a PDF shows is decided here, in neutral words and without blame beyond
the record; `cause_pages` only lays it out.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl

from ringland.bench.build_sheet import BuildSheet
from ringland.causes import cause_lines as lines
from ringland.causes import cause_words as said
from ringland.causes.cause_agreement import (
    agreement_lines,
    confirmed_line,
    record_speaks,
    reverse_order_line,
)
from ringland.causes.cause_chains import chain_lines
from ringland.causes.cause_differential import CauseRanking
from ringland.causes.cause_headline import clash_lines, headline, pointed_at, spoken_against
from ringland.causes.cause_learning import ShopMemory, settled_failures
from ringland.causes.cause_lines import Rows
from ringland.causes.cause_table import UNDETERMINED, CauseTable
from ringland.causes.cause_trends import trend_lines
from ringland.rebuilds import rebuild_work_lines as work
from ringland.rebuilds.rebuild_sheet_words import PROPOSED_MARK
from ringland.rebuilds.repair_options import option_rows
from ringland.reports.cause_case import FailureCase, ShopRecord, failure_case, opening_of
from ringland.reports.cause_charts import evidence_picture
from ringland.reports.cause_photos import shown_photo
from ringland.reports.evidence_lines import evidence_gaps, evidence_rows

RANKED_SHOWN = 5
"""Causes listed with their evidence, and 'undetermined' always; the rest only as a sum."""


@dataclass(frozen=True)
class RankedCause:
    """One cause with what speaks for and against it."""

    rank: int
    name: str
    mechanism: str
    chance: str
    share: str
    """Before anything was looked at."""
    support: tuple[str, ...]
    contradiction: tuple[str, ...]
    shared: str
    """How many findings of its mechanism stand with a cause above; empty: all its own stand here"""
    record: str


@dataclass(frozen=True)
class CauseReport:
    """The twelve parts, in the order shown."""

    engine_id: str
    found_at: datetime
    mode: str
    as_of: datetime
    is_demo: bool
    versions: Mapping[str, str]
    title: str
    summary: tuple[str, ...]
    job: Rows
    complaint: tuple[str, ...]
    measured: Rows
    measured_notes: tuple[str, ...]
    found_heading: tuple[str, ...]
    found: Rows
    found_notes: tuple[str, ...]
    photos: tuple[tuple[str, bytes], ...]
    photos_missing: tuple[str, ...]
    meaning: tuple[str, ...]
    causes: tuple[RankedCause, ...]
    other_causes: str
    settle: Rows
    record: Rows
    record_lines: tuple[str, ...]
    record_gaps: tuple[str, ...]
    picture: bytes | None
    unknowable: tuple[str, ...]
    work: Rows
    work_lines: tuple[str, ...]
    options: Rows
    prevention: tuple[str, ...]
    acceptance: Rows
    closing: tuple[str, ...]
    rebuilt_at: datetime | None
    """When the rebuild after the failure was finished; None: none is on record."""
    build: BuildSheet
    """What that rebuild must pass, and how each line stands."""
    evidence: Rows
    evidence_lines: tuple[str, ...]
    signatures: tuple[str, ...]
    afterwards: tuple[str, ...]
    afterwards_lines: tuple[str, ...]
    cautions: tuple[str, ...]


def cause_reports(shop: ShopRecord) -> tuple[CauseReport, ...]:
    """One report per failure on record, by time of finding."""
    memory = shop_memory(shop)
    return tuple(
        _report(shop, failure_case(shop, failure, opening, memory), failure, memory)
        for failure, opening in shop.openings
    )


def shop_memory(shop: ShopRecord) -> ShopMemory:
    """The settled cases of the shop, read once for all reports."""
    records = shop.records
    return settled_failures(
        records["failures"],
        records["teardowns"],
        records["rebuilds"],
        records["engines"],
        shop.table,
    )


def cause_report(shop: ShopRecord, failure: Mapping[str, Any], memory: ShopMemory) -> CauseReport:
    """The report of one failure, a row of the Failures contract.

    An engine that is not on record still gets its report; what cannot be said is said.
    """
    case = failure_case(shop, failure, opening_of(shop, failure), memory)
    return _report(shop, case, failure, memory)


def _report(
    shop: ShopRecord, case: FailureCase, failure: Mapping[str, Any], memory: ShopMemory
) -> CauseReport:
    sheet, ranking, record = case.sheet, case.ranking, case.record
    speaks = record_speaks(record, shop.table, shop.assumptions)
    against = spoken_against(case.findings, speaks, shop.table)
    pointed = pointed_at(ranking, case.findings, against, shop.table)
    agreement = agreement_lines(ranking, speaks, shop.table, record, is_named=len(pointed) == 1)
    heading, found = lines.found_rows(case.opened, case.findings)
    wanted = lines.photo_names(case.opened)
    work_lines, options = (
        work.work_lines(sheet),
        option_rows(sheet, shop.records["costs"], shop.records["rebuilds"]),
    )
    shown = [name for name in wanted if name in shop.photos and shown_photo(shop.photos[name])]
    return CauseReport(
        engine_id=failure["engine_id"],
        found_at=failure["found_at"],
        mode=failure["mode"],
        as_of=shop.as_of,
        is_demo=shop.is_demo,
        versions=shop.versions,
        title=said.TITLE.format(engine=failure["engine_id"]),
        summary=(
            lines.mode_line(failure),
            headline(ranking, case.findings, speaks, failure, shop.table),
            *_in_short(agreement, pointed, failure["confirmed_cause"]),
            *_what_to_do(work_lines, options),
        ),
        job=lines.job_rows(failure, case.engine, case.life, case.rebuild),
        complaint=(failure["complaint"] or said.NO_COMPLAINT,),
        measured=lines.measured_rows(case.before),
        measured_notes=(*trend_lines(case.trends), *case.from_readings),
        found_heading=heading,
        found=found,
        found_notes=lines.found_notes(case.findings, shop.table),
        photos=tuple((name, shop.photos[name]) for name in shown),
        photos_missing=tuple(name for name in wanted if name not in shown),
        meaning=(
            *lines.meaning_lines(failure, ranking, case.findings),
            *chain_lines(case.findings, shop.table),
        ),
        causes=_ranked(ranking, speaks, against),
        other_causes=lines.other_causes_line(ranking, RANKED_SHOWN),
        settle=lines.settle_rows(ranking),
        record=lines.record_rows(record),
        record_lines=(
            *agreement,
            *clash_lines(case.findings, speaks, shop.table),
            reverse_order_line(case.entered, case.until_failure, case.trends_until, shop.table),
            confirmed_line(failure, shop.table),
            *((said.UNUSED_CASES.format(count=len(memory.unused)),) if memory.unused else ()),
        ),
        record_gaps=record.gaps,
        picture=evidence_picture(shop.fleet.of_set(record.piston_set_id), record, case.before),
        unknowable=lines.unknowable_lines(ranking, record, case.findings),
        work=work.work_rows(sheet),
        work_lines=work_lines,
        options=options,
        prevention=_prevention(ranking, speaks, against, shop.table),
        acceptance=work.acceptance_rows(sheet, case.before),
        closing=work.closing_lines(sheet, case.rebuild),
        rebuilt_at=None if case.rebuild is None else case.rebuild["rebuilt_at"],
        build=sheet.build,
        evidence=evidence_rows(case.evidence),
        evidence_lines=evidence_gaps(case.evidence, case.opened, failure),
        signatures=said.SIGNATURES,
        afterwards=sheet.break_in,
        afterwards_lines=(sheet.kept_parts, sheet.disposal),
        cautions=sheet.cautions,
    )


def _in_short(
    agreement: Sequence[str], pointed: Sequence[str], settled: str | None
) -> Sequence[str]:
    """The line of the record that belongs under the headline, which it must not contradict."""
    if len(pointed) != 1:
        return agreement[1:2]  # the first only says again that no one cause is named
    return agreement[:1] if settled in (None, *pointed) else ()


def _what_to_do(work_lines: Sequence[str], options: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """What is proposed and what it costs, in a line; none where nothing is."""
    option = next((row for row in options if row[0].endswith(PROPOSED_MARK)), None)
    if not work_lines or option is None:
        return ()
    _, price, spread, *_ = option
    return (said.WHAT_TO_DO.format(proposed=work_lines[0], price=price, spread=spread),)


def _ranked(
    ranking: CauseRanking, speaks: pl.DataFrame, against: Collection[str]
) -> tuple[RankedCause, ...]:
    told = dict(speaks.select("cause", pl.format("{}: {}", "side", "sentence")).iter_rows())
    ranked: list[RankedCause] = []
    shown = ranking.chances.filter(
        (pl.col("rank") <= RANKED_SHOWN) | (pl.col("cause") == UNDETERMINED)
    )
    for row in shown.iter_rows(named=True):
        support, contradiction = (
            lines.evidence_of(ranking, row["cause"], side) for side in ("for", "against")
        )
        above = next((one for one in ranked if one.mechanism == row["mechanism"]), None)
        own = [[line for line in side if above is None or line not in (*above.support,
               *above.contradiction)] for side in (support, contradiction)]  # fmt: skip
        shared = len(support) + len(contradiction) - sum(map(len, own))
        ranked.append(
            RankedCause(
                rank=row["rank"],
                name=row["name"],
                mechanism=row["mechanism"] or said.NONE_NAMED,
                chance=said.CHANCE_NOT_NAMED
                if row["cause"] in against
                else lines.opinion_chance(row["chance"]),
                share=lines.share_before(row),
                support=tuple(own[0]),
                contradiction=tuple(own[1]),
                shared=said.SHARED.format(n=shared, rank=above.rank, mechanism=row["mechanism"])
                if above and shared
                else "",
                record=told.get(row["cause"], said.NO_BETTER),
            )
        )
    return tuple(ranked)


def _prevention(
    ranking: CauseRanking, speaks: pl.DataFrame, against: Collection[str], table: CauseTable
) -> tuple[str, ...]:
    """What keeps it from happening again, for the causes either line of evidence puts forward."""
    leading = [
        cause
        for cause in ranking.chances["cause"].head(3)
        if cause != UNDETERMINED and cause not in against
    ][:2]
    by_record = speaks.filter(pl.col("side") == "for")["cause"].to_list()
    return tuple(
        f"{table.named(cause)}: {table.causes[cause].prevention}"
        for cause in dict.fromkeys([*leading, *by_record])
    )
