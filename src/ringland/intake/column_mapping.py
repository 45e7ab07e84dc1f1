"""How one source's files are read: its columns, units, dates, time zone and codes.

A mapping is a small TOML file kept beside the source's files.  Here it is read and
checked; every complaint names file, entry and remedy.  `mapped_rows` carries it out.
"""

from __future__ import annotations

import tomllib
import zoneinfo
from collections.abc import Mapping
from dataclasses import dataclass, field
from fnmatch import fnmatch

import dataframely as dy

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.raw_file import Layout
from ringland.units import UnitError, conversion

ASKED = "?"
"""What a draft writes where only the user knows the answer."""
DOCK_ZONE = "dock"
SERIAL = "serial"
CLOCK_HOURS = "h:mm"

_SOURCE_ENTRIES = {
    "about", "files", "encoding", "delimiter", "decimal", "thousands", "empty", "date_formats",
    "time_of_day", "time_zone",
}  # fmt: skip
_TABLE_ENTRIES = {"kind", "sheet", "header_rows", "only", "leave_out", "columns"}
_COLUMN_ENTRIES = {
    "column", "columns", "value", "minus", "plus", "unit", "codes", "decimal", "thousands",
    "date_formats", "time_of_day", "time_zone",
}  # fmt: skip


class MappingError(ValueError):
    """A mapping does not say what it must; the message names file, entry and remedy."""

    def __init__(self, file: str, entry: str, fault: str, remedy: str) -> None:
        self.file, self.entry, self.fault, self.remedy = file, entry, fault, remedy
        super().__init__(f"{file}, {entry}: {fault} {remedy}")


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
    codes: Mapping[str, str] = field(default_factory=dict)


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

    def is_for(self, file_name: str) -> bool:
        """Whether the mapping says it is for files of this name (case apart)."""
        return any(fnmatch(file_name.lower(), pattern.lower()) for pattern in self.files)

    def kinds(self) -> set[str]:
        """The kinds of record it finds."""
        return {table.kind.name for table in self.tables}

    def layout(self, table: TableRule) -> Layout:
        """How the table's file or sheet is laid out."""
        return Layout(self.encoding, self.delimiter, table.sheet, table.header_rows, True)


def parse_mapping(file: str, text: str) -> ColumnMapping:
    """The mapping that a TOML text holds; `file` is only named.

    Raises:
        MappingError: it is no TOML, an entry is unknown, missing, of the wrong type or still
            asked ('?'), a unit does not fit its column, or a column of the contract that may
            not be empty has no source.
    """
    try:
        said = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise MappingError(file, "the file", f"It is not valid TOML ({error}).", _SEE) from error
    reader = _Reader(file)
    reader.no_others("the file", said, {"source", "table"})
    source = reader.table("source", said.get("source", {}))
    reader.no_others("source", source, _SOURCE_ENTRIES)
    writing = reader.writing("source", source, Writing())
    tables = said.get("table", [])
    if not isinstance(tables, list) or not tables:
        raise MappingError(file, "table", "There is none.", "Write at least one [[table]].")
    return ColumnMapping(
        file,
        reader.text("source", source, "about") or "",
        reader.texts("source", source, "files"),
        reader.text("source", source, "encoding"),
        reader.text("source", source, "delimiter"),
        reader.texts("source", source, "empty"),
        tuple(
            reader.table_rule(f"table {number}", table, writing)
            for number, table in enumerate(tables, start=1)
        ),
    )


_SEE = "Compare it with a draft made by 'ringland draft FILE'."


