"""What the operator should write down next, hull by hull: the gaps that cost the most first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ringland.pages.records import record_words as said
from ringland.settings.assumptions import Assumptions
from ringland.words.number_words import count_text, number_text, share_text

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Task:
    """One thing to write down: its kind, what to do, and why for this hull."""

    key: str
    what: str
    why: str


def tasks_of(
    quality: Row, to_mend: int, settings: Assumptions, *, has_set: bool = True
) -> list[Task]:
    """What this hull's record lacks, the most useful first; empty: nothing.

    Args:
        quality: its row of `RecordQuality`.
        to_mend: how many of its rows are set aside and can be mended.
        settings: the group write_next.
        has_set: the piston set that its engine runs, or ran until it broke, is on record.
    """
    reading_d, labelled = quality["days_since_reading"], quality["labelled_fuel_share"]
    explained = quality["hours_explained_share"]
    late_d = settings.number("write_next.reading_d")
    why: dict[str, str] = {}
    if quality["engine_id"] is None:
        why["engine"] = said.NO_ENGINE
    elif not has_set:
        why["set"] = said.NO_SET
    if quality["engine_id"] is not None and not quality["has_calibration"]:
        why["calibration"] = said.NO_CALIBRATION
    if to_mend:
        why["mend"] = said.ROWS_UNUSED.format(rows=count_text(to_mend, "row"))
    if labelled is None:
        why["fuel"] = said.NO_FILL
    elif labelled < settings.number("write_next.labelled_share"):
        why["fuel"] = said.UNLABELLED.format(share=share_text(1 - labelled))
    if reading_d is None:
        why["reading"] = said.HOURS_ON_RENTALS
    elif reading_d > late_d:
        why["reading"] = said.OLD_READING.format(days=number_text(reading_d, 0))
    if explained is not None and explained < settings.number("write_next.explained_share"):
        why["rentals"] = said.UNEXPLAINED.format(share=share_text(1 - explained))
    if quality["engine_id"] is not None and not quality["has_bench_test"]:
        why["bench"] = said.NO_TEST
    return [Task(key, what, why[key]) for key, what in said.TASKS.items() if key in why]
