"""One value to the words for it: days, chances, money, shares.  Null is said, never blank."""

from __future__ import annotations

import math
from datetime import date, datetime

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
UNKNOWN = "not known"

YES_NO_FACTORS = ("is_raised_calibration", "is_forged")


def day_text(day: date) -> str:
    """A day as read aloud, e.g. 'Mon 7 Sep 2026'; the same under every locale."""
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"


def instant_text(instant: datetime) -> str:
    """An instant to the minute with its zone, e.g. 'Mon 7 Sep 2026, 06:00 UTC'."""
    return f"{day_text(instant)}, {instant:%H:%M} UTC"


def chance_text(chance: float | None) -> str:
    """A chance in percent: two figures below 10 %, whole percent above; null is said."""
    if chance is None:
        return UNKNOWN
    if chance < 0.001:
        return "under 0.1 %"
    if chance > 0.995:
        return "over 99 %"
    return f"{chance * 100:.1f} %" if chance < 0.0995 else f"{chance * 100:.0f} %"


def range_text(low: float | None, high: float | None) -> str:
    """The ends of a range of chances, e.g. '1.2 % to 14 %'."""
    if low is None or high is None:
        return UNKNOWN
    return f"{chance_text(low)} to {chance_text(high)}"


def money_text(amount: float | None, currency: str) -> str:
    """Money to two figures below 1,000, else to the hundred: no estimate here is finer."""
    if amount is None:
        return UNKNOWN
    if 0 < amount < 5:
        return f"under {currency} 10"
    step = 10 if abs(amount) < 1000 else 100
    return f"{currency} {round(amount / step) * step:,.0f}"


def price_text(amount: float | None, currency: str) -> str:
    """A price as quoted, to the whole unit."""
    return UNKNOWN if amount is None else f"{currency} {amount:,.0f}"


def number_text(value: float | None, digits: int = 1) -> str:
    """A number to so many decimals; null is said, and minus zero is zero."""
    if value is None or math.isnan(value):
        return UNKNOWN
    return f"{round(value, digits) + 0.0:,.{digits}f}"


def share_text(share: float | None) -> str:
    """A share in whole percent."""
    return UNKNOWN if share is None or math.isnan(share) else f"{share * 100:.0f} %"


def count_text(count: int, one: str, many: str | None = None) -> str:
    """A count with its noun, e.g. '1 failure', '3 failures'."""
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def factor_value(factor: str, value: float | None) -> str:
    """A factor's value with its unit, in the operator's words."""
    if value is None:
        return UNKNOWN
    if factor in YES_NO_FACTORS:
        return "yes" if value >= 0.5 else "no"
    if factor == "full_throttle_25h":
        return share_text(value)
    unit = {"shortfall_25h_on": "octane numbers", "fuel_age_25h_d": "days", "age_h": "h"}[factor]
    return f"{number_text(value, 0 if factor == 'age_h' else 1)} {unit}"
