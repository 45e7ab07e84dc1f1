"""What the last bench tests of an engine say: a row a test, and a sentence for its call."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import polars as pl

from ringland.words.fixed_words import (
    FAILED_TEST,
    MARK_WORDS,
    MEASURE_LABELS,
    PARTIAL_RETEST,
    RELEASED,
    STANDS_UNTIL,
)
from ringland.words.number_words import count_text, day_text, plain_text, reading_text
from ringland.words.shown_units import shown_reading
from ringland.words.state_words import FIRST, SHEET_OPEN, SHEET_WAIVED


def latest_tests(bench: pl.DataFrame) -> pl.DataFrame:
    """The last test of each measure on each engine, cylinder by cylinder.

    Args:
        bench: `BenchVerdicts` as known at the report's instant.

    Returns:
        The columns of `bench`, in order of engine, measure, cylinder and port.
    """
    last = pl.col("inspected_at").max().over("engine_id", "measure")
    return bench.filter(pl.col("inspected_at") == last).sort(
        "engine_id", "measure", "cylinder", "port"
    )


_MOST_TELLING = ("leak_down", "compression")


def bench_warnings(standing: pl.DataFrame) -> pl.DataFrame:
    """What the failed tests of each engine that nobody released say, and what answers them.

    Args:
        standing: `StandingFailures`.

    Returns:
        One row per engine with a warning: engine_id, warning, failed_measures.  Leak-down and
        compression come first; other measures are named after it.
    """
    binding = standing.filter(pl.col("released_by").is_null()).sort(
        "engine_id", ~pl.col("measure").is_in(list(_MOST_TELLING)), "measure", descending=False
    )
    warnings = {
        engine: _warning(rows.to_dicts())
        for (engine,), rows in binding.partition_by(
            "engine_id", as_dict=True, maintain_order=True
        ).items()
    }
    said = pl.DataFrame(
        {"engine_id": list(warnings), "warning": list(warnings.values())},
        schema={"engine_id": pl.String, "warning": pl.String},
    )
    measures = binding.group_by("engine_id", maintain_order=True).agg(
        failed_measures=pl.col("measure").sort()
    )
    return said.join(measures, on="engine_id", how="left", maintain_order="left")


def _warning(rows: list[dict[str, Any]]) -> str:
    first, *others = rows
    parts = [f"{_what_failed(first)}: {first['reason']}"]
    if others:
        parts.append(f"Failed too: {'; '.join(_what_failed(row) for row in others)}")
    if any(row["retested_at"] is not None for row in rows):
        parts.append(PARTIAL_RETEST)
    return ". ".join([*parts, STANDS_UNTIL])


def _what_failed(row: Mapping[str, Any]) -> str:
    place = "" if row["cylinder"] is None else f", cylinder {row['cylinder']}"
    port = "" if row["port"] is None else f", {row['port']}"
    return f"{MEASURE_LABELS[row['measure']]}{place}{port} on {day_text(row['failed_at'])}"


def release_lines(
    standing: pl.DataFrame, sheets: pl.DataFrame, waivers: pl.DataFrame | None = None
) -> dict[str, list[str]]:
    """By engine, the failed tests, open sheets and lines of a sheet that somebody let go.

    Args:
        standing: `StandingFailures`.
        sheets: `WeekTables.sheets`.
        waivers: `SheetWaivers`; None: none is on record.
    """
    lines: dict[str, list[str]] = {}
    for row in standing.filter(pl.col("released_by").is_not_null()).iter_rows(named=True):
        failed = FAILED_TEST.format(what=_what_failed(row))
        lines.setdefault(row["engine_id"], []).append(f"{failed} {released_text(row)}")
    for row in sheets.filter(pl.col("released_by").is_not_null()).iter_rows(named=True):
        line = f"{sheet_line(row)} {released_text(row)}"
        lines.setdefault(row["engine_id"], []).append(line)
    if waivers is not None:
        of_rebuild = ["engine_id", "rebuilt_at"]
        for row in waivers.group_by(of_rebuild, maintain_order=True).all().iter_rows(named=True):
            let_go = zip(row["line"], row["waiver"], strict=True)
            said = "; ".join(f"{line}: {waiver.rstrip('.')}" for line, waiver in let_go)
            line = SHEET_WAIVED.format(day=day_text(row["rebuilt_at"]), waivers=said)
            lines.setdefault(row["engine_id"], []).append(line)
    return lines


def sheet_line(row: Mapping[str, Any]) -> str:
    """What is open of a rebuild's sheet, a row of `OpenSheets`."""
    first = row["first_open"]
    return SHEET_OPEN.format(
        day=day_text(row["rebuilt_at"]),
        count=count_text(row["open_lines"], "line"),
        first=first if row["open_lines"] == 1 else FIRST.format(first=first),
    )


def released_text(row: Mapping[str, Any]) -> str:
    """Who let an open thing go, when, why and until when."""
    until = "" if row["released_until"] is None else f", until {day_text(row['released_until'])}"
    return RELEASED.format(
        who=row["released_by"],
        day=day_text(row["released_at"]),
        until=until,
        why=str(row["released_because"]).rstrip("."),
    )


WORST_FIRST = ("fail", "lap and retest", "cannot be", "cannot judge", "pass")


def bench_rows(tests: pl.DataFrame) -> list[dict[str, str]]:
    """One row per test in words: its readings side by side, its worst verdict and why.

    Args:
        tests: one engine's rows of `latest_tests`.

    Returns:
        measure, day, readings, verdict, why, mark (how well founded the limit is), by test.
    """
    lines = []
    for part in tests.partition_by("measure", maintain_order=True):
        rows = part.to_dicts()
        worst = min(rows, key=lambda row: WORST_FIRST.index(row["verdict"]))
        where = _place(worst)
        lines.append(
            {
                "measure": MEASURE_LABELS[worst["measure"]],
                "day": day_text(worst["inspected_at"]),
                "readings": _readings(rows),
                "verdict": worst["verdict"],
                "why": f"{where}: {worst['reason']}"
                if where and len(rows) > 1
                else worst["reason"],
                "mark": MARK_WORDS.get(worst["mark"], ""),
            }
        )
    return lines


def _place(row: Mapping[str, Any]) -> str:
    """The cylinder and port a reading stands for; nothing for the whole engine."""
    cylinder = "" if row["cylinder"] is None else f"cyl {row['cylinder']}"
    return f"{cylinder} {row['port'] or ''}".strip()


def _readings(rows: list[dict[str, Any]]) -> str:
    """The readings of a test side by side, a unit they share said once."""
    units = {row["unit"] if row["state"] == "measured" else None for row in rows}
    shared = units.pop() if len(units) == 1 else None
    parts = [_reading(row, has_unit=shared is None) for row in rows]
    return ", ".join(parts) + (f" {shown_reading(0.0, shared)[1]}" if shared else "")


def _reading(row: Mapping[str, Any], *, has_unit: bool) -> str:
    read = {"stated_ok": "only 'ok' written down", "not_looked_at": "not looked at"}
    if row["state"] == "measured":
        figure = plain_text(shown_reading(row["value"], row["unit"])[0])
        read["measured"] = reading_text(row["value"], row["unit"]) if has_unit else figure
    where = _place(row)
    return f"{where}: {read[row['state']]}" if where else read[row["state"]]