class _Reader:
    """Takes entries out of a parsed TOML, with complaints that name them."""

    def __init__(self, file: str) -> None:
        self.file = file

    def fail(self, entry: str, fault: str, remedy: str) -> MappingError:
        return MappingError(self.file, entry, fault, remedy)

    def no_others(self, entry: str, said: Mapping[str, object], known: set[str]) -> None:
        if unknown := sorted(set(said) - known):
            raise self.fail(
                entry, f"'{unknown[0]}' is not known here.", f"Use {', '.join(sorted(known))}."
            )

    def table(self, entry: str, said: object) -> dict[str, object]:
        if not isinstance(said, dict):
            raise self.fail(entry, "It is not a table.", _SEE)
        return said

    def text(self, entry: str, said: Mapping[str, object], name: str) -> str | None:
        value = said.get(name)
        if value is None:
            return None
        if not isinstance(value, str):
            raise self.fail(f"{entry}.{name}", "It is not a text.", "Put it in quotation marks.")
        if value == ASKED:
            raise self.fail(
                f"{entry}.{name}",
                "The question is not answered yet.",
                "Write the answer in place of the '?'; the line above it says what is asked.",
            )
        return value

    def texts(self, entry: str, said: Mapping[str, object], name: str) -> tuple[str, ...]:
        values = said.get(name, [])
        values = [values] if isinstance(values, str) else values
        if not isinstance(values, list) or not all(isinstance(value, str) for value in values):
            raise self.fail(f"{entry}.{name}", "It is not a list of texts.", 'Write ["a", "b"].')
        for value in values:
            self.text(entry, {name: value}, name)
        return tuple(values)

    def words(
        self, entry: str, said: Mapping[str, object], name: str
    ) -> dict[str, tuple[str, ...]]:
        rows = self.table(f"{entry}.{name}", said.get(name, {}))
        return {
            heading.lower(): tuple(
                word.lower() for word in self.texts(f"{entry}.{name}", rows, heading)
            )
            for heading in rows
        }

    def writing(self, entry: str, said: Mapping[str, object], usual: Writing) -> Writing:
        decimal = self.text(entry, said, "decimal") or usual.decimal
        thousands = self.text(entry, said, "thousands") or usual.thousands
        if decimal not in (".", ",") or thousands == decimal:
            raise self.fail(
                f"{entry}.decimal",
                f"The decimal mark '{decimal}' does not do.",
                "Write '.' or ',', and another mark for thousands.",
            )
        zone = self.text(entry, said, "time_zone") or usual.time_zone
        if zone not in (None, DOCK_ZONE) and zone not in zoneinfo.available_timezones():
            raise self.fail(
                f"{entry}.time_zone",
                f"There is no time zone '{zone}'.",
                "Write an IANA name such as 'America/Chicago', or 'dock'.",
            )
        formats = self.texts(entry, said, "date_formats") or usual.date_formats
        time_of_day = self.text(entry, said, "time_of_day") or usual.time_of_day
        return Writing(decimal, thousands, formats, time_of_day, zone)

    def table_rule(self, entry: str, said: object, writing: Writing) -> TableRule:
        said = self.table(entry, said)
        self.no_others(entry, said, _TABLE_ENTRIES)
        name = self.text(entry, said, "kind")
        if name not in RECORD_KINDS:
            raise self.fail(
                f"{entry}.kind",
                f"'{name}' is not a kind of record.",
                f"Write one of: {', '.join(RECORD_KINDS)}.",
            )
        kind = RECORD_KINDS[name]
        columns = self.table(f"{entry}.columns", said.get("columns", {}))
        known = kind.schema.columns()
        self.no_others(f"{entry}.columns", columns, set(known))
        rules = tuple(
            self.column_rule(f"{entry}.columns.{column}", column, known[column], rule, writing)
            for column, rule in columns.items()
        )
        needed = [column for column, spec in known.items() if not spec.nullable]
        if missing := [column for column in needed if column not in columns]:
            raise self.fail(
                f"{entry}.columns",
                f"Nothing is said about {', '.join(missing)}, which may not be empty.",
                'Name the column it stands in, or a { value = "..." } for every row.',
            )
        return TableRule(
            kind,
            self.text(entry, said, "sheet"),
            self.header_rows(entry, said),
            self.words(entry, said, "only"),
            self.words(entry, said, "leave_out"),
            rules,
        )

    def header_rows(self, entry: str, said: Mapping[str, object]) -> tuple[int, ...]:
        rows = said.get("header_rows", [])
        if (
            not isinstance(rows, list)
            or not all(isinstance(row, int) and row >= 1 for row in rows)
            or rows != sorted(set(rows))
        ):
            raise self.fail(
                f"{entry}.header_rows", "It is no list of rising row numbers.", "Write [2, 3]."
            )
        return tuple(rows)

    def column_rule(
        self, entry: str, name: str, column: dy.Column, said: object, usual: Writing
    ) -> ColumnRule:
        if isinstance(said, str | list):
            said = {"columns": said}
        said = self.table(entry, said)
        self.no_others(entry, said, _COLUMN_ENTRIES)
        headings = self.texts(entry, said, "columns") or self.texts(entry, said, "column")
        value = self.text(entry, said, "value")
        if bool(headings) == (value is not None):
            raise self.fail(
                entry, "It needs either a column or a value.", 'Write "Boat" or { value = "dock" }.'
            )
        writing = self.writing(entry, said, usual)
        plus = self.text(entry, said, "plus")
        unit = self.text(entry, said, "unit")
        if isinstance(column, dy.Datetime):
            self.check_instant(entry, writing, plus, unit, value)
        else:
            self.check_unit(entry, column, unit)
        codes = self.table(f"{entry}.codes", said.get("codes", {}))
        return ColumnRule(
            name,
            tuple(heading.lower() for heading in headings),
            writing,
            value,
            _lower(self.text(entry, said, "minus")),
            _lower(plus),
            unit,
            {word.lower(): self.text(f"{entry}.codes", codes, word) or "" for word in codes},
        )

    def check_instant(
        self, entry: str, writing: Writing, plus: str | None, unit: str | None, value: str | None
    ) -> None:
        if value is None and writing.date_formats:
            if writing.time_zone is None:
                raise self.fail(
                    entry,
                    "The time zone of the clock is not given.",
                    "Write time_zone under [source], e.g. 'America/Chicago', or 'dock'.",
                )
            no_time = [f for f in writing.date_formats if f != SERIAL and not has_time(f)]
            if no_time and writing.time_of_day is None:
                raise self.fail(
                    entry,
                    f"The date form '{no_time[0]}' has no time of day.",
                    "Write time_of_day, e.g. '12:00', or name the column with the time too.",
                )
        if plus is not None:
            self.fits(entry, unit or "", "h")

    def check_unit(self, entry: str, column: dy.Column, unit: str | None) -> None:
        if unit is None:
            return
        wanted = str((column.metadata or {}).get("unit", ""))
        if unit == CLOCK_HOURS and wanted == "h":
            return
        if not wanted or wanted == "as in unit":
            raise self.fail(f"{entry}.unit", "The column has no unit.", "Leave the unit out.")
        if unit != wanted:
            self.fits(entry, str(unit), wanted)

    def fits(self, entry: str, unit: str, wanted: str) -> None:
        try:
            conversion(unit, wanted)
        except UnitError as error:
            raise self.fail(
                f"{entry}.unit", str(error), f"Write a unit that can be turned into {wanted}."
            ) from error


def has_time(date_format: str) -> bool:
    """Whether a date form holds the time of day too."""
    return any(part in date_format for part in ("%H", "%I", "%T", "%R", "%X", "%c", "%s"))


def _lower(text: str | None) -> str | None:
    return None if text is None else text.lower()
