"""What the record pages say: what could not be used, what is doubted, what to write down next.

One page for the fleet; each hull's own page tells of its records, with its line of hours.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from ringland.pages.records import record_words as said
from ringland.pages.records.hour_line_chart import hours_points
from ringland.pages.records.write_next import Task, tasks_of
from ringland.pages.week.week_records import Restated, WeekRecords, changes_by_record
from ringland.pages.week.week_report import WeekReport
from ringland.words.doubt_words import DOUBT_LABELS, DOUBT_REMEDIES, NOTHING_TO_DO
from ringland.words.number_words import (
    UNKNOWN,
    count_text,
    day_text,
    instant_text,
    number_text,
    share_text,
)

Row = Mapping[str, Any]
Page = tuple[str, dict[str, Any]]
"""A template's name and its context; `figures` holds the pictures by name."""

INDEX = "records/index.html"
_GROUPS_SHOWN, _EXAMPLES, _HULL_DOUBTS, _CHANGES_SHOWN = 25, 3, 12, 60
_REPAIR_FLAGS = (
    "meter_runs_backwards",
    "meter_over_24_h_a_day",
    "meter_factor_ten",
    "meter_digits_swapped",
    "meter_rolled_over",
    "meter_reset",
)
"""Doubts that stand on the line of hours itself."""


def record_contexts(
    report: WeekReport, records: WeekRecords, pages: Mapping[str, str]
) -> dict[str, Page]:
    """The page of all records by its path in the site.

    Args:
        report: the week.
        records: the state of its records.
        pages: the page of each hull, as `hull_pages` returns them.
    """
    own = {hull_id: f"{path}#records" for hull_id, path in pages.items()}
    quality = _quality(records)
    tasks = _tasks(report, records, quality)
    return {INDEX: ("records.html.j2", _index(report, records, tasks, quality, own))}


def hull_record_contexts(report: WeekReport, records: WeekRecords) -> dict[str, dict[str, Any]]:
    """What each hull's own page says of its records; `figures` holds the picture.

    Args:
        report: the week.
        records: the state of its records.
    """
    since, quality = _since(report), _quality(records)
    tasks = _tasks(report, records, quality)
    lines = records.hour_line.partition_by("hull_id", as_dict=True)
    left_out = records.left_out.partition_by("hull_id", as_dict=True)
    doubts = _with_hull(records.doubts, quality).partition_by("hull_id", as_dict=True)
    made: dict[str, dict[str, Any]] = {}
    for sheet in report.hulls:
        hull_id = sheet.hull_id
        line = lines.get((hull_id,), records.hour_line.clear())
        out = left_out.get((hull_id,), records.left_out.clear())
        mine = doubts.get((hull_id,), records.doubts.clear())
        is_repair = pl.col("flag").is_in(_REPAIR_FLAGS)
        made[hull_id] = {
            "said": said,
            "days": _days(report),
            "tasks": tasks.get(hull_id, []),
            "facts": _facts(quality.get(hull_id)),
            "figures": {"hours": hours_points(line, out)} if line.height else {},
            "carried_on": _carried_on(line),
            "hours": _hours_line(line),
            "repairs": _told(mine.filter(is_repair)),
            "doubts": _by_flag(mine.filter(~is_repair), since, _HULL_DOUBTS),
        }
    return made


def _quality(records: WeekRecords) -> dict[str, Row]:
    return {row["hull_id"]: row for row in records.quality.iter_rows(named=True)}


def _tasks(
    report: WeekReport, records: WeekRecords, quality: Mapping[str, Row]
) -> dict[str, list[Task]]:
    """What to write down next, hull by hull."""
    to_mend = _rows_to_mend(records.set_aside)
    mend_of = dict(
        to_mend.group_by("hull_id", maintain_order=True).agg(_place().n_unique()).iter_rows()
    )
    no_set = {
        sheet.hull_id
        for sheet in report.hulls
        if sheet.chance["piston_set_id"] is None and sheet.call["call"] == "not_enough_record"
    }
    return {
        sheet.hull_id: tasks_of(
            quality[sheet.hull_id],
            mend_of.get(sheet.hull_id, 0),
            report.assumptions,
            has_set=sheet.hull_id not in no_set,
        )
        for sheet in report.hulls
        if sheet.hull_id in quality
    }


