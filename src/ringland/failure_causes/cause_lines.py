"""The cause report's sentences and table rows.  No layout, no estimate of its own.

A chance from the cause table rests on opinions (mark A): it is said to the nearest
twentieth and never as a frequency.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.failure_causes.cause_differential import CauseRanking
from ringland.failure_causes.cause_findings import NOT_LOOKED_AT, EngineFindings
from ringland.failure_causes.cause_record import CauseRecord
from ringland.failure_causes.cause_table import UNDETERMINED, CauseTable
from ringland.wording.fixed_words import (
    FACTOR_LABELS,
    FACTOR_UNITS,
    MARK_WORDS,
    MEASURE_LABELS,
    MODE_LABELS,
)
from ringland.wording.number_words import (
    UNKNOWN,
    day_text,
    number_text,
    reading_text,
    share_text,
)

Rows = tuple[tuple[str, ...], ...]
"""Cells as shown, row by row."""

HOW_FOUND = {
    "ran_to_failure": "ran to failure",
    "inspection": "found at an inspection",
    "teardown": "found when opened",
}
STATES = {"seen": "seen", "not_seen": "not seen", NOT_LOOKED_AT: "not looked at"}
OWN_CASES = "this shop's settled cases"


def opinion_chance(chance: float) -> str:
    """A chance that rests on opinions, to the nearest twentieth, e.g. 'about 40 %'."""
    if chance < 0.05:
        return "under 5 %"
    return "over 95 %" if chance > 0.95 else f"about {round(chance * 20) * 5} %"


def mode_line(failure: Mapping[str, Any]) -> str:
    """What broke and how it came to light."""
    mode = MODE_LABELS.get(failure["mode"], failure["mode"])
    return f"{mode}, {HOW_FOUND[failure['how_found']]} on {day_text(failure['found_at'])}."


def first_cause_line(ranking: CauseRanking, table: CauseTable) -> str:
    """Where the findings point, with the runner-up."""
    first, second = ranking.chances.head(2).iter_rows(named=True)
    if first["cause"] == UNDETERMINED:
        return "What was found does not name a cause."
    runner_up = (
        "the next most likely is that the cause stays open"
        if second["cause"] == UNDETERMINED
        else f"then for {second['name']!r}"
    )
    return (
        f"The findings speak most for {first['name']!r} ({opinion_chance(first['chance'])}), "
        f"{runner_up} ({opinion_chance(second['chance'])})."
    )


def job_rows(
    failure: Mapping[str, Any],
    engine: Mapping[str, Any],
    life: Mapping[str, Any] | None,
    rebuild: Mapping[str, Any] | None,
) -> Rows:
    """Serials, hours and dates of the job."""
    known_good = failure["last_good_at"]
    return (
        ("Engine", f"{engine['engine_id']}, family {engine['family'] or UNKNOWN}"),
        ("Induction", str(engine["induction"] or UNKNOWN).replace("_", " ")),
        ("Cylinders", str(engine["cylinders"] or UNKNOWN)),
        ("Hull", str(life["hull_id"] or UNKNOWN) if life else UNKNOWN),
        ("Piston set", _set_text(life) if life else "none on record for this failure"),
        ("Found", f"{day_text(failure['found_at'])}, {HOW_FOUND[failure['how_found']]}"),
        ("Last known good", day_text(known_good) if known_good else UNKNOWN),
        ("Rebuilt", day_text(rebuild["rebuilt_at"]) if rebuild else "no rebuild on record"),
    )


def _set_text(life: Mapping[str, Any]) -> str:
    return (
        f"{life['piston_set_id']}, {life['piston_type']}, {life['supplier_grade']}, "
        f"{number_text(life['exit_h'], 0)} engine hours"
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
            MARK_WORDS.get(row["mark"], "no limit applied"),
        )
        for row in latest.iter_rows(named=True)
    )


def _place(row: Mapping[str, Any]) -> str:
    cylinder = f"cyl {row['cylinder']}" if row["cylinder"] else "engine"
    return f"{cylinder}, {row['port']}" if row["port"] else cylinder


def _reading(row: Mapping[str, Any]) -> str:
    if row["state"] == "measured":
        return reading_text(row["value"], row["unit"])
    return "ok, no number" if row["state"] == "stated_ok" else STATES[NOT_LOOKED_AT]


def found_rows(opened: pl.DataFrame, findings: EngineFindings) -> tuple[tuple[str, ...], Rows]:
    """Heading and rows: each finding entered, by cylinder, with its extent."""
    cylinders = sorted({*range(1, (findings.cylinders or 0) + 1), *opened["cylinder"].drop_nulls()})
    places = [*cylinders, None]
    heading = ("Part", "Looked for", *(f"Cyl {n}" for n in cylinders), "Whole engine")
    cells: dict[tuple[str, str], dict[int | None, str]] = {}
    for row in opened.sort("part", "finding", "cylinder").iter_rows(named=True):
        said = STATES[row["state"]] + (f", {row['extent']}" if row["extent"] else "")
        cells.setdefault((row["part"], row["finding"]), {})[row["cylinder"]] = said
    return heading, tuple(
        (part, finding, *(by_place.get(place, "\N{EN DASH}") for place in places))
        for (part, finding), by_place in cells.items()
    )


def found_notes(findings: EngineFindings) -> tuple[str, ...]:
    """What the rows themselves do not show."""
    never = sum(state == NOT_LOOKED_AT for state in findings.states.values())
    unknown = tuple(
        f"Not in the cause table, kept as written: {row}." for row in findings.unmatched
    )
    return (
        *findings.notes,
        *findings.contradictions,
        *unknown,
        f"{never} of the {len(findings.states)} findings of the cause table were not looked at "
        f"or not entered; none of these counts as 'not seen'.",
    )


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
        f"Mechanism, from the findings: {best} ({opinion_chance(chance)})."
        if ranking.first != UNDETERMINED
        else "Mechanism: the findings do not carry one."
    )
    return (
        f"Mode, what broke: {mode.lower()}.",
        mechanism,
        "Cause, why it was overloaded: ranked below. One mechanism can have several causes, "
        "and the findings alone often cannot tell them apart.",
        *ranking.notes[len(findings.notes) :],
    )


def evidence_of(ranking: CauseRanking, cause: str, side: str) -> tuple[str, ...]:
    """The evidence on one side of one cause, strongest first, with its mark."""
    rows = ranking.evidence.filter((pl.col("cause") == cause) & (pl.col("side") == side))
    return tuple(
        f"{row['words']}: {STATES[row['state']]}"
        f" ({_strength(row['log_ratio'])}; "
        f"{MARK_WORDS[row['mark']] if row['weight'] else OWN_CASES})"
        for row in rows.iter_rows(named=True)
    )


def _strength(log_ratio: float) -> str:
    size = abs(log_ratio)
    return "strong" if size > 1.0 else "moderate" if size > 0.4 else "slight"


def other_causes_line(ranking: CauseRanking, shown: int) -> str:
    """The causes not listed, with their chances summed."""
    rest = ranking.chances.filter((pl.col("rank") > shown) & (pl.col("cause") != UNDETERMINED))
    return f"All others: {opinion_chance(float(rest['chance'].sum()))} together."


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
            "not estimated"
            if row["hazard_ratio"] is None
            else (
                f"{number_text(row['hazard_ratio'])} ({number_text(row['hazard_low'])} to "
                f"{number_text(row['hazard_high'])})"
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
        return "yes" if value >= 0.5 else "no"
    if unit == "share":
        return share_text(value)
    return f"{number_text(value, 0 if unit == 'engine hours' else 1)} {unit}"


def _bounds(row: Mapping[str, Any]) -> str:
    if row["low"] == row["high"]:
        return "\N{EN DASH}"
    return f"{number_text(row['low'])} to {number_text(row['high'])}"


def unknowable_lines(
    ranking: CauseRanking, record: CauseRecord, findings: EngineFindings
) -> tuple[str, ...]:
    """What no reading of this record can tell."""
    settled = int(ranking.chances["settled_cases"].sum())
    lines = [
        f"The chances rest on weights that are opinions, moved by {settled} case(s) this shop has "
        f"settled. They order the causes; they are not frequencies.",
        "Findings on one engine are not independent; taken as such they make the first cause "
        "look surer than it is.",
        "A good compression or leak-down reading before the failure does not clear a land that "
        "was already cracked; how often the tests miss one is not known.",
        "That an exposure goes with failure in this fleet does not prove that it caused this one.",
    ]
    if record.known_share is not None and record.known_share < 0.995:
        lines.append(
            f"The octane of {share_text(1 - record.known_share)} of the fuel of its last "
            f"engine hours."
        )
    if findings.contradictions:
        lines.append("Which of the contradictory entries above is right.")
    return tuple(lines)
