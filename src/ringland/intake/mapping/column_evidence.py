"""What the cells and the heading of a column show of what it holds, before anything is guessed.

Each kind of evidence is a fact about the column as a whole: dates and their forms, figures and
the units behind them, money, grades, ids that are on record.  `heading_match` weighs them.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl

from ringland.intake.mapping.date_forms import date_forms, has_offset, is_time_of_day
from ringland.intake.mapping.dock_clocks import NO_CLOCKS, DockClocks
from ringland.intake.mapping.grade_words import GRADE_HEADINGS, looks_like_grade
from ringland.intake.mapping.heading_units import MONEY, UNIT_OF_WORD, units_named
from ringland.intake.mapping.mapped_cells import clock_hours, plain_numbers, unit_behind
from ringland.intake.mapping.mapping_rules import SERIAL, Writing, has_time
from ringland.intake.written.heading_words import plain
from ringland.intake.written.raw_file import SOURCE_ROW, RawFile
from ringland.intake.written.text_cast import look

WRITINGS = (Writing(".", ","), Writing(",", "."), Writing(",", " "), Writing(".", None))
_CLOCK_WORDS = {"time", "uhrzeit", "uhr", "hora", "heure", "clock"}
_MOST = 0.5  # share of the cells that must look like it: some are always awry
_SAMPLE = 500


@dataclass(frozen=True)
class OnRecord:
    """What the shop has on record that tells columns apart."""

    ids: Mapping[str, Collection[str]] = field(default_factory=dict)
    """ids by record kind"""
    clocks: DockClocks = NO_CLOCKS
    countries: Collection[str] = ()
    """of its docks"""

    @property
    def gallon(self) -> str | None:
        """The gallon sold at its docks, where there is only one."""
        return "US gal" if set(self.countries) == {"US"} else None


@dataclass(frozen=True)
class Evidence:
    """What one column shows; `cells` are those that are not empty."""

    heading: str
    cells: pl.Series
    on_record: OnRecord = OnRecord()

    @property
    def is_empty(self) -> bool:
        """Whether no cell is filled."""
        return self.cells.is_empty()

    @cached_property
    def dates(self) -> list[str]:
        """The forms in which it can be read as dates."""
        return date_forms(self.cells)

    @property
    def is_day(self) -> bool:
        """Whether it holds dates without a time."""
        return bool(self.dates) and SERIAL not in self.dates and not any(map(has_time, self.dates))

    @cached_property
    def has_offset(self) -> bool:
        """Whether it holds instants that need no time zone."""
        return has_offset(self.cells)

    @cached_property
    def is_time_of_day(self) -> bool:
        """Whether it holds times of a day that stands elsewhere."""
        is_clock = bool(_CLOCK_WORDS & set(plain(self.heading).split()))
        return is_time_of_day(self.cells, dotted=is_clock)

    @property
    def is_instant(self) -> bool:
        """Whether it can be an instant or a part of one."""
        return self.is_empty or bool(self.dates) or self.has_offset or self.is_time_of_day

    @cached_property
    def writings(self) -> list[Writing]:
        """The ways of writing in which nearly all of its figures can be read."""
        return figure_writings(self.cells)

    @cached_property
    def is_clock_hours(self) -> bool:
        """Whether it holds hours and minutes."""
        return is_clock_hours(self.cells)

    @property
    def is_figure(self) -> bool:
        """Whether it can be figures."""
        return self.is_empty or bool(self.writings) or self.is_clock_hours

    @cached_property
    def unit_words(self) -> list[str]:
        """What stands behind its figures, in lower case, in the order it first comes."""
        words = unit_behind(self.cells)[1].drop_nulls().str.to_lowercase()
        return words.unique(maintain_order=True).to_list()

    @cached_property
    def units(self) -> set[str]:
        """The units that its heading and its cells name; `GALLON` and `MONEY` among them."""
        found = units_named(self.heading)
        found |= {UNIT_OF_WORD[word] for word in self.unit_words if word in UNIT_OF_WORD}
        if self.cells.str.contains(r"^[$€£]\s*\d").any():
            found.add(MONEY)
        return found

    @cached_property
    def are_unit_words(self) -> bool:
        """Whether the cells themselves are units."""
        words = self.cells.str.to_lowercase()
        known = words.is_in(list(UNIT_OF_WORD)).mean() or 0.0
        return not self.is_empty and float(known) >= _MOST  # type: ignore[arg-type]

    @cached_property
    def are_bare_numbers(self) -> bool:
        """Whether most cells are a number and nothing else."""
        numbers = self.cells.head(_SAMPLE).str.replace(",", ".").cast(pl.Float64, strict=False)
        return _is_most(numbers)

    @cached_property
    def are_grades(self) -> bool:
        """Whether most cells say a fuel's grade in words."""
        words = self.cells.head(_SAMPLE).to_list()
        is_headed = self.is_headed_as_grade
        if not words or self.are_bare_numbers:
            return is_headed and all(len(word) == 1 for word in words)  # the buttons of a pump
        found = sum(looks_like_grade(word, is_code=is_headed) for word in words)
        return found >= _MOST / 2 * len(words)

    @property
    def is_headed_as_grade(self) -> bool:
        """Whether its heading is one that people write above grades."""
        return bool(GRADE_HEADINGS & set(plain(self.heading).split()))

    def share_on_record(self, kind: str) -> float | None:
        """The share of its cells that name a record of a kind; None: no such is on record."""
        ids = {look(name) for name in self.on_record.ids.get(kind, ())}
        words = self.cells.head(_SAMPLE).to_list()
        if not ids or not words:
            return None
        return sum(look(word) in ids for word in words) / len(words)

    def numbers(self) -> np.ndarray:
        """Its figures by the first way of writing that fits, not a number where there is none."""
        writing = self.writings[0] if self.writings else WRITINGS[0]
        cells = self.cells.str.replace(r"^[$€£]\s*", "")
        return plain_numbers(cells, writing, None).to_numpy().astype(float)


