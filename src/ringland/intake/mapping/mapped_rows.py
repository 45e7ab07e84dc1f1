"""A source's rows turned into rows of the contract's form, by its mapping.

Every row of a sheet goes to the tables that take it, is left out because the mapping says
so, or is handed on as torn with the remedy; none gets lost.  The mapped rows are still
text: whether they are valid is for the intake to say.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import dataframely as dy
import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.mapping.dock_clocks import NO_CLOCKS, DockClocks
from ringland.intake.mapping.grade_words import GRADE_COLUMNS, GradeError, grade_of
from ringland.intake.mapping.heading_units import unit_at_odds
from ringland.intake.mapping.mapped_cells import (
    coded,
    figures,
    in_order,
    instants,
    plain_numbers,
)
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.mapping.mapping_rules import (
    DOCK_ZONE,
    NO_FUEL,
    ColumnMapping,
    ColumnRule,
    GradeRule,
    TableRule,
)
from ringland.intake.mapping.unread_sheets import unread_sheets
from ringland.intake.written.raw_file import SOURCE_ROW, RawFile
from ringland.intake.written.raw_text import is_workbook, read_raw
from ringland.intake.written.sheet_tables import tables_apart, up_to
from ringland.intake.written.text_cast import FAULT_SCHEMA
from ringland.units import conversion
from ringland.words.plain_words import sentence


@dataclass(frozen=True)
class MappedTable:
    """Rows of one sheet as one kind of record.

    `raw` holds the contract's columns, then the source's columns that the mapping does not
    use; `found` the cells that could not be read, as `text_cast.FAULT_SCHEMA`; `left_out`
    counts the rows that the mapping says are no records; `notes` are sentences on the rest.
    """

    kind: RecordKind
    raw: RawFile
    found: pl.DataFrame
    left_out: int
    notes: tuple[str, ...] = ()


def read_mapped(
    file_name: str, content: bytes, mapping: ColumnMapping, clocks: DockClocks = NO_CLOCKS
) -> list[MappedTable]:
    """The file's rows by table of the mapping, in the mapping's order.

    Rows of a workbook bear the file name with the sheet, 'log.xlsx [Fuel]', so that a row
    number is never met twice.  Sheets that the mapping neither reads nor leaves out come last,
    all their rows torn, as rows of the first table's kind.

    Raises:
        RecordFileError: the file cannot be read, or lacks a sheet.
        MappingError: a column that the mapping names is not in the file.
    """
    sheets: dict[tuple[str | None, tuple[int, ...]], list[TableRule]] = {}
    for table in mapping.tables:
        sheets.setdefault((table.sheet, table.header_rows), []).append(table)
    mapped: dict[int, MappedTable] = {}
    for (sheet, header_rows), tables in sheets.items():
        raw = read_raw(file_name, content, mapping.layout(tables[0]))
        if tables[0].sheet is not None and is_workbook(content):
            raw = replace(raw, file_name=f"{file_name} [{tables[0].sheet}]")
        later = [rows[0] for name, rows in sheets if name == sheet and rows > header_rows]
        raw, notes = _first_table(up_to(raw, min(later) - 1 if later else None))
        raw = _emptied(raw, mapping.empty)
        for table, part in zip(tables, _parted(mapping, tables, raw), strict=True):
            mapped[id(table)] = _mapped(mapping, table, part, clocks)
        first = mapped[id(tables[0])]
        out = int(_left_out(mapping, tables, raw).sum())
        mapped[id(tables[0])] = replace(first, left_out=out, notes=notes)
    unread = [
        MappedTable(mapping.tables[0].kind, raw, pl.DataFrame(schema=FAULT_SCHEMA), 0)
        for raw in unread_sheets(file_name, content, mapping)
    ]
    return [*(mapped[id(table)] for table in mapping.tables), *unread]


def _first_table(raw: RawFile) -> tuple[RawFile, tuple[str, ...]]:
    apart = tables_apart(raw)
    return apart.raw, apart.notes


def _emptied(raw: RawFile, words: Sequence[str]) -> RawFile:
    if not words:
        return raw
    low = [word.lower() for word in words]
    cells = pl.all().exclude(SOURCE_ROW)
    frame = raw.frame.with_columns(pl.when(~cells.str.to_lowercase().is_in(low)).then(cells))
    return replace(raw, frame=frame)


@dataclass(frozen=True)
class _Source:
    """A sheet with the rule that is being carried out on it."""

    mapping: ColumnMapping
    table: TableRule
    raw: RawFile

    def column(self, heading: str) -> pl.Series:
        """The cells below a heading."""
        if heading not in self.raw.frame.columns or heading == SOURCE_ROW:
            there = ", ".join(name for name in self.raw.frame.columns if name != SOURCE_ROW)
            raise MappingError(
                self.mapping.file,
                self.table.kind.name,
                f"There is no column '{heading}' in {self.raw.file_name}; it has: {there}.",
                "Put the heading in the mapping right, or header_rows.",
            )
        return self.raw.frame[heading]


def _parted(mapping: ColumnMapping, tables: Sequence[TableRule], raw: RawFile) -> list[RawFile]:
    """The rows each table takes; what no table takes, and what is torn, goes to the first."""
    left_out = _left_out(mapping, tables, raw)
    taken = [
        _holds(_Source(mapping, table, raw), table.only) & ~left_out if table.only else ~left_out
        for table in tables
    ]
    claimed = pl.DataFrame(taken).select(pl.any_horizontal(pl.all())).to_series()
    stray = raw.frame.filter(~claimed & ~left_out)
    headings = sorted({heading for table in tables for heading in table.only})
    strays = pl.DataFrame(
        [
            (
                row[SOURCE_ROW],
                "No table of the mapping takes the row: "
                + ", ".join(f"{heading} is '{row[heading] or ''}'" for heading in headings)
                + ".",
                "Put the word right, or add it to 'only' or 'leave_out' in the mapping.",
                json.dumps({k: v for k, v in row.items() if k != SOURCE_ROW}, ensure_ascii=False),
            )
            for row in stray.to_dicts()
        ],
        schema=raw.torn.schema,
        orient="row",
    )
    parts = [replace(raw, frame=raw.frame.filter(mask), torn=raw.torn.clear()) for mask in taken]
    parts[0] = replace(parts[0], torn=pl.concat([raw.torn, strays]).sort(SOURCE_ROW))
    return parts


def _left_out(mapping: ColumnMapping, tables: Sequence[TableRule], raw: RawFile) -> pl.Series:
    out = pl.Series([False] * raw.frame.height, dtype=pl.Boolean)
    for table in tables:
        source = _Source(mapping, table, raw)
        if table.leave_out:
            out = out | _holds(source, table.leave_out)
        if table.grades is not None:
            others = tuple(w for w, meant in table.grades.words.items() if meant == NO_FUEL)
            out = out | _holds(source, {table.grades.column: others})
    return out


def _holds(source: _Source, words: Mapping[str, tuple[str, ...]]) -> pl.Series:
    holds = pl.Series([True] * source.raw.frame.height, dtype=pl.Boolean)
    for heading, wanted in words.items():
        cells = source.column(heading)
        holds = holds & cells.fill_null("").str.to_lowercase().is_in(list(wanted))
    return holds


def _mapped(
    mapping: ColumnMapping, table: TableRule, raw: RawFile, clocks: DockClocks
) -> MappedTable:
    source = _Source(mapping, table, raw)
    height = raw.frame.height
    columns: dict[str, pl.Series] = {}
    found = [pl.DataFrame(schema=FAULT_SCHEMA)]
    used = set(table.only) | set(table.leave_out) | set(table.take_back)
    # What an instant is measured by, a dock or hull, is made first.
    rules = sorted(table.columns, key=lambda rule: _is_instant(table, rule))
    for rule in rules:
        used |= {*rule.columns, *([rule.minus] if rule.minus else [])}
        used |= {name for name in (rule.plus, rule.unit_column) if name}
        cells = coded(_source_cells(source, rule), rule)
        if rule.value is not None:
            text, complaints = cells, in_order(height)
        elif _is_instant(table, rule):
            is_local = rule.writing.time_zone == DOCK_ZONE
            zones = clocks.zones(columns, height) if is_local else None
            text, complaints = instants(cells, rule, zones)
            if rule.plus:
                text, complaints = _added(source, rule, text, complaints)
        else:
            text, complaints = _plain(source, rule, cells)
        columns[rule.name] = text.alias(rule.name)
        found.append(_found(rule.name, cells, complaints, raw.frame[SOURCE_ROW]))
    if table.take_back:
        # a row of negative litres is set aside, and is a doubt about the fill it takes back
        taken = _holds(source, table.take_back)
        litres = columns["volume_l"].str.strip_prefix("-")
        columns["volume_l"] = columns["volume_l"].zip_with(~taken, "-" + litres)
    if table.grades is not None:
        used.add(table.grades.column)
        grades, unread = _graded(table.grades, source.column(table.grades.column))
        columns |= grades
        found.append(_with_rows(unread, raw.frame[SOURCE_ROW]))
    order = list(columns)
    rest = [
        raw.frame[name].alias(name if name not in order else f"{name} (source)")
        for name in raw.frame.columns
        if name not in used and name != SOURCE_ROW
    ]
    frame = pl.DataFrame([*(columns[name] for name in order), *rest, raw.frame[SOURCE_ROW]])
    return MappedTable(table.kind, replace(raw, frame=frame), pl.concat(found), 0)


def _is_instant(table: TableRule, rule: ColumnRule) -> bool:
    return isinstance(table.kind.schema.columns()[rule.name], dy.Datetime)


def _source_cells(source: _Source, rule: ColumnRule) -> pl.Series:
    """The cells of the rule's columns, joined by a blank where it names several."""
    if rule.value is not None:
        return pl.Series([rule.value] * source.raw.frame.height, dtype=pl.String)
    parts = [source.column(heading) for heading in rule.columns]
    if len(parts) == 1:
        return parts[0]
    frame = pl.DataFrame([part.alias(str(k)) for k, part in enumerate(parts)])
    return frame.select(pl.concat_str(pl.all(), separator=" ")).to_series()


