"""The as-of week: Monday 00:00 UTC, the partition key of everything computed from records."""

from datetime import UTC, date, datetime, timedelta

import dagster as dg

# end_offset: Monday's partition exists from that Monday on, when its report is wanted.
WEEKS = dg.WeeklyPartitionsDefinition(start_date="2015-01-05", day_offset=1, end_offset=1)


def as_of_week(partition_key: str) -> datetime:
    """The instant a partition looks back from, e.g. '2026-08-17' -> 2026-08-17 00:00 UTC."""
    return datetime.combine(date.fromisoformat(partition_key), datetime.min.time(), tzinfo=UTC)


def week_of(day: date) -> str:
    """The partition key of the Monday on or before a day."""
    return (day - timedelta(days=day.weekday())).isoformat()
