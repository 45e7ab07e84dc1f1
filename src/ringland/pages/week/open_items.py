"""What stands open against an engine beside its call: its rebuild's sheet, tests let go by name.

Open failures and failed tests that nobody released are the call itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from ringland.bench.standing_tests import with_releases
from ringland.contracts.record_columns import REBUILD_SHEET
from ringland.decision.bench_lines import release_lines, released_text
from ringland.words.number_words import count_text, day_text

SHEET_FLAG, RELEASED_SHEET_FLAG = "its rebuild sheet is open", "open rebuild sheet released by name"
RELEASED_TEST_FLAG = "failed test released by name"
SHEET_OPEN = "Rebuild of {day} not accepted: {count} of its sheet open, {first}."
FIRST = "the first {first}"
SHEET_REMEDY = "Measure and sign what is open of its rebuild, or release it by name."


@dataclass(frozen=True)
class OpenItem:
    """One thing that stands open: a few words for a list, and its sentences."""

    flag: str
    line: str
    remedy: str
    """What closes it; empty where somebody let it go."""
    is_released: bool
    """Somebody let it go by name."""


def open_items(
    standing: pl.DataFrame,
    sheets: pl.DataFrame,
    records: Mapping[str, pl.DataFrame],
    as_of: datetime,
) -> dict[str, tuple[OpenItem, ...]]:
    """The open items by engine, unreleased ones first.

    Args:
        standing: `StandingFailures`.
        sheets: `OpenSheets`.
        records: installations and releases, as known at `as_of`.
        as_of: the instant the report speaks of.
    """
    items: dict[str, list[OpenItem]] = {}
    for engine, lines in release_lines(standing).items():
        items[engine] = [OpenItem(RELEASED_TEST_FLAG, line, "", is_released=True) for line in lines]
    held = with_releases(sheets, records, as_of, since="rebuilt_at", what=pl.lit(REBUILD_SHEET))
    for row in held.iter_rows(named=True):
        is_released = row["released_by"] is not None
        only = row["open_lines"] == 1
        said = SHEET_OPEN.format(
            day=day_text(row["rebuilt_at"]),
            count=count_text(row["open_lines"], "line"),
            first=row["first_open"] if only else FIRST.format(first=row["first_open"]),
        )
        items.setdefault(row["engine_id"], []).append(
            OpenItem(
                RELEASED_SHEET_FLAG if is_released else SHEET_FLAG,
                f"{said} {released_text(row)}" if is_released else said,
                "" if is_released else SHEET_REMEDY,
                is_released=is_released,
            )
        )
    return {
        engine: tuple(sorted(own, key=lambda item: item.is_released))
        for engine, own in items.items()
    }
