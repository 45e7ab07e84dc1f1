"""The evidence chain of a failure in words: who looked, with what, and where it is kept."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import polars as pl

from ringland.causes import cause_words as said
from ringland.causes.cause_lines import Rows
from ringland.words.fixed_words import MEASURE_LABELS
from ringland.words.number_words import UNKNOWN, day_text


def evidence_of_failure(
    evidence: pl.DataFrame, failure: Mapping[str, Any], until: datetime | None
) -> pl.DataFrame:
    """The rows of the Evidence contract of one failure, up to the engine's next one."""
    rows = evidence.filter(
        (pl.col("engine_id") == failure["engine_id"]) & (pl.col("taken_at") >= failure["found_at"])
    ).sort("taken_at", "kind", "item")
    return rows if until is None else rows.filter(pl.col("taken_at") < until)


def evidence_rows(evidence: pl.DataFrame) -> Rows:
    """What it is, its number, what it belongs to, seal and result, where or how kept, by whom."""
    return tuple(
        (
            said.EVIDENCE_KINDS[row["kind"]],
            row["item"],
            said.OF_CYLINDER.format(about=_about(row), cylinder=row["cylinder"])
            if row["cylinder"]
            else _about(row) or UNKNOWN,
            _sealed(row),
            _kept(row),
            said.TAKEN_BY.format(
                name=row["taken_by"] or said.NO_NAME, day=day_text(row["taken_at"])
            ),
        )
        for row in evidence.iter_rows(named=True)
    )


def _about(row: Mapping[str, Any]) -> str:
    """What it belongs to; a measure by the name the pages give it."""
    about = str(row["about"] or "")
    return MEASURE_LABELS.get(about, about)


def _sealed(row: Mapping[str, Any]) -> str:
    told = [said.SEAL.format(seal=row["seal"])] if row["seal"] else []
    return "; ".join([*told, *([row["result"]] if row["result"] else [])]) or said.NOTHING_WRITTEN


def _kept(row: Mapping[str, Any]) -> str:
    if row["kind"] == "instrument":
        day = row["calibrated_at"]
        return said.CALIBRATED.format(day=day_text(day)) if day else said.NOT_CALIBRATED
    return row["kept_where"] or said.NOTHING_WRITTEN


def evidence_gaps(
    evidence: pl.DataFrame, opened: pl.DataFrame, failure: Mapping[str, Any]
) -> tuple[str, ...]:
    """Who looked, who settled, and what a dispute would find missing."""
    looked = sorted(opened["examined_by"].drop_nulls().unique())
    lines = [
        said.EXAMINED_BY.format(names=", ".join(looked)) if looked else said.NOBODY_NAMED,
    ]
    if failure["confirmed_cause"] is not None:
        who = failure["settled_by"] or said.NO_NAME
        lines.append(said.SETTLED_BY.format(name=who, day=day_text(failure["cause_confirmed_at"])))
    kinds = set(evidence["kind"])
    lines += [line for kind, line in said.MISSING_EVIDENCE.items() if kind not in kinds]
    return tuple(lines)