def restated_line(restated: Restated) -> str:
    """What a restated page says of itself."""
    return said.KNOWN_LATER.format(
        instant=instant_text(restated.told_by), changes=_changes_line(restated)
    )


def _changes_line(restated: Restated) -> str:
    if restated.changes.is_empty():
        return said.NO_CHANGE
    counts = changes_by_record(restated.changes)
    parts = [
        told.format(records=count_text(counts[kind], "record"))
        for kind, told in said.CHANGE_KINDS.items()
        if kind in counts
    ]
    return said.CHANGES.format(changes=", ".join(parts))


def _index(
    report: WeekReport,
    records: WeekRecords,
    tasks: Mapping[str, list[Task]],
    quality: Mapping[str, Row],
    own: Mapping[str, str],
) -> dict[str, Any]:
    since = _since(report)
    to_mend = _rows_to_mend(records.set_aside)
    hulls_doubted = dict(
        _with_hull(records.doubts, quality)
        .filter(pl.col("noted_at") > since)
        .group_by("hull_id", maintain_order=True)
        .len()
        .iter_rows()
    )
    return {
        "figures": {},
        "said": said,
        "own": own,
        "days": _days(report),
        "tasks": _by_task(tasks),
        "rows_to_mend": to_mend.select(_place()).n_unique(),
        "rows_repeated": records.set_aside.select(_place()).n_unique()
        - to_mend.select(_place()).n_unique(),
        "faults": _faults(to_mend),
        "accounting": report.row_accounting.filter(pl.col("rows_in") > 0).to_dicts(),
        "doubts": _by_flag(_with_hull(records.doubts, quality), since),
        "doubts_in_all": records.doubts.height,
        "scales": _scales(records.octane_scales),
        "hulls": [
            {"hull_id": hull_id, "page": own[hull_id], "doubts": hulls_doubted.get(hull_id, 0)}
            | {"next": tasks[hull_id][0].what if tasks[hull_id] else ""}
            | {"read": _ago(quality[hull_id]["days_since_reading"], said.NEVER)}
            | dict(quality[hull_id])
            for hull_id in sorted(tasks, key=lambda hull: (-len(tasks[hull]), hull))
            if tasks[hull_id] or hulls_doubted.get(hull_id)
        ],
        "well": sorted(
            hull_id for hull_id in tasks if not tasks[hull_id] and not hulls_doubted.get(hull_id)
        ),
        "restated": None if report.restated is None else _restated(report.restated),
    }


def _days(report: WeekReport) -> str:
    return number_text(report.assumptions.number("record.recent_sessions_d"), 0)


def _since(report: WeekReport) -> datetime:
    """From when a doubt is one of late."""
    return report.as_of - timedelta(days=report.assumptions.number("record.recent_sessions_d"))


def _restated(restated: Restated) -> dict[str, Any]:
    return {
        "line": restated_line(restated),
        "rows": restated.changes.head(_CHANGES_SHOWN).to_dicts(),
        "more": max(0, restated.changes.height - _CHANGES_SHOWN),
    }


def _place() -> pl.Expr:
    return pl.struct("kind", "source_file", "source_row")


def _rows_to_mend(set_aside: pl.DataFrame) -> pl.DataFrame:
    """The set-aside rows that ask for something to be done."""
    return set_aside.filter(pl.col("remedy") != NOTHING_TO_DO)


def _with_hull(doubts: pl.DataFrame, quality: Mapping[str, Row]) -> pl.DataFrame:
    """The doubts, those about an engine alone at the hull it sits in now."""
    hull_of = {row["engine_id"]: hull for hull, row in quality.items() if row["engine_id"]}
    sits_in = pl.col("engine_id").replace_strict(hull_of, default=None, return_dtype=pl.String)
    return doubts.with_columns(pl.coalesce("hull_id", sits_in).alias("hull_id"))


def _by_task(tasks: Mapping[str, list[Task]]) -> list[dict[str, Any]]:
    found = []
    for key, what in said.TASKS.items():
        whys = {hull: task.why for hull, own in tasks.items() for task in own if task.key == key}
        if whys:
            found.append({"what": what, "hulls": sorted(whys), "why": _one_why(whys)})
    return found


def _one_why(whys: Mapping[str, str]) -> str:
    """The reason, or that of one hull where each has its own figure."""
    hull_id, why = min(whys.items())
    return why if len(set(whys.values())) == 1 else said.REASON_OF_ONE.format(hull=hull_id, why=why)


