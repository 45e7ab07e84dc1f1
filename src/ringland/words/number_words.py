"""One value to the words for it: days, chances, money, shares, quantities, in the manner in force.

Null is said, never blank.  Every figure, date, price and unit on a page passes through here.
"""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta

from ringland.words.manner import CLOCKS, DATE_FORMS, manner
from ringland.words.shown_units import (
    in_figures,
    price_factor,
    shown,
    shown_reading,
    shown_unit,
    volume_noun,
)

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
UNKNOWN = "not known"

YES_NO_FACTORS = ("is_raised_calibration", "is_forged")


def day_text(day: date) -> str:
    """A day in the manner's form, e.g. 'Mon 7 Sep 2026'; the same under every locale.

    An instant gives the day on the clock of the manner's zone.
    """
    if isinstance(day, datetime):
        day = _on_our_clock(day)
    return DATE_FORMS[manner().date].format(
        weekday=WEEKDAYS[day.weekday()],
        day=day.day,
        month=MONTHS[day.month - 1],
        month_number=day.month,
        year=day.year,
    )


def weekday_text(day: date) -> str:
    """A day of the coming days, without its year, e.g. 'Fri 21 Aug'; of an instant, ours."""
    if isinstance(day, datetime):
        day = _on_our_clock(day)
    order = "{1} {2} {0}" if _month_first() else "{1} {0} {2}"
    return order.format(day.day, WEEKDAYS[day.weekday()], MONTHS[day.month - 1])


def day_key(instant: datetime) -> str:
    """The day of an instant on our clock as part of an id, e.g. '2026-08-17'."""
    return _on_our_clock(instant).date().isoformat()


def instant_text(instant: datetime) -> str:
    """An instant to the minute with its zone, e.g. 'Mon 7 Sep 2026, 06:00 UTC'."""
    here = _on_our_clock(instant)
    name = here.tzname() or "UTC"
    zone = f"UTC{name}" if name[:1] in "+-" else name
    return f"{day_text(instant)}, {time_text(instant)} {zone}"


def known_text(instant: datetime) -> str:
    """To when records are known: an instant, or at midnight the night before, by our clock."""
    here = _on_our_clock(instant)
    if (here.hour, here.minute) != (0, 0):
        return instant_text(instant)
    return f"the night of {day_text(here.replace(tzinfo=None) - timedelta(days=1))}, dock time"


def time_text(instant: datetime) -> str:
    """The time of day on the clock of the manner's zone, e.g. '14:05' or '2:05 pm'."""
    here = _on_our_clock(instant)
    if "%p" not in CLOCKS[manner().clock]:
        return f"{here:%H:%M}"
    return f"{here.hour % 12 or 12}:{here:%M} {'am' if here.hour < 12 else 'pm'}"


def chance_text(chance: float | None) -> str:
    """A chance in percent: two figures below 10 %, whole percent above; null is said."""
    if chance is None:
        return UNKNOWN
    if chance < 0.001:
        return f"under {_marked('0.1')} %"
    if chance > 0.995:
        return "over 99 %"
    return _marked(f"{chance * 100:.1f} %" if chance < 0.0995 else f"{chance * 100:.0f} %")


def range_text(low: float | None, high: float | None) -> str:
    """The ends of a range of chances, e.g. '1.2 % to 14 %'."""
    if low is None or high is None:
        return UNKNOWN
    return f"{chance_text(low)} to {chance_text(high)}"


MONEY_LEAST = 5.0
"""Money below it, but not nothing, is said to be under 10."""

MONEY_STEPS = ((1000.0, 10), (None, 100))
"""To what step an amount below a bound is rounded; None: any other."""


def money_text(amount: float | None, currency: str) -> str:
    """Money to two figures below 1,000, else to the hundred: no estimate here is finer."""
    if amount is None:
        return UNKNOWN
    if 0 < amount < MONEY_LEAST:
        return f"under {_money('10', currency)}"
    step = next(step for below, step in MONEY_STEPS if below is None or abs(amount) < below)
    whole = math.floor(amount / step + 0.5) * step  # halves up, as scripts round
    return _money(f"{whole:,.0f}", currency)


def money_form(currency: str) -> dict[str, object]:
    """How `money_text` writes, as data for a page's script, '#' standing for the figure."""
    return {
        "least": MONEY_LEAST,
        "under": money_text(MONEY_LEAST / 2, currency),
        "steps": MONEY_STEPS,
        "thousands": manner().thousands,
        "plus": _money("#", currency),
        "minus": _money("-#", currency),
    }


