"""How one source's files are read: its columns, units, dates, time zone and codes.

A mapping is a small TOML file kept beside the source's files.  Here it is read and
checked; every complaint names file, entry and remedy.  `mapped_rows` carries it out.
"""

from __future__ import annotations

import tomllib
import zoneinfo
from collections.abc import Mapping
from dataclasses import replace

import dataframely as dy

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.mapping.date_order import order_of
from ringland.intake.mapping.grade_words import GRADE_COLUMNS, GradeError, grade_of
from ringland.intake.mapping.mapping_entries import SEE_DRAFT, EntryReader, MappingError
from ringland.intake.mapping.mapping_rules import (
    CLOCK_HOURS,
    DOCK_ZONE,
    NO_FUEL,
    SERIAL,
    ColumnMapping,
    ColumnRule,
    GradeRule,
    TableRule,
    Writing,
    has_time,
)
from ringland.units import UnitError, conversion

_SOURCE_ENTRIES = {
    "about", "files", "encoding", "delimiter", "decimal", "thousands", "empty", "date_formats",
    "time_of_day", "time_zone", "date_order_is_sure", "leave_out_sheets",
}  # fmt: skip
_TABLE_ENTRIES = {
    "kind", "sheet", "header_rows", "only", "leave_out", "take_back", "columns", "grades",
}  # fmt: skip
_COLUMN_ENTRIES = {
    "column", "columns", "value", "minus", "plus", "unit", "units", "unit_column",
    "codes", "decimal", "thousands",
    "date_formats", "time_of_day", "time_zone",
}  # fmt: skip


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
        raise MappingError(
            file, "the file", f"It is not valid TOML ({error}).", SEE_DRAFT
        ) from error
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
            rule
            for number, table in enumerate(tables, start=1)
            for rule in reader.table_rules(f"table {number}", table, writing)
        ),
        reader.texts("source", source, "leave_out_sheets"),
    )


class _Reader(EntryReader):
    """The rules that a mapping's entries say."""

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
        if zone not in (None, DOCK_ZONE) and not _is_zone(str(zone)):
            raise self.fail(
                f"{entry}.time_zone",
                f"There is no time zone '{zone}'.",
                "Write an IANA name such as 'America/Chicago', or 'dock'.",
            )
        formats = self.texts(entry, said, "date_formats") or usual.date_formats
        if len({order_of(form) for form in formats} - {None}) > 1:
            raise self.fail(
                f"{entry}.date_formats",
                "Day and month stand first in turn: 07/04 would be April, and 07/13 July.",
                "Keep the forms of one order, the one this source writes.",
            )
        time_of_day = self.text(entry, said, "time_of_day") or usual.time_of_day
        is_sure = said.get("date_order_is_sure", usual.is_order_sure) is True
        return Writing(decimal, thousands, formats, time_of_day, zone, is_sure)

    def table_rules(self, entry: str, said: object, writing: Writing) -> list[TableRule]:
        """One rule for each of the sheets it names."""
        said = self.table(entry, said)
        rule = self.table_rule(entry, said, writing)
        sheets = self.texts(entry, said, "sheet")
        return [replace(rule, sheet=sheet) for sheet in sheets] or [rule]

    def table_rule(self, entry: str, said: Mapping[str, object], writing: Writing) -> TableRule:
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
        grades = self.grades(entry, said, known, columns)
        needed = [column for column, spec in known.items() if not spec.nullable]
        if missing := [column for column in needed if column not in columns]:
            raise self.fail(
                f"{entry}.columns",
                f"Nothing is said about {', '.join(missing)}, which may not be empty.",
                'Name the column it stands in, or a { value = "..." } for every row.',
            )
        take_back = self.words(entry, said, "take_back")
        if take_back and "volume_l" not in columns:
            raise self.fail(
                f"{entry}.take_back", "There are no litres to take back.", "Leave it out."
            )
        return TableRule(
            kind,
            None,
            self.header_rows(entry, said),
            self.words(entry, said, "only"),
            self.words(entry, said, "leave_out"),
            rules,
            grades,
            take_back,
        )

    def grades(
        self,
        entry: str,
        table: Mapping[str, object],
        known: Mapping[str, dy.Column],
        columns: Mapping[str, object],
    ) -> GradeRule | None:
        if "grades" not in table:
            return None
        entry = f"{entry}.grades"
        said = self.table(entry, table["grades"])
        self.no_others(entry, said, {"column", "words"})
        column = self.text(entry, said, "column")
        taken = [name for name in GRADE_COLUMNS if name in columns]
        if column is None or "octane_aki" not in known or taken:
            raise self.fail(
                entry,
                "It needs a column of its own, in a kind of record that has an octane number.",
                f'Write column = "Grade"{f", and leave out {taken[0]}" if taken else ""}.',
            )
        words = {}
        for word, meaning in self.codes(f"{entry}.words", said.get("words", {})).items():
            try:
                grade_of("" if meaning == NO_FUEL else meaning)
            except GradeError as error:
                raise self.fail(
                    f"{entry}.words.{word}",
                    str(error),
                    f'Write e.g. "95 RON", "93 AKI E10", "{NO_FUEL}" or "".',
                ) from error
            words[word] = meaning
        return GradeRule(column.lower(), words)

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
        units = self.codes(f"{entry}.units", said.get("units", {}))
        for meant in units.values():
            self.check_unit(entry, column, meant)
        return ColumnRule(
            name,
            tuple(heading.lower() for heading in headings),
            writing,
            value,
            _lower(self.text(entry, said, "minus")),
            _lower(plus),
            unit,
            units,
            _lower(self.text(entry, said, "unit_column")),
            self.codes(f"{entry}.codes", said.get("codes", {})),
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


def _is_zone(name: str) -> bool:
    try:
        zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def _lower(text: str | None) -> str | None:
    return None if text is None else text.lower()
