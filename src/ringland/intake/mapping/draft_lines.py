"""A draft's line for one column: its heading, unit and codes, or the question that is open."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence

import dataframely as dy

from ringland.intake.mapping.column_evidence import Evidence, OnRecord
from ringland.intake.mapping.heading_match import Guess
from ringland.intake.mapping.heading_units import GALLON, UNIT_OF_WORD
from ringland.intake.mapping.mapping_entries import ASKED
from ringland.intake.mapping.mapping_rules import CLOCK_HOURS
from ringland.intake.written.heading_words import plain
from ringland.words.control_marks import CONTROLS

_MOST_CODES = 12
_GALLONS = ("US gal", "imp gal")
_DEAR = 5.0  # money for a litre beyond which a price is rather a total
_PER_UNIT = ("unit price", "price per unit", "ppu", "price unit")


def quoted(text: str) -> str:
    """The text as a TOML string; control characters are escaped, and read back as they were."""
    written = json.dumps(text, ensure_ascii=False)
    return CONTROLS.sub(lambda found: f"\\u{ord(found[0]):04x}", written)


def one_line(text: str) -> str:
    """The beginning of a cell, on one line; a control character is shown by its code.

    TOML allows none in a comment: one in a cell would make the draft unreadable.
    """
    return CONTROLS.sub(lambda found: f"\\x{ord(found[0]):02x}", " ".join(text.split())[:40])


def question_lines(name: str, spec: dy.Column, guess: Guess | None) -> Iterator[str]:
    """A column that may not be empty and that nothing fits well enough."""
    if guess is not None:
        likely = " or ".join(quoted(heading) for heading in (guess.heading, *guess.rivals))
        yield f"# Perhaps {likely}, which is not sure enough."
    yield f"# {_question(name, spec)}"
    yield f"{name} = {quoted(ASKED)}"


def _question(name: str, spec: dy.Column) -> str:
    if name == "ended_at":
        return (
            'Which column is it? Or { column = "Out", plus = "Minutes", unit = "min" }, '
            "the start and the length of the ride."
        )
    if name == "source":
        return (
            'From a dock\'s tank or from outside? { value = "outside" }; or { value = "dock" } '
            'and below it source_dock_id, e.g. { value = "north" }; or the column that says it.'
        )
    allowed = (spec.metadata or {}).get("allowed")
    choices = f" One of: {', '.join(allowed)}." if allowed else ""
    return f"Which column, or {{ value = ... }} for every row: {spec.description}?{choices}"


def column_lines(  # noqa: PLR0917 - one column, and all that stands beside it
    name: str,
    spec: dy.Column,
    guess: Guess,
    headings: Sequence[str],
    columns: Mapping[str, Evidence],
    amounts: Mapping[str, tuple[str, str]],
) -> Callable[[OnRecord], Iterator[str]]:
    """The lines of a column that was guessed, given what is on record."""
    shown = columns[guess.heading]
    first = ", ".join(one_line(cell) for cell in shown.cells.unique(maintain_order=True)[:3])
    about = f"  # {guess.sure:.2f} sure; e.g. {first}"
    heading = quoted(guess.heading)
    unit = str((spec.metadata or {}).get("unit", ""))

    def lines(on_record: OnRecord) -> Iterator[str]:
        if isinstance(spec, dy.Datetime):
            listed = ", ".join(map(quoted, headings))
            yield f"{name} = {f'[{listed}]' if len(headings) > 1 else heading}{about}"
        elif isinstance(spec, dy.Float64) and shown.is_clock_hours:
            yield f"{name} = {{ column = {heading}, unit = {quoted(CLOCK_HOURS)} }}{about}"
        elif allowed := (spec.metadata or {}).get("allowed"):
            yield from _choice_lines(name, allowed, shown, about)
        elif name == "price_per_l":
            yield from _price_lines(shown, columns, amounts, on_record, about)
        else:
            yield from _figure_lines(name, unit, shown, columns, on_record, about)

    return lines


def _figure_lines(  # noqa: PLR0917 - as above
    name: str,
    unit: str,
    shown: Evidence,
    columns: Mapping[str, Evidence],
    on_record: OnRecord,
    about: str,
) -> Iterator[str]:
    heading = quoted(shown.heading)
    if unit == "l" and (unit_column := _unit_column(columns)) is not None:
        words = unit_column.cells.str.to_lowercase().unique(maintain_order=True).to_list()
        yield from _units_lines(name, shown, words, on_record, about, unit_column.heading)
    elif words := [word for word in shown.unit_words if word != unit.lower()]:
        yield from _units_lines(name, shown, shown.unit_words, on_record, about, None)
    elif (found := _unit(unit, shown, on_record)) is not None:
        asked, answer = found
        if asked:
            yield f"# {asked}"
        yield f"{name} = {{ column = {heading}, unit = {quoted(answer)} }}{about}"
    else:
        if name == "octane_unlabelled":
            yield "# No scale is named. If you know it, write octane_aki or octane_ron instead;"
            yield "# left as it is, every number stays unresolved."
        yield f"{name} = {heading}{about}"


def _unit(  # noqa: PLR0911 - one line a unit
    unit: str, shown: Evidence, on_record: OnRecord
) -> tuple[str, str] | None:
    """The question on the unit and the answer; '' and the unit where it is sure; None: as is."""
    named = shown.units
    if unit == "l":
        return _litres_or_gallons(named, on_record)
    if unit == "h" and "min" in named:
        return "", "min"
    if unit == "share" and "%" in named:
        return "", "%"
    if unit == "share" and (shown.cells.cast(float, strict=False).max() or 0) > 1:  # type: ignore[operator]
        return 'Is it in per cent? Write "%" or "share".', ASKED
    if unit == "l/h" and named & {GALLON, *_GALLONS}:
        return 'US or imperial gallons? Write "US gal/h" or "imp gal/h".', ASKED
    if unit == "kPa" and named & {"psi", "bar", "inHg"}:
        return 'Which unit? Write "psi", "bar", "inHg" or "kPa".', ASKED
    if unit == "m" and "ft" in named:
        return "", "ft"
    return None


def _litres_or_gallons(named: set[str], on_record: OnRecord) -> tuple[str, str] | None:
    if "l" in named and not named & {GALLON, *_GALLONS}:
        return None
    for size in _GALLONS:
        if size in named:
            return "", size
    if GALLON in named:
        if on_record.gallon:
            return "", on_record.gallon
        return 'US or imperial gallons? Write "US gal" or "imp gal".', ASKED
    return 'Litres or gallons? Nothing says it. Write "l", "US gal" or "imp gal".', ASKED


def _unit_column(columns: Mapping[str, Evidence]) -> Evidence | None:
    named = [
        shown
        for shown in columns.values()
        if shown.are_unit_words or (plain(shown.heading) in _UNIT_HEADINGS and not shown.is_empty)
    ]
    few = [shown for shown in named if not shown.writings and shown.cells.n_unique() <= _MOST_CODES]
    return few[0] if len(few) == 1 else None


_UNIT_HEADINGS = {"uom", "unit", "units", "unit of measure", "einheit", "measure unit"}


def _units_lines(  # noqa: PLR0917 - as above
    name: str,
    shown: Evidence,
    words: Sequence[str],
    on_record: OnRecord,
    about: str,
    unit_column: str | None,
) -> Iterator[str]:
    meant = {word: UNIT_OF_WORD.get(word, ASKED) for word in words[:_MOST_CODES]}
    sized = {GALLON: on_record.gallon or ASKED}
    meant = {word: sized.get(unit, unit) for word, unit in meant.items()}
    if ASKED in meant.values():
        yield '# Which unit is it? E.g. "l", "US gal", "imp gal", "h", "min"; "" for none.'
    units = ", ".join(f"{quoted(word)} = {quoted(unit)}" for word, unit in meant.items())
    where = f"unit_column = {quoted(unit_column)}, " if unit_column else ""
    yield f"{name} = {{ column = {quoted(shown.heading)}, {where}units = {{ {units} }} }}{about}"


def _price_lines(
    shown: Evidence,
    columns: Mapping[str, Evidence],
    amounts: Mapping[str, tuple[str, str]],
    on_record: OnRecord,
    about: str,
) -> Iterator[str]:
    heading = quoted(shown.heading)
    is_proved = any(shown.heading in pair for pair in amounts.values())
    is_per_unit = is_proved or plain(shown.heading) in _PER_UNIT
    per = shown.units & {"l", GALLON, *_GALLONS}
    if not per and not is_per_unit and _median(shown) > _DEAR:
        yield f"# Not sure enough to be written: price_per_l = {heading}; perhaps it is a total."
        return
    quantities = {unit for other in columns.values() for unit in other.units}
    if per == {"l"} or (not per and "l" in quantities and not quantities & {GALLON, *_GALLONS}):
        yield f"price_per_l = {heading}{about}"
        return
    asked, answer = _litres_or_gallons(per or quantities & {GALLON, *_GALLONS}, on_record) or (
        "",
        "l",
    )
    if not per and not is_per_unit:
        asked, answer = "For a litre or for a gallon?", ASKED
    if asked:
        yield f'# {asked.split(" Write")[0]} Write "money/l", "money/US gal" or "money/imp gal".'
    unit = answer if answer == ASKED else f"money/{answer}"
    yield f"price_per_l = {{ column = {heading}, unit = {quoted(unit)} }}{about}"


def _median(shown: Evidence) -> float:
    numbers = [number for number in shown.numbers() if number == number]  # noqa: PLR0124 - not NaN
    return sorted(numbers)[len(numbers) // 2] if numbers else 0.0


def _choice_lines(name: str, allowed: Sequence[str], shown: Evidence, about: str) -> Iterator[str]:
    words = shown.cells.str.to_lowercase().unique(maintain_order=True).to_list()
    strange = [word for word in words if word not in allowed]
    if not strange:
        yield f"{name} = {quoted(shown.heading)}{about}"
        return
    yield f'# What do these words mean? Each is one of: {", ".join(allowed)}; "" for nothing.'
    codes = ", ".join(f"{quoted(word)} = {quoted(ASKED)}" for word in strange[:_MOST_CODES])
    yield f"{name} = {{ column = {quoted(shown.heading)}, codes = {{ {codes} }} }}{about}"