def price_text(amount: float | None, currency: str) -> str:
    """A price as quoted, to the whole unit."""
    return UNKNOWN if amount is None else _money(f"{amount:,.0f}", currency)


def unit_price_text(per_litre: float | None, currency: str) -> str:
    """A price of fuel by its shown unit of volume, e.g. 'USD 1.25 a litre'."""
    if per_litre is None:
        return UNKNOWN
    return f"{_money(f'{per_litre * price_factor():,.2f}', currency)} a {volume_noun()}"


def currency_text(currency: str) -> str:
    """What stands for the currency beside an amount: the shop's sign, else the code."""
    return manner().currency_sign or currency


def number_text(value: float | None, digits: int = 1) -> str:
    """A number to so many decimals; null is said, and minus zero is zero."""
    if value is None or math.isnan(value):
        return UNKNOWN
    return _marked(f"{round(value, digits) + 0.0:,.{digits}f}")


def plain_text(value: float) -> str:
    """A number with the figures it has and no more, e.g. '0.05', '91'."""
    return _marked(f"{value:,.10g}" if abs(value) < 1e10 else f"{value:g}")


def quantity_text(value: float | None, stored: str, digits: int = 0) -> str:
    """A quantity with its unit, converted to the one shown, e.g. '38 l' or '10 gal'.

    Args:
        value: in the stored unit.
        stored: that unit, a key of `units.UNIT_NAMES`, e.g. 'l', 'kPa', 'mm'.
        digits: decimals in the stored unit.
    """
    if value is None or math.isnan(value):
        return UNKNOWN
    return f"{figure_text(value, stored, digits)} {unit_text(stored)}"


def figure_text(value: float, stored: str, digits: int = 0) -> str:
    """A quantity's figure in the unit shown, without the unit: for the first end of a range."""
    unit = shown_unit(stored)
    places = digits if unit.unit == stored else digits + unit.extra_digits
    return number_text(shown(value, stored), places)


def exact_text(value: float, stored: str) -> str:
    """A quantity with the figures it has, or as `in_figures` rounds it, and its unit."""
    unit = shown_unit(stored)
    figure = value if unit.unit == stored else in_figures(shown(value, stored), unit)
    return f"{plain_text(figure)} {unit.written}"


def reading_text(value: float, unit: str | None) -> str:
    """A gauge's reading with its unit, e.g. '172 psi', or '1,186 kPa' where that is shown."""
    if unit is None:
        return plain_text(value)
    figure, written = shown_reading(value, unit)
    return f"{plain_text(figure)} {written}"


def unit_text(stored: str) -> str:
    """The unit shown for a stored one, for a heading or an axis, e.g. 'l' or 'gal'."""
    return shown_unit(stored).written


def share_text(share: float | None) -> str:
    """A share in whole percent."""
    return UNKNOWN if share is None or math.isnan(share) else f"{share * 100:.0f} %"


def count_text(count: int, one: str, many: str | None = None) -> str:
    """A count with its noun, e.g. '1 failure', '3 failures'."""
    return f"{_marked(f'{count:,}')} {one if count == 1 else many or one + 's'}"


def factor_value(factor: str, value: float | None) -> str:
    """A factor's value with its unit, in the operator's words."""
    if value is None:
        return UNKNOWN
    if factor in YES_NO_FACTORS:
        return "yes" if value >= 0.5 else "no"
    if factor == "full_throttle_25h":
        return share_text(value)
    if factor == "build_number":
        return number_text(value, 0 if float(value).is_integer() else 1)
    unit = {"shortfall_25h_on": "octane numbers", "fuel_age_25h_d": "days", "age_h": "h"}[factor]
    return f"{number_text(value, 0 if factor == 'age_h' else 1)} {unit}"


def _marked(figure: str) -> str:
    """A figure written with ',' and '.' in the manner's marks."""
    now = manner()
    return figure.translate({ord(","): now.thousands, ord("."): now.decimal})


def _money(figure: str, currency: str) -> str:
    now, sign = manner(), currency_text(currency)
    minus, amount = ("-", figure[1:]) if figure.startswith("-") else ("", figure)
    if now.money == "after":
        return f"{minus}{_marked(amount)} {sign}"
    if len(sign) == 1:  # a sign stands at the figure, a code apart from it
        return f"{minus}{sign}{_marked(amount)}"
    return f"{sign} {minus}{_marked(amount)}"


def _on_our_clock(instant: datetime) -> datetime:
    return instant if instant.tzinfo is None else instant.astimezone(manner().zone)


def _month_first() -> bool:
    form = DATE_FORMS[manner().date]
    return form.find("{month}") != -1 and form.find("{month}") < form.find("{day}")
