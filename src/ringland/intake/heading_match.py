"""Which column of the contract a heading probably means, and how sure that is."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import dataframely as dy
import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.column_mapping import SERIAL, Writing, has_time
from ringland.intake.mapped_cells import clock_hours, plain_numbers, read_clock_form
from ringland.intake.raw_file import SOURCE_ROW, RawFile
from ringland.intake.text_cast import cast_instants

DATE_FORMS = tuple(
    f"{day}{time}"
    for day in (
        "%Y-%m-%d", "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d",
        "%d/%m/%y", "%m/%d/%y", "%d %b %Y", "%b %d %Y", "%b %d, %Y",
    )
    for time in (" %H:%M", " %H:%M:%S", "T%H:%M:%S", "T%H:%M:%S%.f", " %I:%M %p", "")
)  # fmt: skip
TIME_FORMS = ("%H:%M", "%H:%M:%S", "%I:%M %p")
WRITINGS = (Writing(".", ","), Writing(",", "."), Writing(",", " "), Writing(".", None))

# A guess is offered from this sureness on; the user sees it beside each line.
LEAST_SURE = 0.5
_EXACT, _ALL_WORDS = 0.95, 0.7
_DOUBT = 0.3  # what is left of a heading's sureness when the cells below do not look like it
_MOST = 0.6  # share of the cells that must look like it: some are always awry
_SOME = 0.25  # share of the cells from which a second way of writing dates counts


@dataclass(frozen=True)
class Guess:
    """A heading for a column of the contract, from 0 to 1 sure."""

    heading: str
    sure: float


@dataclass(frozen=True)
class CellLook:
    """What the cells below a heading can be read as; cells that are all empty, as anything."""

    is_instant: bool
    is_figure: bool
    is_word: bool


def cell_looks(raw: RawFile) -> dict[str, CellLook]:
    """What each column's cells look like, by heading."""
    return {name: _cell_look(raw.frame[name]) for name in raw.frame.columns if name != SOURCE_ROW}


def _cell_look(cells: pl.Series) -> CellLook:
    if cells.drop_nulls().is_empty():
        return CellLook(is_instant=True, is_figure=True, is_word=True)
    is_date = bool(date_forms(cells))
    return CellLook(
        is_instant=is_date or has_offset(cells) or is_time_of_day(cells),
        is_figure=bool(figure_writings(cells)) or is_clock_hours(cells),
        is_word=not is_date,
    )


def guess_columns(kind: RecordKind, looks: Mapping[str, CellLook]) -> dict[str, Guess]:
    """The likeliest heading of each column that one fits, each heading used once.

    Columns that may not be empty choose first.
    """
    scored = sorted(
        (
            (not spec.nullable, _sureness(heading, name, spec, look), name, heading)
            for name, spec in kind.schema.columns().items()
            for heading, look in looks.items()
        ),
        key=lambda found: (-found[1], -found[0], found[2], found[3]),
    )
    guesses: dict[str, Guess] = {}
    used: set[str] = set()
    for _, sure, name, heading in scored:
        if sure >= LEAST_SURE and name not in guesses and heading not in used:
            guesses[name] = Guess(heading, sure)
            used.add(heading)
    return guesses


def how_complete(kind: RecordKind, guesses: Mapping[str, Guess], hint: str) -> float:
    """How well the guesses make up rows of this kind, from 0 to about 1.5.

    The share of the columns that may not be empty, each by its sureness, with half a point
    where the name of the file or sheet speaks of the kind.
    """
    needed = [name for name, spec in kind.schema.columns().items() if not spec.nullable]
    found = sum(guesses[name].sure for name in needed if name in guesses)
    extra = sum(guess.sure for name, guess in guesses.items() if name not in needed)
    words = {kind.name, kind.name.rstrip("s"), *_KIND_WORDS.get(kind.name, ())}
    spoken_of = any(word.replace("_", " ") in _plain(hint) for word in words)
    return found / len(needed) + 0.05 * extra + (0.5 if spoken_of else 0.0)


_KIND_WORDS = {
    "fills": ("fuel", "pump", "gas"),
    "sessions": ("rental", "ride", "trip", "booking"),
    "hour_readings": ("meter", "hours"),
    "deliveries": ("tanker", "delivery"),
    "inspections": ("bench", "compression", "leak"),
}


