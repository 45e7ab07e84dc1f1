"""The shop's week: it begins on Monday 00:00 on the shop's own clock, and is named by that day.

The name is the partition key of everything computed from records; the instant it stands for
depends on the home's time zone.
"""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

UTC_ZONE = ZoneInfo("UTC")


def as_of_week(partition_key: str, zone: ZoneInfo = UTC_ZONE) -> datetime:
    """The instant a week looks back from, e.g. '2026-08-17' in New York -> 04:00 UTC that day."""
    midnight = datetime.combine(date.fromisoformat(partition_key), datetime.min.time(), zone)
    return midnight.astimezone(UTC_ZONE)


def week_of(day: date) -> str:
    """The partition key of the Monday on or before a day."""
    return (day - timedelta(days=day.weekday())).isoformat()


def current_week(now: datetime, zone: ZoneInfo) -> str:
    """The week that an instant lies in, on the shop's clock."""
    return week_of(now.astimezone(zone).date())
