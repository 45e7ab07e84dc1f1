"""How one shop reads figures: units, dates, clock, marks, money, zone, paper.

A `Manner` is read once, from the shop's own file (`manner_file`), and handed to whatever
makes pages.  There it is put in force for the making of one thing with `in_manner`, as
gettext does with a language, so that a sentence three rooms below need not carry it; the
same inputs still give the same bytes, since nothing outside that `with` is changed.
Figures stay metric and in UTC until they are written out.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from zoneinfo import ZoneInfo

DATE_FORMS = {
    "Mon 17 Aug 2026": "{weekday} {day} {month} {year}",
    "Mon, Aug 17, 2026": "{weekday}, {month} {day}, {year}",
    "Aug 17, 2026": "{month} {day}, {year}",
    "17.08.2026": "{day:02d}.{month_number:02d}.{year}",
    "2026-08-17": "{year}-{month_number:02d}-{day:02d}",
}
"""The forms a day may take, each named by how it shows 17 August 2026.

None has the day and the month both as figures between slashes: 07/08 is read either way.
"""

CHART_DATES = {
    "Mon 17 Aug 2026": "%a %-d %b %Y",
    "Mon, Aug 17, 2026": "%a, %b %-d, %Y",
    "Aug 17, 2026": "%b %-d, %Y",
    "17.08.2026": "%d.%m.%Y",
    "2026-08-17": "%Y-%m-%d",
}
"""The same forms in d3's letters, for the hover of a chart."""

CLOCKS = {"14:05": "%H:%M", "2:05 pm": "%-I:%M %p"}
"""The forms of a time, each named by how it shows five past two in the afternoon."""

NUMBER_FORMS = {
    "1,234.5": (",", "."),
    "1.234,5": (".", ","),
    "1 234,5": ("\N{NARROW NO-BREAK SPACE}", ","),
    "1'234.5": ("'", "."),
    "1234.5": ("", "."),
}
"""Mark between thousands and decimal mark, each named by how it shows 1,234.5."""

MONEY_PLACES = ("before", "after")
UNIT_SYSTEMS = ("metric", "us")
PRESSURES = ("psi", "kPa", "bar")
PAPERS = ("a4", "us-letter")


@dataclass(frozen=True)
class Manner:
    """The shop's settings of how pages look; the defaults are the project's own.

    `date`, `clock` and `number` are keys of `DATE_FORMS`, `CLOCKS`, `NUMBER_FORMS`;
    `currency_sign` stands for the currency's code of the cost records where it is not empty.
    """

    units: str = "metric"
    pressure: str = "psi"
    date: str = "Mon 17 Aug 2026"
    clock: str = "14:05"
    number: str = "1,234.5"
    money: str = "before"
    currency_sign: str = ""
    time_zone: str = "UTC"
    paper: str = "a4"

    @property
    def zone(self) -> ZoneInfo:
        """The zone whose clock the pages show."""
        return ZoneInfo(self.time_zone)

    @property
    def thousands(self) -> str:
        """What stands between thousands; may be empty."""
        return NUMBER_FORMS[self.number][0]

    @property
    def decimal(self) -> str:
        """The decimal mark."""
        return NUMBER_FORMS[self.number][1]

    @property
    def chart_instant(self) -> str:
        """A day and time in d3's letters, e.g. '%Y-%m-%d %H:%M'."""
        return f"{CHART_DATES[self.date]} {CLOCKS[self.clock]}"


DEFAULT_MANNER = Manner()
_in_force: ContextVar[Manner] = ContextVar("manner", default=DEFAULT_MANNER)


def manner() -> Manner:
    """The manner in force here: that of the nearest `in_manner` around, else the default."""
    return _in_force.get()


@contextmanager
def in_manner(chosen: Manner) -> Iterator[None]:
    """Everything written inside the `with` is written in this manner, and nothing after it."""
    before = _in_force.set(chosen)
    try:
        yield
    finally:
        _in_force.reset(before)