def _plain(source: _Source, rule: ColumnRule, cells: pl.Series) -> tuple[pl.Series, pl.DataFrame]:
    column = source.table.kind.schema.columns()[rule.name]
    if not isinstance(column, dy.Float64 | dy.Int64):
        return cells, in_order(len(cells))
    wanted = str((column.metadata or {}).get("unit", ""))
    at_odds = unit_at_odds(" ".join(rule.columns), wanted)
    if at_odds and rule.unit is None and not rule.units:
        raise MappingError(
            source.mapping.file,
            f"{source.table.kind.name}.{rule.name}",
            f"The heading '{rule.columns[0]}' names {at_odds}, the column is in {wanted}.",
            f'Write {{ column = "{rule.columns[0]}", unit = "..." }}, e.g. "US gal", "imp gal", '
            f'"min"; or unit = "{wanted}" if the figures are.',
        )
    units = source.column(rule.unit_column) if rule.unit_column else None
    text, complaints = figures(cells, rule, wanted, units)
    if rule.minus is None:
        return text, complaints
    less, less_complaints = figures(source.column(rule.minus), rule, wanted)
    left = text.cast(pl.Float64, strict=False) - less.cast(pl.Float64, strict=False)
    return (
        left.round_sig_figs(12).cast(pl.String),
        complaints.select(
            pl.col("fault").fill_null(less_complaints["fault"]),
            pl.col("remedy").fill_null(less_complaints["remedy"]),
        ),
    )


