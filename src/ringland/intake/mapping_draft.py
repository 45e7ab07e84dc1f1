"""A first mapping for a file, with what was guessed, how sure, and what only the user knows.

The draft is TOML for `column_mapping.parse_mapping`.  Beside each line stands how sure it is
and what the cells look like; where the file cannot tell, the answer is '?' with the
question above it, and the mapping is refused until it is answered.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

import dataframely as dy
import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.column_mapping import ASKED, CLOCK_HOURS, has_time
from ringland.intake.heading_match import (
    Guess,
    cell_looks,
    date_forms,
    date_heading,
    figure_writings,
    guess_columns,
    has_offset,
    how_complete,
    is_clock_hours,
    is_time_of_day,
)
from ringland.intake.raw_file import SOURCE_ROW, RawFile
from ringland.intake.source_look import SourceLook

_SHOWN = 3
_MOST_CODES = 12
_LEAST_COMPLETE = 0.3  # below it the kind is asked for, not guessed


def draft_mapping(file_name: str, looks: Sequence[SourceLook]) -> str:
    """The text of a mapping for a file looked at by `source_look.look_at`."""
    parts = [(look, *_likeliest_kind(look, file_name)) for look in looks]
    lines = [
        f"# How ringland is to read {_one_line(file_name)}: a draft.",
        "# Beside each line: how sure the guess is, and the first cells of the column.",
        "# Where an answer is '?', only you know it: put it in. Then load the file again.",
        "",
        "[source]",
        f'files = [{_quoted(file_name)}]  # also of later exports, e.g. "fuel*.csv"',
        *_source_lines(looks, parts),
    ]
    for look, kind, guesses in parts:
        if len(parts) > 1 and how_complete(kind, guesses, "") < _LEAST_COMPLETE:
            lines += ["", f"# Sheet {_quoted(look.sheet or '')} does not look like records."]
        else:
            lines += ["", *_table_lines(look, kind, guesses)]
    return "\n".join(lines) + "\n"


def _likeliest_kind(look: SourceLook, file_name: str) -> tuple[RecordKind, dict[str, Guess]]:
    hint = f"{file_name} {look.sheet or ''}"
    cells = cell_looks(look.raw)
    guessed = {name: guess_columns(kind, cells) for name, kind in RECORD_KINDS.items()}
    best = max(RECORD_KINDS, key=lambda name: how_complete(RECORD_KINDS[name], guessed[name], hint))
    return RECORD_KINDS[best], guessed[best]


def _source_lines(
    looks: Sequence[SourceLook],
    parts: Sequence[tuple[SourceLook, RecordKind, dict[str, Guess]]],
) -> Iterator[str]:
    layout = looks[0].layout
    for look in looks:
        yield from (f"# {remark}" for remark in look.remarks)
    if layout.encoding:
        yield f"encoding = {_quoted(layout.encoding)}"
    if layout.delimiter:
        yield f"delimiter = {_quoted(layout.delimiter)}"
    found = [
        (look.raw, guess.heading, kind.schema.columns()[name])
        for look, kind, guesses in parts
        for name, guess in guesses.items()
    ]
    yield from _writing_lines(
        [raw.frame[at] for raw, at, spec in found if isinstance(spec, dy.Float64 | dy.Int64)]
    )
    yield from _date_lines(
        [_instant_cells(raw, at) for raw, at, spec in found if isinstance(spec, dy.Datetime)]
    )


def _writing_lines(columns: Sequence[pl.Series]) -> Iterator[str]:
    marked = [c for c in columns if c.drop_nulls().str.contains("[.,]").any()]
    possible = [figure_writings(cells) for cells in marked]
    common = [w for w in (possible[0] if possible else []) if all(w in p for p in possible)]
    marks = {writing.decimal for writing in common}
    if marked and len(marks) != 1:
        yield "# '1,234' can be read two ways in these figures. Is the decimal mark '.' or ','?"
        yield f"decimal = {_quoted(ASKED)}"
    elif common:
        yield f"decimal = {_quoted(common[0].decimal)}"
        if common[0].thousands:
            yield f"thousands = {_quoted(common[0].thousands)}"


def _date_lines(columns: Sequence[pl.Series]) -> Iterator[str]:
    local = [cells for cells in columns if not has_offset(cells) and date_forms(cells)]
    if not local:
        return
    possible = [date_forms(cells) for cells in local]
    found: list[str] = []
    asked = False
    for forms in possible:
        likely = [form for form in forms if has_time(form)] or forms
        orders = {form[:2] for form in likely if {form[:2], form[3:5]} == {"%d", "%m"}}
        asked = asked or len(orders) > 1
        found += [form for form in likely if form not in found]
    if asked:
        shown = ", ".join(_quoted(cell) for cell in local[0].drop_nulls().head(_SHOWN))
        yield f"# Is it day or month first? The dates fit both, e.g. {_one_line(shown)}."
        yield f"# Possible: {', '.join(_quoted(form) for form in found)}"
        yield f"date_formats = {_quoted(ASKED)}"
    else:
        yield f"date_formats = [{', '.join(_quoted(form) for form in found)}]"
    if any(not has_time(form) and form != "serial" for form in found):
        yield "# At what time of day does a date without one count?"
        yield f"time_of_day = {_quoted(ASKED)}"
    yield '# By which clock? An IANA zone, e.g. "America/Chicago", or "dock" for the dock\'s own.'
    yield f"time_zone = {_quoted(ASKED)}"


def _table_lines(look: SourceLook, kind: RecordKind, guesses: dict[str, Guess]) -> Iterator[str]:
    score = how_complete(kind, guesses, "")
    others = f"else one of: {', '.join(name for name in RECORD_KINDS if name != kind.name)}"
    yield "[[table]]"
    if score < _LEAST_COMPLETE:
        yield f"# What kind of record is in it? One of: {', '.join(RECORD_KINDS)}."
        yield '# Put that in and name the columns below it, e.g. hull_id = "Craft".'
        yield f"kind = {_quoted(ASKED)}"
    else:
        yield f"kind = {_quoted(kind.name)}  # {min(score, 0.99):.2f} sure; {others}"
    if look.sheet is not None:
        yield f"sheet = {_quoted(look.sheet)}"
    if look.layout.header_rows not in ((), (1,)):
        yield f"header_rows = [{', '.join(map(str, look.layout.header_rows))}]"
    yield "[table.columns]"
    for name, spec in kind.schema.columns().items():
        if name in guesses:
            yield from _column_lines(name, spec, guesses[name], look.raw)
        elif not spec.nullable and score >= _LEAST_COMPLETE:
            yield f"# {_question(name, spec)}"
            yield f"{name} = {_quoted(ASKED)}"
    used = {guess.heading for guess in guesses.values()}
    for name, guess in guesses.items():
        if isinstance(kind.schema.columns()[name], dy.Datetime):
            used |= set(_instant_headings(look.raw, guess.heading))
    unused = [h for h in look.raw.frame.columns if h not in used and h != SOURCE_ROW]
    if unused:
        yield f"# Not used: {', '.join(_one_line(heading) for heading in unused)}"


def _column_lines(name: str, spec: dy.Column, guess: Guess, raw: RawFile) -> Iterator[str]:
    cells = raw.frame[guess.heading]
    shown = ", ".join(
        _one_line(cell) for cell in cells.drop_nulls().unique(maintain_order=True)[:3]
    )
    about = f"  # {guess.sure:.2f} sure; e.g. {shown}"
    heading = _quoted(guess.heading)
    unit = str((spec.metadata or {}).get("unit", ""))
    if isinstance(spec, dy.Datetime):
        headings = ", ".join(map(_quoted, _instant_headings(raw, guess.heading)))
        yield f"{name} = {f'[{headings}]' if ', ' in headings else headings}{about}"
    elif isinstance(spec, dy.Float64) and is_clock_hours(cells):
        yield f"{name} = {{ column = {heading}, unit = {_quoted(CLOCK_HOURS)} }}{about}"
    elif asked := _unit_question(unit, guess.heading, cells):
        yield f"# {asked}"
        yield f"{name} = {{ column = {heading}, unit = {_quoted(ASKED)} }}{about}"
    elif allowed := (spec.metadata or {}).get("allowed"):
        yield from _choice_lines(name, allowed, cells, heading, about)
    else:
        if name == "octane_unlabelled":
            yield "# No scale is named. If you know it, write octane_aki or octane_ron instead;"
            yield "# left as it is, every number stays unresolved."
        yield f"{name} = {heading}{about}"


def _question(name: str, spec: dy.Column) -> str:
    if name == "ended_at":
        return (
            'Which column is it? Or { column = "Out", plus = "Minutes", unit = "min" }, '
            "the start and the length of the ride."
        )
    allowed = (spec.metadata or {}).get("allowed")
    choices = f" One of: {', '.join(allowed)}." if allowed else ""
    return f"Which column, or {{ value = ... }} for every row: {spec.description}?{choices}"


def _instant_headings(raw: RawFile, heading: str) -> list[str]:
    """The columns that make up the instant: a time of day needs its date, and the reverse."""
    times = [h for h in raw.frame.columns if h != SOURCE_ROW and is_time_of_day(raw.frame[h])]
    if heading in times:
        day = date_heading(raw)
        return [heading] if day is None else [day, heading]
    forms = date_forms(raw.frame[heading])
    is_day = bool(forms) and "serial" not in forms and not any(map(has_time, forms))
    return [heading, times[0]] if is_day and len(times) == 1 else [heading]


def _instant_cells(raw: RawFile, heading: str) -> pl.Series:
    parts = [pl.col(name) for name in _instant_headings(raw, heading)]
    return raw.frame.select(pl.concat_str(parts, separator=" ")).to_series()


def _unit_question(unit: str, heading: str, cells: pl.Series) -> str | None:
    words = f" {heading} {' '.join(cells.drop_nulls().head(20))} ".lower()
    if unit in ("l", "money/l", "l/h") and "gal" in words:
        other = unit.replace("l", "US gal", 1) if unit != "money/l" else "money/US gal"
        return f"US or imperial gallons? Write {_quoted(other)} or {_quoted(_imperial(other))}."
    if unit == "kPa" and any(word in words for word in ("psi", "bar", "inhg")):
        return 'Which unit? Write "psi", "bar", "inHg" or "kPa".'
    if unit == "m" and "f" in words.replace("of", ""):
        return 'Metres or feet? Write "m" or "ft".'
    if (
        unit == "share"
        and cells.cast(pl.Float64, strict=False).max() not in (None,)
        and (
            (cells.cast(pl.Float64, strict=False).max() or 0) > 1  # type: ignore[operator]
        )
    ):
        return 'Is it in per cent? Write "%" or "share".'
    return None


def _imperial(unit: str) -> str:
    return unit.replace("US gal", "imp gal")


def _choice_lines(
    name: str, allowed: Sequence[str], cells: pl.Series, heading: str, about: str
) -> Iterator[str]:
    words = cells.drop_nulls().str.to_lowercase().unique(maintain_order=True).to_list()
    strange = [word for word in words if word not in allowed]
    if not strange:
        yield f"{name} = {heading}{about}"
        return
    yield f'# What do these words mean? Each is one of: {", ".join(allowed)}; "" for nothing.'
    codes = ", ".join(f"{_quoted(word)} = {_quoted(ASKED)}" for word in strange[:_MOST_CODES])
    yield f"{name} = {{ column = {heading}, codes = {{ {codes} }} }}{about}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def _one_line(text: str) -> str:
    return " ".join(text.split())[:40]