def date_forms(cells: pl.Series) -> list[str]:
    """The forms in which most of the dates can be read; several if only together they do."""
    filled = cells.drop_nulls().head(500)
    if filled.is_empty():
        return []
    numbers = filled.cast(pl.Float64, strict=False)
    # the years 1990 to 2100 as a spreadsheet counts days
    read = {form: read_clock_form(filled, form, "12:00").is_not_null() for form in DATE_FORMS}
    read[SERIAL] = numbers.is_between(32874, 73051).fill_null(value=False)
    most = [form for form, mask in read.items() if mask.mean() >= _MOST]  # type: ignore[operator]
    if most:
        return most
    some = [form for form, mask in read.items() if mask.mean() >= _SOME]  # type: ignore[operator]
    together = pl.Series([False] * len(filled))
    for form in some:
        together = together | read[form]
    return some if some and together.mean() >= _MOST else []  # type: ignore[operator]


def figure_writings(cells: pl.Series) -> list[Writing]:
    """The ways of writing in which nearly all of the figures can be read."""
    filled = cells.drop_nulls().head(500).str.replace(r"\s*[A-Za-z%]+$", "")
    filled = filled.filter(~filled.str.contains(r"^\d+:\d\d"))  # hours and minutes have no mark
    return [w for w in WRITINGS if not filled.is_empty() and _share(plain_numbers(filled, w, None))]


def is_time_of_day(cells: pl.Series) -> bool:
    """Whether the cells are times of a day that stands elsewhere, in one form or several."""
    filled = cells.drop_nulls()
    read = pl.Series([None] * len(filled), dtype=pl.Datetime("us"))
    for form in TIME_FORMS:
        read = read.fill_null(_on_a_day(filled, form))
    return _share(read)


def _on_a_day(cells: pl.Series, form: str) -> pl.Series:
    return read_clock_form("2000-01-01 " + cells, f"%Y-%m-%d {form}", None)


def date_heading(raw: RawFile) -> str | None:
    """The first heading over dates without a time."""
    for heading in raw.frame.columns:
        forms = date_forms(raw.frame[heading]) if heading != SOURCE_ROW else []
        if forms and SERIAL not in forms and not any(map(has_time, forms)):
            return heading
    return None


def has_offset(cells: pl.Series) -> bool:
    """Whether the cells are instants that need no time zone."""
    return _share(cast_instants(cells.drop_nulls()))


def is_clock_hours(cells: pl.Series) -> bool:
    """Whether the cells are hours and minutes, some perhaps as figures."""
    filled = cells.drop_nulls()
    hours = clock_hours(filled)
    if hours.null_count() == len(hours):
        return False
    return any(_share(hours.fill_null(plain_numbers(filled, w, None))) for w in WRITINGS)


def _share(read: pl.Series) -> bool:
    return len(read) > 0 and len(read) - read.null_count() >= _MOST * len(read)


def _sureness(heading: str, name: str, spec: dy.Column, look: CellLook) -> float:
    words = _plain(heading)
    sure = 0.0
    for phrase in (name.replace("_", " "), *_heading_words().get(name, ())):
        if words == phrase:
            sure = max(sure, _EXACT)
        elif set(phrase.split()) <= set(words.split()):
            strange = len(set(words.split()) - set(phrase.split()))
            sure = max(sure, _ALL_WORDS + 0.02 * len(phrase) - 0.1 * strange)
    return min(sure, 1.0) * (1.0 if _fits(spec, look) else _DOUBT)


def _fits(spec: dy.Column, look: CellLook) -> bool:
    if isinstance(spec, dy.Datetime):
        return look.is_instant
    if isinstance(spec, dy.Float64 | dy.Int64):
        return look.is_figure
    return look.is_word


@cache
def _heading_words() -> dict[str, list[str]]:
    text = files("ringland.intake").joinpath("heading_words.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _plain(heading: str) -> str:
    words = re.sub("[£$€]", " price ", heading.lower()).replace("/", " per ")
    return " ".join(re.findall(r"[a-z0-9]+", words))
