"""A first mapping for a file, with what was guessed, how sure, and what only the user knows.

The draft is TOML for `column_mapping.parse_mapping`.  Beside each line stands how sure it is
and what the cells look like; where the file cannot tell, the answer is '?' with the
question above it, and the mapping is refused until it is answered.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import dataframely as dy
import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.mapping.column_evidence import Evidence, OnRecord, amounts, evidence
from ringland.intake.mapping.date_order import NO_PROOF, Order, order_of, order_proof
from ringland.intake.mapping.draft_lines import column_lines, one_line, question_lines, quoted
from ringland.intake.mapping.grade_lines import grade_heading, grade_lines
from ringland.intake.mapping.grade_words import GRADE_COLUMNS
from ringland.intake.mapping.heading_match import Guess, guess_columns, how_complete
from ringland.intake.mapping.mapping_entries import ASKED
from ringland.intake.mapping.mapping_rules import DOCK_ZONE, SERIAL, has_time
from ringland.intake.mapping.row_words import row_word_lines
from ringland.intake.mapping.source_look import SourceLook

_SHOWN = 3
_UTC = re.compile(r"(?i)\b(utc|gmt|zulu)\b")
_LEAST_COMPLETE = 0.3  # below it the kind is asked for, not guessed
_NOTHING = OnRecord()


@dataclass(frozen=True)
class _Table:
    """A table with what it was taken for; `sheets` are all that have the same headings."""

    look: SourceLook
    kind: RecordKind
    columns: dict[str, Evidence]
    guesses: dict[str, Guess]
    amounts: dict[str, tuple[str, str]]
    sheets: tuple[str, ...]

    @property
    def score(self) -> float:
        return how_complete(self.kind, self.guesses, "")

    def instant_headings(self, heading: str) -> list[str]:
        """The columns that make up the instant: a time of day needs its date, and the reverse."""
        times = [name for name, shown in self.columns.items() if shown.is_time_of_day]
        if heading in times:
            days = [name for name, shown in self.columns.items() if shown.is_day]
            return [*days[:1], heading]
        if self.columns[heading].is_day and len(times) == 1:
            return [heading, times[0]]
        return [heading]

    def instant_cells(self, heading: str) -> pl.Series:
        parts = [pl.col(name) for name in self.instant_headings(heading)]
        return self.look.raw.frame.select(pl.concat_str(parts, separator=" ")).to_series()


def draft_mapping(
    file_name: str, looks: Sequence[SourceLook], on_record: OnRecord = _NOTHING
) -> str:
    """The text of a mapping for a file looked at by `source_look.look_at`."""
    tables = _alike_together([_table(look, file_name, on_record) for look in looks])
    strange = [t for t in tables if len(tables) > 1 and t.score < _LEAST_COMPLETE]
    tables = [table for table in tables if table not in strange]
    lines = [
        f"# How ringland is to read {one_line(file_name)}: a draft.",
        "# Beside each line: how sure the guess is, and the first cells of the column.",
        "# Where an answer is '?', only you know it: put it in. Then load the file again.",
        "",
        "[source]",
        f'files = [{quoted(file_name)}]  # also of later exports, e.g. "fuel*.csv"',
        *_source_lines(tables, on_record),
    ]
    if left := [sheet for table in strange for sheet in table.sheets]:
        lines += [
            "# These sheets do not look like records. Their rows are left out.",
            f"leave_out_sheets = [{', '.join(map(quoted, left))}]",
        ]
    for table in tables:
        lines += ["", *_table_lines(table, on_record)]
    return "\n".join(lines) + "\n"


def _table(look: SourceLook, file_name: str, on_record: OnRecord) -> _Table:
    columns = evidence(look.raw, on_record)
    products = amounts(columns, look.raw)
    guessed = {name: guess_columns(kind, columns, products) for name, kind in RECORD_KINDS.items()}
    # a table below another one is not what the file's name speaks of
    hint = f"{file_name} {look.sheet or ''}" if look.is_only else ""
    best = max(RECORD_KINDS, key=lambda name: how_complete(RECORD_KINDS[name], guessed[name], hint))
    sheets = (look.sheet,) if look.sheet is not None else ()
    return _Table(look, RECORD_KINDS[best], columns, guessed[best], products, sheets)


def _alike_together(tables: Sequence[_Table]) -> list[_Table]:
    """Sheets of the same headings and kind as one table, as a sheet for each month."""
    together: dict[object, _Table] = {}
    for number, table in enumerate(tables):
        key: object = number
        if table.look.sheet is not None and table.look.is_only:
            key = (tuple(table.columns), table.look.layout.header_rows, table.kind.name)
        if key not in together:
            together[key] = table
            continue
        first = together[key]
        frame = pl.concat([first.look.raw.frame, table.look.raw.frame])
        look = SourceLook(
            first.look.sheet,
            first.look.layout,
            type(first.look.raw)(first.look.raw.file_name, frame),
            first.look.remarks,
        )
        on_record = next(iter(first.columns.values())).on_record
        whole = _table(look, first.look.raw.file_name, on_record)
        together[key] = _Table(
            look, whole.kind, whole.columns, whole.guesses, whole.amounts,
            (*first.sheets, *table.sheets),
        )  # fmt: skip
    return list(together.values())


def _source_lines(tables: Sequence[_Table], on_record: OnRecord) -> Iterator[str]:
    if not tables:
        return
    layout = tables[0].look.layout
    for table in tables:
        yield from (f"# {remark}" for remark in table.look.remarks)
    if layout.encoding:
        yield f"encoding = {quoted(layout.encoding)}"
    if layout.delimiter:
        yield f"delimiter = {quoted(layout.delimiter)}"
    found = [
        (table, guess, table.kind.schema.columns()[name])
        for table in tables
        for name, guess in table.guesses.items()
    ]
    yield from _writing_lines(
        [t.columns[g.heading] for t, g, spec in found if isinstance(spec, dy.Float64 | dy.Int64)]
    )
    yield from _date_lines(
        [(t, g.heading) for t, g, spec in found if isinstance(spec, dy.Datetime)], on_record
    )


def _writing_lines(columns: Sequence[Evidence]) -> Iterator[str]:
    marked = [shown for shown in columns if shown.cells.str.contains(r"\d[.,]|[.,]\d").any()]
    possible = [shown.writings for shown in marked if shown.writings]
    common = [w for w in (possible[0] if possible else []) if all(w in p for p in possible)]
    marks = {writing.decimal for writing in common}
    if possible and len(marks) != 1:
        yield "# '1,234' can be read two ways in these figures. Is the decimal mark '.' or ','?"
        yield f"decimal = {quoted(ASKED)}"
        yield "# And the mark between thousands: ',', '.' or ' '?"
        yield f"thousands = {quoted(ASKED)}"
    elif common:
        yield f"decimal = {quoted(common[0].decimal)}"
        if common[0].thousands:
            yield f"thousands = {quoted(common[0].thousands)}"


def _date_lines(found: Sequence[tuple[_Table, str]], on_record: OnRecord) -> Iterator[str]:
    local = [
        (table, heading)
        for table, heading in found
        if not table.columns[heading].has_offset and table.columns[heading].is_instant
        and not table.columns[heading].is_empty
    ]  # fmt: skip
    shown = {
        (id(table), *table.instant_headings(heading)): Evidence(
            heading, table.instant_cells(heading).drop_nulls()
        )
        for table, heading in local
    }
    dated = [column for column in shown.values() if column.dates]
    if not dated:
        return
    proof = sum((order_proof(column.cells) for column in dated), NO_PROOF)
    forms: list[str] = []
    for column in dated:
        likely = [form for form in column.dates if has_time(form)] or column.dates
        forms += [form for form in likely if form not in forms]
    if proof.order is not None:
        forms = [form for form in forms if order_of(form) in (None, Order.YEAR, proof.order)]
    if len({order_of(form) for form in forms} - {None}) > 1:
        cells = ", ".join(quoted(cell) for cell in dated[0].cells.head(_SHOWN))
        what = "Two orders stand in this file" if proof.is_contradiction else "More than one fits"
        yield f"# What stands first, day, month or year? {what}, e.g. {one_line(cells)}."
        for order in Order:
            kept = [form for form in forms if order_of(form) in (None, order)]
            if not any(order_of(form) is order for form in kept):
                continue
            name = order.name.lower()
            yield f"# {name} first: date_formats = [{', '.join(map(quoted, kept))}]"
        yield f"date_formats = {quoted(ASKED)}"
    else:
        yield f"date_formats = [{', '.join(map(quoted, forms))}]"
    if any(not has_time(form) and form != SERIAL for form in forms):
        yield "# At what time of day does a date without one count?"
        yield f"time_of_day = {quoted(ASKED)}"
    if any(_UTC.search(heading) for _, heading in local):
        yield 'time_zone = "UTC"  # as the heading says'
    else:
        yield from _zone_lines([table for table, _ in local], on_record)


def _zone_lines(tables: Sequence[_Table], on_record: OnRecord) -> Iterator[str]:
    clocks = on_record.clocks
    names_place = all({"hull_id", "dock_id"} & set(t.kind.schema.column_names()) for t in tables)
    if clocks.only_zone:
        yield f"time_zone = {quoted(clocks.only_zone)}  # the clock of your docks"
    elif clocks.zone_of_dock and names_place:
        yield f"time_zone = {quoted(DOCK_ZONE)}  # the clock of each row's dock"
    else:
        yield "# By which clock? An IANA zone, e.g. America/Chicago, or dock for the dock's own."
        yield f"time_zone = {quoted(ASKED)}"


def _table_lines(table: _Table, on_record: OnRecord) -> Iterator[str]:
    kind, guesses, look = table.kind, table.guesses, table.look
    others = f"else one of: {', '.join(name for name in RECORD_KINDS if name != kind.name)}"
    yield "[[table]]"
    if table.score < _LEAST_COMPLETE:
        yield f"# What kind of record is in it? One of: {', '.join(RECORD_KINDS)}."
        yield '# Put that in and name the columns below it, e.g. hull_id = "Craft".'
        yield f"kind = {quoted(ASKED)}"
    else:
        yield f"kind = {quoted(kind.name)}  # {min(table.score, 0.99):.2f} sure; {others}"
    if len(table.sheets) > 1:
        yield f"sheet = [{', '.join(map(quoted, table.sheets))}]"
    elif table.sheets:
        yield f"sheet = {quoted(table.sheets[0])}"
    if look.layout.header_rows not in ((), (1,)) or not look.is_only:
        yield f"header_rows = [{', '.join(map(str, look.layout.header_rows))}]"
    grade = grade_heading(kind, guesses, table.columns)
    lines, used, maybe = _columns(table, grade, on_record)
    yield from row_word_lines(kind, table.columns, used)
    yield "[table.columns]"
    yield from lines
    if maybe:
        yield f"# Not sure enough to be written: {'; '.join(maybe)}"
    if unused := [heading for heading in table.columns if heading not in used]:
        yield f"# Not used: {', '.join(map(one_line, unused))}"
    if grade is not None:
        yield from grade_lines(table.columns[grade])


def _columns(
    table: _Table, grade: str | None, on_record: OnRecord
) -> tuple[list[str], set[str], list[str]]:
    """The lines of the columns, the headings they use, and guesses that are only told."""
    lines: list[str] = []
    used = {grade} if grade is not None else set()
    maybe = []
    for name, spec in table.kind.schema.columns().items():
        guess = table.guesses.get(name)
        if guess is not None and guess.heading == grade:
            continue
        if guess is not None and guess.is_bet:
            headings = [guess.heading]
            if isinstance(spec, dy.Datetime):
                headings = table.instant_headings(guess.heading)
            used |= set(headings)
            of_it = column_lines(name, spec, guess, headings, table.columns, table.amounts)
            lines += of_it(on_record)
        elif table.score >= _LEAST_COMPLETE and (
            not spec.nullable or (guess is not None and name in GRADE_COLUMNS)
        ):
            lines += question_lines(name, spec, guess)
        elif guess is not None:
            maybe.append(f"{name} = {quoted(guess.heading)}")
    return lines, used, maybe
