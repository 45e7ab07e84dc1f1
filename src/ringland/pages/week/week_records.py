"""What one week's pages say about the records themselves, as frames."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import polars as pl

from ringland.contracts.record_tables import RecordChanges


@dataclass(frozen=True)
class Restated:
    """That a week was worked out anew with what was known at `told_by`, and what that changed.

    `changes` is the `RecordChanges` against what was known then.
    """

    told_by: datetime
    changes: pl.DataFrame


@dataclass(frozen=True)
class WeekRecords:
    """The state of the records as known at the week.

    `set_aside` has one row per fault: kind, source_file, source_row, field, fault, remedy,
    value, hull_id.  `doubts` is a `RecordFlags` of every room, `hour_line` an `HourLine`,
    `left_out` the meter readings that are not on it, `octane_scales` an
    `OctaneScaleChances`, `quality` a `RecordQuality`.
    """

    set_aside: pl.DataFrame
    doubts: pl.DataFrame
    hour_line: pl.DataFrame
    left_out: pl.DataFrame
    octane_scales: pl.DataFrame
    quality: pl.DataFrame


def left_out_readings(hour_readings: pl.DataFrame, hour_line: pl.DataFrame) -> pl.DataFrame:
    """The readings that cannot be true: hull_id, meter_id, read_at, meter_h."""
    key = ["hull_id", "meter_id", "read_at"]
    return hour_readings.select(*key, "meter_h").join(hour_line, on=key, how="anti").sort(key)


def changes_by_record(changes: pl.DataFrame) -> Mapping[str, int]:
    """How many records changed in each way, e.g. {'corrected': 2, 'came later': 5}."""
    counted = (
        RecordChanges.validate(changes, cast=True)
        .group_by("change", maintain_order=True)
        .agg(pl.struct("record_kind", "record_key").n_unique())
    )
    return dict(counted.iter_rows())
