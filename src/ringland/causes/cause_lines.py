"""The cause report's sentences and table rows.  No layout, no estimate of its own.

A chance from the cause table rests on opinions (mark A): it is said to the nearest
twentieth and never as a frequency.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.causes import cause_words as said
from ringland.causes.bench_form_words import STATES
from ringland.causes.cause_differential import CauseRanking
from ringland.causes.cause_findings import NOT_LOOKED_AT, EngineFindings
from ringland.causes.cause_record import CauseRecord
from ringland.causes.cause_table import UNDETERMINED, CauseTable
from ringland.words.fixed_words import (
    FACTOR_LABELS,
    FACTOR_UNITS,
    MARK_WORDS,
    MEASURE_LABELS,
    MODE_LABELS,
)
from ringland.words.number_words import (
    UNKNOWN,
    day_text,
    number_text,
    reading_text,
    share_text,
)

Rows = tuple[tuple[str, ...], ...]
"""Cells as shown, row by row."""


def opinion_chance(chance: float) -> str:
    """A chance that rests on opinions, to the nearest twentieth, e.g. 'about 40 %'."""
    if chance < 0.05:
        return said.UNDER
    return said.OVER if chance > 0.95 else said.ABOUT.format(percent=round(chance * 20) * 5)


def mode_line(failure: Mapping[str, Any]) -> str:
    """What broke and how it came to light."""
    mode = MODE_LABELS.get(failure["mode"], failure["mode"])
    how, day = said.HOW_FOUND[failure["how_found"]], day_text(failure["found_at"])
    return said.MODE.format(mode=mode, how=how, day=day)


def job_rows(
    failure: Mapping[str, Any],
    engine: Mapping[str, Any],
    life: Mapping[str, Any] | None,
    rebuild: Mapping[str, Any] | None,
) -> Rows:
    """Serials, hours and dates of the job."""
    known_good, family = failure["last_good_at"], engine["family"] or UNKNOWN
    found = day_text(failure["found_at"])
    facts = {
        "engine": said.ENGINE_FAMILY.format(engine=engine["engine_id"], family=family),
        "induction": str(engine["induction"] or UNKNOWN).replace("_", " "),
        "cylinders": str(engine["cylinders"] or UNKNOWN),
        "hull": str(life["hull_id"] or UNKNOWN) if life else UNKNOWN,
        "set": _set_text(life) if life else said.NO_SET,
        "found": said.FOUND_HOW.format(day=found, how=said.HOW_FOUND[failure["how_found"]]),
        "known_good": day_text(known_good) if known_good else UNKNOWN,
        "rebuilt": day_text(rebuild["rebuilt_at"]) if rebuild else said.NO_REBUILD,
    }
    return tuple((label, facts[name]) for name, label in said.JOB_LABELS.items())


def _set_text(life: Mapping[str, Any]) -> str:
    return said.SET.format(
        set=life["piston_set_id"],
        piston_type=life["piston_type"],
        grade=life["supplier_grade"],
        hours=number_text(life["exit_h"], 0),
    )


def measured_rows(before: pl.DataFrame) -> Rows:
    """The latest test of each measure before the work, by cylinder."""
    latest = before.filter(pl.col("inspected_at") == pl.col("inspected_at").max().over("measure"))
    return tuple(
        (
            MEASURE_LABELS[row["measure"]],
            day_text(row["inspected_at"]),
            _place(row),
            _reading(row),
            row["verdict"],
            row["reason"],
            MARK_WORDS.get(row["mark"], said.NO_LIMIT),
        )
        for row in latest.iter_rows(named=True)
    )


def _place(row: Mapping[str, Any]) -> str:
    place = said.CYLINDER.format(number=row["cylinder"]) if row["cylinder"] else said.ENGINE
    return said.AT_PORT.format(place=place, port=row["port"]) if row["port"] else place


def _reading(row: Mapping[str, Any]) -> str:
    if row["state"] == "measured":
        return reading_text(row["value"], row["unit"])
    return said.OK_NO_NUMBER if row["state"] == "stated_ok" else STATES[NOT_LOOKED_AT]


def found_rows(opened: pl.DataFrame, findings: EngineFindings) -> tuple[tuple[str, ...], Rows]:
    """Heading and rows: each finding entered, by cylinder, with its extent."""
    cylinders = sorted({*range(1, (findings.cylinders or 0) + 1), *opened["cylinder"].drop_nulls()})
    places = [*cylinders, None]
    part, looked_for, cylinder, engine = said.FOUND_HEADINGS
    heading = (part, looked_for, *(cylinder.format(number=n) for n in cylinders), engine)
    cells: dict[tuple[str, str], dict[int | None, str]] = {}
    for row in opened.sort("part", "finding", "cylinder").iter_rows(named=True):
        told = STATES[row["state"]]
        if row["extent"]:
            told = said.WITH_EXTENT.format(state=told, extent=row["extent"])
        cells.setdefault((row["part"], row["finding"]), {})[row["cylinder"]] = told
    return heading, tuple(
        (part, finding, *(by_place.get(place, "\N{EN DASH}") for place in places))
        for (part, finding), by_place in cells.items()
    )


def found_notes(findings: EngineFindings, table: CauseTable) -> tuple[str, ...]:
    """What the rows themselves do not show, and what unknown words may have meant."""
    never = sum(state == NOT_LOOKED_AT for state in findings.states.values())
    unknown = tuple(
        said.ASK_WORDS.format(finding=row, ask=ask_for(row.partition(": ")[2], table))
        for row in findings.unmatched
    )
    return (
        *findings.notes,
        *findings.contradictions,
        *unknown,
        said.NOT_LOOKED_AT.format(never=never, all=len(findings.states)),
    )


def ask_for(words: str, table: CauseTable) -> str:
    """What to ask about words the table does not know: the nearest it knows, if any."""
    near = " or ".join(repr(finding.words) for finding in table.nearest(words))
    return said.DID_YOU_MEAN.format(words=near) if near else said.ADD_WORDS


def photo_names(opened: pl.DataFrame) -> tuple[str, ...]:
    """Every photo named, once, in the order of the rows."""
    named = opened["photo_files"].drop_nulls().to_list()
    names = [name.strip() for entry in named for name in entry.split(";")]
    return tuple(dict.fromkeys(name for name in names if name))


def meaning_lines(
    failure: Mapping[str, Any], ranking: CauseRanking, findings: EngineFindings
) -> tuple[str, ...]:
    """Mode, mechanism and cause kept apart."""
    by_mechanism = (
        ranking.chances.filter(pl.col("mechanism").is_not_null())
        .group_by("mechanism", maintain_order=True)
        .agg(pl.col("chance").sum())
        .sort("chance", descending=True, maintain_order=True)
    )
    best, chance = by_mechanism.row(0)
    mode = MODE_LABELS.get(failure["mode"], failure["mode"])
    mechanism = (
        said.MECHANISM.format(mechanism=best, chance=opinion_chance(chance))
        if ranking.first != UNDETERMINED
        else said.NO_MECHANISM
    )
    return (
        said.MODE_MEANS.format(mode=mode.lower()),
        mechanism,
        said.CAUSE_MEANS,
        *ranking.notes[len(findings.notes) :],
    )


def evidence_of(ranking: CauseRanking, cause: str, side: str) -> tuple[str, ...]:
    """The evidence on one side of one cause, strongest first, with its mark."""
    rows = ranking.evidence.filter((pl.col("cause") == cause) & (pl.col("side") == side))
    return tuple(
        said.EVIDENCE.format(
            finding=row["words"],
            state=STATES[row["state"]],
            strength=_strength(row["log_ratio"]),
            basis=_basis(row),
        )
        for row in rows.iter_rows(named=True)
    )


def _basis(row: Mapping[str, Any]) -> str:
    """What a weight rests on; one that settled cases moved says so, with the cases."""
    basis = MARK_WORDS[row["mark"]]
    if not row["is_moved"]:
        return basis
    return said.MOVED_BY_CASES.format(
        basis=basis, seen=row["cases_seen"], looked=row["cases_looked"]
    )


def share_before(row: Mapping[str, Any]) -> str:
    """The share of a cause before anything was looked at, and without the shop's cases."""
    share, table = opinion_chance(row["share"]), opinion_chance(row["table_share"])
    return share if share == table else said.SHARE_MOVED.format(share=share, table=table)