def _added(
    source: _Source, rule: ColumnRule, text: pl.Series, complaints: pl.DataFrame
) -> tuple[pl.Series, pl.DataFrame]:
    """The instants with the time span in `rule.plus` added."""
    spans = source.column(str(rule.plus))
    hours = plain_numbers(spans, rule.writing, rule.unit) * conversion(str(rule.unit), "h")[0]
    unread = spans.is_not_null() & hours.is_null()
    later = text.str.to_datetime("%Y-%m-%dT%H:%M:%SZ", strict=False) + pl.Series(
        (hours * 3_600_000_000).round(0).cast(pl.Int64).cast(pl.Duration("us"))
    )
    fault = f"{rule.name} cannot be told: '{rule.plus}' is not a time span in {rule.unit}."
    return (
        later.dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
        complaints.with_columns(unread.alias("unread")).select(
            pl.when(pl.col("fault").is_null() & pl.col("unread"))
            .then(pl.lit(fault))
            .otherwise("fault")
            .alias("fault"),
            pl.when(pl.col("fault").is_null() & pl.col("unread"))
            .then(pl.lit("Write the figure alone."))
            .otherwise("remedy")
            .alias("remedy"),
        ),
    )


def _graded(rule: GradeRule, cells: pl.Series) -> tuple[dict[str, pl.Series], pl.DataFrame]:
    """Octane by what each word means, and the cells that say nothing certain."""
    meant: dict[str, dict[str, float]] = {}
    strange = []
    for word in cells.drop_nulls().unique(maintain_order=True):
        try:
            meant[word] = grade_of(rule.words.get(word.lower(), word)).figures
        except GradeError:
            strange.append(word)
    grades = {}
    for name in GRADE_COLUMNS:
        figures_of = {word: f"{said[name]:g}" for word, said in meant.items() if name in said}
        grades[name] = cells.replace_strict(figures_of, default=None, return_dtype=pl.String).alias(
            name
        )
    frame = pl.DataFrame({"cell": cells, "bad": cells.is_in(strange).fill_null(value=False)})
    fault = sentence("The grade is '{}', which the mapping does not explain.", "cell")
    remedy = 'Add the word to words under [table.grades], e.g. { premium = "93 AKI" }.'
    return grades, frame.select(
        field=pl.lit("octane_unlabelled"),
        fault=pl.when("bad").then(fault),
        remedy=pl.when("bad").then(pl.lit(remedy)),
        value="cell",
    )


def _found(
    name: str, cells: pl.Series, complaints: pl.DataFrame, source_row: pl.Series
) -> pl.DataFrame:
    named = complaints.with_columns(
        pl.lit(name).alias("field"), cells.cast(pl.String).alias("value")
    )
    return _with_rows(named, source_row)


def _with_rows(complaints: pl.DataFrame, source_row: pl.Series) -> pl.DataFrame:
    rows = complaints.with_columns(source_row).filter(pl.col("fault").is_not_null())
    return rows.select(*FAULT_SCHEMA)
