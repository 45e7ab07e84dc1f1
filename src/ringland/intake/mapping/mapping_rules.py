"""What a mapping says, once read: how one source's files become rows of the contract."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatch

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.written.raw_file import Layout

DOCK_ZONE = "dock"
SERIAL = "serial"
CLOCK_HOURS = "h:mm"
NO_FUEL = "no fuel"
"""What a word of grade may stand for: the row is of something else and left out."""
LEFT_OUT = ""
"""What a code or a word of grade may stand for: nothing was written down."""


def has_time(date_format: str) -> bool:
    """Whether a date form holds the time of day too."""
    return any(part in date_format for part in ("%H", "%I", "%T", "%R", "%X", "%c", "%s"))


@dataclass(frozen=True)
class Writing:
    """How figures and dates are written in a source."""

    decimal: str = "."
    thousands: str | None = None
    date_formats: tuple[str, ...] = ()
    """strftime forms tried in turn, or 'serial' for a spreadsheet's day number."""
    time_of_day: str | None = None
    """When a date without a time counts, e.g. '12:00'."""
    time_zone: str | None = None
    """IANA name, or 'dock' for the zone of the row's dock or of its hull's home dock."""
    is_order_sure: bool = False
    """Its owner says that day and month stand as written, however the rows follow in time."""


@dataclass(frozen=True)
class ColumnRule:
    """Where a column of the contract comes from; `columns` are headings in lower case."""

    name: str
    columns: tuple[str, ...]
    writing: Writing
    value: str | None = None
    """The same text for every row, instead of a column."""
    minus: str | None = None
    """A second column, whose figure is taken off."""
    plus: str | None = None
    """A column with a time span in `unit` that is added to the instant."""
    unit: str | None = None
    units: Mapping[str, str] = field(default_factory=dict)
    """What stands behind a figure, or in `unit_column`, and the unit it means."""
    unit_column: str | None = None
    codes: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class GradeRule:
    """Where octane stands in words, and what the words mean.

    `words` maps a word in lower case to a text that `grade_words.grade_of` reads.
    """

    column: str
    words: Mapping[str, str]


@dataclass(frozen=True)
class TableRule:
    """How one sheet, or the rows of it that `only` picks, becomes one kind of record."""

    kind: RecordKind
    sheet: str | None
    header_rows: tuple[int, ...]
    only: Mapping[str, tuple[str, ...]]
    leave_out: Mapping[str, tuple[str, ...]]
    """Rows that are no record of any kind: heading -> the words that tell them."""
    columns: tuple[ColumnRule, ...]
    grades: GradeRule | None = None
    take_back: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """Rows whose litres take an earlier row's back: heading -> the words that tell them."""


@dataclass(frozen=True)
class ColumnMapping:
    """One source's mapping."""

    file: str
    about: str
    files: tuple[str, ...]
    encoding: str | None
    delimiter: str | None
    empty: tuple[str, ...]
    tables: tuple[TableRule, ...]
    leave_out_sheets: tuple[str, ...] = ()
    """Sheets of a workbook that hold no records."""

    def is_for(self, file_name: str) -> bool:
        """Whether the mapping says it is for files of this name (case apart)."""
        return any(fnmatch(file_name.lower(), pattern.lower()) for pattern in self.files)

    def kinds(self) -> set[str]:
        """The kinds of record it finds."""
        return {table.kind.name for table in self.tables}

    def layout(self, table: TableRule) -> Layout:
        """How the table's file or sheet is laid out."""
        return Layout(self.encoding, self.delimiter, table.sheet, table.header_rows, True)