def _faults(set_aside: pl.DataFrame) -> list[dict[str, Any]]:
    """Faults alike but for the figures and names in them, commonest first."""
    alike = pl.col("fault").str.replace_all(r"'[^']*'", "'..'").str.replace_all(r"\d[\d,.:]*", "..")
    return (
        set_aside.group_by("kind", "field", alike.alias("alike"), maintain_order=True)
        .agg(
            pl.col("fault", "remedy", "source_file", "source_row").first(),
            rows=_place().n_unique(),
        )
        .sort("rows", "kind", "alike", descending=[True, False, False])
        .head(_GROUPS_SHOWN)
        .to_dicts()
    )


def _by_flag(doubts: pl.DataFrame, since: datetime, most: int = _EXAMPLES) -> list[dict[str, Any]]:
    """The doubts by what they are: those with most of late first."""
    found = []
    for (flag,), rows in doubts.group_by("flag", maintain_order=True):
        latest = rows.sort("noted_at", "sentence", descending=[True, False])
        found.append(
            {
                "label": DOUBT_LABELS[str(flag)],
                "remedy": DOUBT_REMEDIES[str(flag)],
                "recent": rows.filter(pl.col("noted_at") > since).height,
                "rows": rows.height,
                "hulls": rows["hull_id"].drop_nulls().n_unique(),
                "examples": _told(latest.head(most)),
            }
        )
    return sorted(found, key=lambda row: (-row["recent"], -row["rows"], row["label"]))


def _told(doubts: pl.DataFrame) -> list[dict[str, Any]]:
    """The newest doubts with their day."""
    rows = doubts.sort("noted_at", "sentence", descending=[True, False]).head(_HULL_DOUBTS)
    return [row | {"day": day_text(row["noted_at"])} for row in rows.iter_rows(named=True)]


def _scales(chances: pl.DataFrame) -> list[dict[str, Any]]:
    """Unlabelled numbers by dock, the most frequent first."""
    return (
        chances.group_by("dock_id", "octane_unlabelled", maintain_order=True)
        .agg(
            pl.len().alias("rows"),
            pl.col("chance_aki", "chance_ron", "chance_mon").mean(),
        )
        .sort("rows", "dock_id", "octane_unlabelled", descending=[True, False, False])
        .head(_GROUPS_SHOWN)
        .to_dicts()
    )


def _facts(quality: Row | None) -> list[tuple[str, str]]:
    if quality is None:
        return []
    facts = {
        "engine": quality["engine_id"] or UNKNOWN,
        "rental": _ago(quality["days_since_session"], said.NONE_ON_RECORD),
        "reading": _ago(quality["days_since_reading"], said.NONE_ON_RECORD),
        "on_meter": share_text(quality["on_meter_share"]),
        "explained": share_text(quality["hours_explained_share"]),
        "labelled": share_text(quality["labelled_fuel_share"]),
        "calibration": said.YES if quality["has_calibration"] else said.NO,
        "test": said.YES if quality["has_bench_test"] else said.NO,
    }
    return [(label, facts[name]) for name, label in said.QUALITY_LABELS.items()]


def _ago(days: float | None, never: str) -> str:
    return never if days is None else said.AGO.format(days=count_text(round(days), "day"))


def _hours_line(line: pl.DataFrame) -> str:
    """How far the two lines are apart at the end."""
    if line.is_empty():
        return ""
    last = line.sort("read_at").row(-1, named=True)
    sentence = said.MORE_ON_METERS if last["residual_h"] >= 0 else said.LESS_ON_METERS
    return sentence.format(
        day=day_text(last["read_at"]),
        meters=number_text(last["line_h"]),
        rentals=number_text(last["rentals_h"]),
        apart=number_text(abs(last["residual_h"])),
    )


def _carried_on(line: pl.DataFrame) -> list[dict[str, str]]:
    """Each place where the line was carried on, in words."""
    rows = line.filter(pl.col("repair").is_not_null()).sort("read_at")
    return [
        {
            "day": day_text(row["read_at"]),
            "said": said.CARRIED_ON_LINES[row["repair"]].format(
                meter=row["meter_id"], shown=number_text(row["meter_h"])
            ),
        }
        for row in rows.iter_rows(named=True)
    ]