def _strength(log_ratio: float) -> str:
    size = abs(log_ratio)
    return said.STRONG if size > 1.0 else said.MODERATE if size > 0.4 else said.SLIGHT


def other_causes_line(ranking: CauseRanking, shown: int) -> str:
    """The causes not listed, with their chances summed."""
    rest = ranking.chances.filter((pl.col("rank") > shown) & (pl.col("cause") != UNDETERMINED))
    return said.OTHER_CAUSES.format(chance=opinion_chance(float(rest["chance"].sum())))


def settle_rows(ranking: CauseRanking, number: int = 5) -> Rows:
    """What was not looked at and would tell most."""
    return tuple(
        (row["words"], row["part"], number_text(row["information_bits"], 2))
        for row in ranking.open_findings.head(number).iter_rows(named=True)
    )


def record_rows(record: CauseRecord) -> Rows:
    """Each factor: value, fleet's middle, place in the fleet, hazard, share of the hazard."""
    return tuple(
        (
            FACTOR_LABELS[row["factor"]],
            _value(row, "value"),
            _bounds(row),
            _value(row, "fleet_middle"),
            UNKNOWN if row["percentile"] is None else share_text(row["percentile"]),
            said.NOT_ESTIMATED
            if row["hazard_ratio"] is None
            else (
                said.HAZARD.format(
                    ratio=number_text(row["hazard_ratio"]),
                    low=number_text(row["hazard_low"]),
                    high=number_text(row["hazard_high"]),
                )
            ),
            "\N{EN DASH}" if row["share"] is None else share_text(row["share"]),
        )
        for row in record.factors.iter_rows(named=True)
    )


def _value(row: Mapping[str, Any], name: str) -> str:
    value, unit = row[name], FACTOR_UNITS[row["factor"]]
    if value is None:
        return UNKNOWN
    if unit == "yes/no":
        return said.YES if value >= 0.5 else said.NO
    if unit == "share":
        return share_text(value)
    return f"{number_text(value, 0 if unit == 'engine hours' else 1)} {unit}"


def _bounds(row: Mapping[str, Any]) -> str:
    if row["low"] == row["high"]:
        return "\N{EN DASH}"
    return said.FROM_TO.format(low=number_text(row["low"]), high=number_text(row["high"]))


def unknowable_lines(
    ranking: CauseRanking, record: CauseRecord, findings: EngineFindings
) -> tuple[str, ...]:
    """What no reading of this record can tell."""
    settled = int(ranking.chances["settled_cases"].sum())
    lines = [
        said.OPINIONS.format(settled=settled),
        said.NOT_INDEPENDENT,
        said.TESTS_MISS,
        said.NO_PROOF,
    ]
    if record.known_share is not None and record.known_share < 0.995:
        lines.append(said.OCTANE_UNKNOWN.format(share=share_text(1 - record.known_share)))
    if findings.contradictions:
        lines.append(said.CONTRADICTORY)
    return tuple(lines)
