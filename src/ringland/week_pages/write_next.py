"""What the operator should write down next, hull by hull: the gaps that cost the most first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ringland.assumptions import Assumptions
from ringland.wording.number_words import count_text, number_text, share_text

Row = Mapping[str, Any]


@dataclass(frozen=True)
class Task:
    """One thing to write down: its kind, what to do, and why for this hull."""

    key: str
    what: str
    why: str


TASKS = {
    "engine": "Write down which engine sits in it, and since when.",
    "set": "Write down the piston set its engine runs, and at what engine hours it was fitted.",
    "calibration": "Write down the calibration in force and the octane it needs.",
    "mend": "Mend its rows in set-aside.xlsx and load that book back.",
    "fuel": "Write octane and its scale (AKI, RON or MON) beside each fill, and on every delivery.",
    "reading": "Read its hour meter.",
    "rentals": "Look for rentals that were not written down.",
    "bench": "Measure compression or leak-down, and write the figures down by cylinder.",
}
"""What to do, in the order in which it helps: what nothing can be said without comes first."""


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
        why["engine"] = "No hour it runs counts for any engine."
    elif not has_set:
        why["set"] = "Without it there is no life to tell a chance of."
    if quality["engine_id"] is not None and not quality["has_calibration"]:
        why["calibration"] = "There is no need to hold its fuel against."
    if to_mend:
        why["mend"] = f"{count_text(to_mend, 'row')} of it could not be used."
    if labelled is None:
        why["fuel"] = "No fill is on record."
    elif labelled < settings.number("write_next.labelled_share"):
        why["fuel"] = f"{share_text(1 - labelled)} of its litres have no octane on a stated scale."
    if reading_d is None:
        why["reading"] = "No good reading is on record: its hours rest on the rentals alone."
    elif reading_d > late_d:
        why["reading"] = f"The last good reading is {number_text(reading_d, 0)} days old."
    if explained is not None and explained < settings.number("write_next.explained_share"):
        why["rentals"] = f"{share_text(1 - explained)} of its meter's hours are on no rental."
    if quality["engine_id"] is not None and not quality["has_bench_test"]:
        why["bench"] = "No test since its piston set was fitted: a crack would not have shown."
    return [Task(key, what, why[key]) for key, what in TASKS.items() if key in why]
