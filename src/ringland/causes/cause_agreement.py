"""Findings and record side by side: what each says of a cause, and where they disagree.

Neither line of evidence changes the other's figures.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.causes.cause_differential import CauseRanking
from ringland.causes.cause_findings import NOT_SEEN, SEEN, EngineFindings
from ringland.causes.cause_record import CauseRecord
from ringland.causes.cause_table import UNDETERMINED, Cause, CauseTable
from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import FACTOR_LABELS, MEASURE_LABELS
from ringland.words.number_words import day_text, number_text, share_text

FOR, AGAINST, SILENT = "for", "against", "says nothing"

_Row = Mapping[str, Any]
"""A row of `CauseRecord.factors`."""

_RING_SIGNS = ("gap_wide", "rings_stuck", "rings_lapped", "hull_oil", "intake_oily", "even_drift")
_RING_TESTS = ("crankcase_pressure", "hull_oil", "leak_down", "compression")


def record_speaks(record: CauseRecord, table: CauseTable, assumptions: Assumptions) -> pl.DataFrame:
    """One row per cause: cause, side ('for', 'against', 'says nothing'), sentence.

    A factor speaks for its cause if it stands out from the fleet at the same hours, and
    against it if it stands out the other way.  Fuel that met the need even at its worst
    speaks against fuel below need; a shortfall only the worst fuel would give says nothing.
    """
    rows = [(key, *_side(cause, record, assumptions)) for key, cause in table.causes.items()]
    return pl.DataFrame(
        rows,
        schema={"cause": pl.String, "side": pl.String, "sentence": pl.String},
        orient="row",
    )


def _side(cause: Cause, record: CauseRecord, assumptions: Assumptions) -> tuple[str, str]:
    if cause.record_factor is None:
        return SILENT, f"The exposure record holds nothing on it. To ask: {cause.ask}."
    rows = record.factors.filter(pl.col("factor") == cause.record_factor)
    if rows.is_empty():
        return SILENT, f"Nothing on record before this failure. To ask: {cause.ask}."
    row = rows.row(0, named=True)
    plain = _PLAIN.get(cause.record_factor)
    said = plain(cause, row, record, assumptions) if plain else None
    return said or _side_in_fleet(cause, row, record.compared, assumptions)


_Said = tuple[str, str] | None
"""What a factor says by itself, whatever the fleet did; None: nothing."""


def _of_calibration(cause: Cause, row: _Row, record: CauseRecord, edges: Assumptions) -> _Said:
    """None on record is no sign of a stock one, nor is one put back the day before."""
    then = record.calibration
    if row["value"]:
        return FOR, "A raised calibration was in force."
    if then is None or then.at_end is None:
        return SILENT, f"Which calibration was in force is not on record. To ask: {cause.ask}."
    if then.raised_share > 0:
        return SILENT, (
            f"A raised calibration was in force for {share_text(then.raised_share)} of its last "
            f"hours, and no longer at the failure."
        )
    if then.unknown_share > 0:
        return SILENT, (
            f"At the failure the calibration was not a raised one; for "
            f"{share_text(then.unknown_share)} of its last hours none is on record."
        )
    return AGAINST, "The calibration in force was not a raised one."


def _of_hours(cause: Cause, row: _Row, record: CauseRecord, edges: Assumptions) -> _Said:
    """A part fitted wrong may let go late: hours alone clear no builder until many have run."""
    if cause.record_side == "high":
        return None
    early_h, late_h = edges.number("record.early_h"), edges.number("record.late_h")
    said = f"It failed at {number_text(row['value'], 0)} engine hours of the build"
    if row["value"] <= early_h:
        return FOR, f"{said}, within the first {number_text(early_h, 0)}."
    if row["value"] <= late_h:
        return SILENT, f"{said}, beyond the first {number_text(early_h, 0)}; that tells little."
    return AGAINST, f"{said}, beyond the first {number_text(late_h, 0)}."


def _of_fuel_age(cause: Cause, row: _Row, record: CauseRecord, edges: Assumptions) -> _Said:
    turns_d = edges.number("fuel.turns_after_d")
    if row["value"] >= turns_d:
        return None
    return SILENT, (
        f"The fuel burned was {number_text(row['value'], 0)} days old in the mean, younger "
        f"than the "
        f"{number_text(turns_d, 0)} days at which common practice has it turn."
    )


def _of_shortfall(cause: Cause, row: _Row, record: CauseRecord, edges: Assumptions) -> _Said:
    if row["high"] <= 0:
        return AGAINST, "The fuel burned met the need, even taken at its worst."
    if row["low"] > 0:
        stands_out = (row["percentile"] or 0.0) >= edges.number("record.stands_out")
        if stands_out or row["percentile"] is None:
            return None
        return SILENT, (
            f"The fuel fell short of the need by {number_text(row['value'])} octane numbers, more "
            f"than for {share_text(row['percentile'])} of {record.compared} other sets at these "
            f"hours: short, but no more than was usual here."
        )
    return SILENT, (
        f"Whether the fuel met the need turns on what is not on record: shortfall "
        f"{number_text(row['low'])} to {number_text(row['high'])} octane numbers."
    )


_PLAIN = {
    "is_raised_calibration": _of_calibration,
    "age_h": _of_hours,
    "fuel_age_25h_d": _of_fuel_age,
    "shortfall_25h_on": _of_shortfall,
}


def _side_in_fleet(
    cause: Cause, row: Mapping[str, Any], compared: int, assumptions: Assumptions
) -> tuple[str, str]:
    label = FACTOR_LABELS[row["factor"]]
    percentile = row["percentile"]
    if percentile is None:
        return SILENT, f"{label}: too few other sets at these hours to compare with."
    edge = assumptions.number("record.stands_out")
    said = f"{label}: above {share_text(percentile)} of {compared} other sets at these hours."
    if row["factor"] == "age_h":
        said = (
            f"{label}: {number_text(row['value'], 0)}, above {share_text(percentile)} of "
            f"the other sets."
        )
    is_high, is_low = percentile >= edge, percentile <= 1 - edge
    wanted, other = (is_high, is_low) if cause.record_side == "high" else (is_low, is_high)
    if wanted:
        return FOR, said
    return (AGAINST, said) if other else (SILENT, said)


def agreement_lines(
    ranking: CauseRanking,
    speaks: pl.DataFrame,
    table: CauseTable,
    record: CauseRecord,
    *,
    is_named: bool = True,
) -> tuple[str, ...]:
    """Where findings and record agree, disagree or leave each other alone, in sentences.

    Args:
        ranking: what the findings say.
        speaks: what `record_speaks` says.
        table: the cause table.
        record: what the record holds.
        is_named: whether the headline points at one cause (`cause_headline.pointed_at`).
    """
    side = dict(speaks.select("cause", "side").iter_rows())
    named = [cause for cause in ranking.chances["cause"] if cause != UNDETERMINED]
    first = named[0]
    lines = []
    if ranking.first == UNDETERMINED:
        lines.append("The findings alone name no cause.")
    elif not is_named:
        lines.append("What was found does not tell which driver of its mechanism it was.")
    else:
        said = {
            FOR: "The record speaks for it too: the two lines of evidence agree.",
            AGAINST: "The record speaks against it: the two lines of evidence disagree.",
            SILENT: "The record neither supports nor contradicts it.",
        }[side[first]]
        lines.append(f"The findings put {table.named(first)!r} first. {said}")
    others = [
        table.named(cause)
        for cause in table.causes
        if side[cause] == FOR and (cause != first or ranking.first == UNDETERMINED or not is_named)
    ]
    if others:
        lines.append(f"The record speaks for: {', '.join(others)}.")
    if side.get("knock_tune") == FOR and (told := _fuel_under_stock(record)):
        lines.append(told)
    elif {side.get("knock_fuel"), side.get("knock_tune")} == {FOR}:
        lines.append(
            "Fuel below need and a raised calibration stand together here: the calibration "
            "raises the need that the fuel then falls short of. The record cannot say which "
            "of the two to blame."
        )
    return tuple(lines)


def _fuel_under_stock(record: CauseRecord) -> str | None:
    """Whether the same fuel would have met the need of the stock calibration."""
    then = record.calibration
    if then is None or then.short_of_stock_on is None:
        return None
    best, worst = then.short_of_stock_on
    need = number_text(then.stock_need_aki, 0)
    if worst <= 0:
        return (
            f"The same fuel would have met the stock calibration's need ({need} AKI), even taken "
            f"at its worst: the raised calibration asked for more than it gives."
        )
    if best > 0:
        return (
            f"The same fuel falls short of the stock calibration's need ({need} AKI) as well, by "
            f"{number_text(best)} to {number_text(worst)} octane numbers; the raised calibration "
            f"adds to that. The record cannot say which of the two to blame."
        )
    return (
        f"Whether the same fuel would have met the stock calibration's need ({need} AKI) turns on "
        f"what is not on record: shortfall 0 to {number_text(worst)} octane numbers."
    )


def reverse_order_line(
    findings: EngineFindings, before: pl.DataFrame, trends: pl.DataFrame, table: CauseTable
) -> str:
    """Whether worn rings may have come first: oil in the charge lowers knock resistance.

    Args:
        findings: what was seen.
        before: `BenchVerdicts` of this engine before the failure, of this piston set.
        trends: `bench_trends.reading_trends` of these readings.
        table: words of the findings.
    """
    signs = [table.findings[key].words for key in _RING_SIGNS if findings.states.get(key) == SEEN]
    failed = before.filter(pl.col("measure").is_in(_RING_TESTS) & (pl.col("verdict") == "fail"))
    signs += [
        f"{MEASURE_LABELS[row['measure']].lower()} failed on {day_text(row['inspected_at'])}"
        for row in failed.unique("measure", keep="first", maintain_order=True).iter_rows(named=True)
    ]
    drifts = trends.filter(pl.col("measure").is_in(_RING_TESTS) & (pl.col("shape") == "drift"))
    signs += [
        f"{MEASURE_LABELS[measure].lower()} had drifted"
        for measure in drifts["measure"].unique(maintain_order=True)
    ]
    if signs:
        return (
            "The order may be the reverse: worn rings put oil in the charge, and oil lowers "
            f"knock resistance. For this speaks: {'; '.join(signs)}."
        )
    looked = [key for key in _RING_SIGNS if findings.states.get(key) == NOT_SEEN]
    tested = before.filter(
        pl.col("measure").is_in(_RING_TESTS) & pl.col("standard_value").is_not_null()
    )
    if not looked and tested.is_empty():
        return (
            "Whether worn rings came first cannot be told: no ring test is on record before "
            "the failure, and no sign of worn rings was looked for."
        )
    return (
        f"Worn rings coming first was considered: {tested['inspected_at'].n_unique()} ring "
        f"test(s) before the failure and {len(looked)} sign(s) looked for show none."
    )


def confirmed_line(failure: Mapping[str, Any], table: CauseTable) -> str:
    """What the shop itself settled on, if anything."""
    cause = failure["confirmed_cause"]
    if cause is None or failure["cause_confirmed_at"] is None:
        return "The shop has not settled on a cause."
    name = table.named(cause) if cause in table.outcomes else cause
    return f"The shop settled on: {name} ({day_text(failure['cause_confirmed_at'])})."