def evidence(raw: RawFile, on_record: OnRecord) -> dict[str, Evidence]:
    """The evidence of each column, by heading."""
    return {
        name: Evidence(name, raw.frame[name].drop_nulls(), on_record)
        for name in raw.frame.columns
        if name != SOURCE_ROW
    }


def figure_writings(cells: pl.Series) -> list[Writing]:
    """The ways of writing in which most of the figures can be read, and no other reads more."""
    filled = cells.drop_nulls().head(_SAMPLE).str.replace(r"\s*[A-Za-z%]+\.?$", "")
    filled = filled.str.replace(r"^[$€£]\s*", "")
    filled = filled.filter(~filled.str.contains(r"^\d+:\d\d"))  # hours and minutes have no mark
    if filled.is_empty():
        return []
    read = {w: len(filled) - plain_numbers(filled, w, None).null_count() for w in WRITINGS}
    most = max(read.values())
    return [w for w in WRITINGS if read[w] == most >= _MOST * len(filled)]


def is_clock_hours(cells: pl.Series) -> bool:
    """Whether the cells are hours and minutes, some perhaps as figures."""
    filled = cells.drop_nulls().head(_SAMPLE)
    hours = clock_hours(filled)
    if hours.null_count() == len(hours):
        return False
    return any(_is_most(hours.fill_null(plain_numbers(filled, w, None))) for w in WRITINGS)


def _is_most(read: pl.Series) -> bool:
    return len(read) > 0 and len(read) - read.null_count() >= _MOST * len(read)


def amounts(columns: Mapping[str, Evidence], raw: RawFile) -> dict[str, tuple[str, str]]:
    """Columns that are the product of two others, row by row: amount -> quantity and price."""
    figures = {
        name: _column_numbers(raw.frame[name], found)
        for name, found in columns.items()
        if found.writings and not found.dates and not found.is_empty
    }
    found = {}
    for amount, total in figures.items():
        for one, first in figures.items():
            for other, second in figures.items():
                if one < other and amount not in (one, other) and _is_product(first, second, total):
                    found[amount] = (one, other)
    return found


def _column_numbers(cells: pl.Series, found: Evidence) -> np.ndarray:
    plain = cells.head(_SAMPLE).str.replace(r"^[$€£]\s*", "").str.replace(r"\s*[A-Za-z%]+$", "")
    return plain_numbers(plain, found.writings[0], None).to_numpy().astype(float)


_CENT, _ROUNDED, _LEAST_ROWS, _NEARLY_ALL = 0.011, 0.002, 2, 0.8


def _is_product(first: np.ndarray, second: np.ndarray, total: np.ndarray) -> bool:
    whole = ~(np.isnan(first) | np.isnan(second) | np.isnan(total))
    telling = whole & (np.abs(first - 1) > _CENT) & (np.abs(second - 1) > _CENT) & (total != 0)
    if telling.sum() < _LEAST_ROWS:
        return False
    off = np.abs(first * second - total) <= _CENT + _ROUNDED * np.abs(total)
    return float(off[telling].mean()) >= _NEARLY_ALL
