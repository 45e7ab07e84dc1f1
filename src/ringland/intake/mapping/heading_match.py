"""Which column of the contract a heading probably means, and how sure that is.

A heading alone is half the evidence: what the cells show weighs as much.  What would not be
bet on is not written into a draft but asked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import dataframely as dy

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.mapping.column_evidence import Evidence
from ringland.intake.mapping.heading_units import GALLON, MONEY, UNIT_OF_WORD
from ringland.intake.written.heading_words import heading_words, plain

LEAST_SURE = 0.5
"""From here on a guess is told to the user."""
BET = 0.75
"""From here on it is written; below, it is asked."""
_EXACT, _ALL_WORDS = 0.95, 0.7
_DOUBT = 0.3  # what is left of a heading's sureness when the cells below do not look like it
_ON_RECORD, _STRANGE = 0.6, 0.2  # shares of cells that name a record
_BY_IDS = 0.85  # how sure cells alone make it that name records of that kind
_ONLY_DATE = 0.2  # what being the only dates of a file adds
_TIED, _TIED_INSTANTS = 0.03, 0.15  # of two dates in a row either may be the one that is meant
_NEUTRAL = {"the", "of", "no", "nr", "number", "name", "id", "us", "imp", *UNIT_OF_WORD}
_FITTING = {
    "l": {"l", GALLON, "US gal", "imp gal"},
    "h": {"h", "min"},
    "share": {"%"},
    "money/l": {"l", GALLON, "US gal", "imp gal", MONEY},
    "money": {MONEY},
}


@dataclass(frozen=True)
class Guess:
    """A heading for a column of the contract, from 0 to 1 sure; `rivals` fit as well."""

    heading: str
    sure: float
    rivals: tuple[str, ...] = ()

    @property
    def is_bet(self) -> bool:
        """Whether it is sure enough to be written."""
        return self.sure >= BET and not self.rivals


def guess_columns(
    kind: RecordKind, columns: Mapping[str, Evidence], amounts: Mapping[str, tuple[str, str]]
) -> dict[str, Guess]:
    """The likeliest heading of each column that one fits, each heading used once.

    Columns that may not be empty choose first.

    Args:
        kind: the kind of record.
        columns: what each heading's column shows.
        amounts: as `column_evidence.amounts`: such a column is neither quantity nor price.
    """
    whole_dates = [name for name, c in columns.items() if c.dates and not c.is_time_of_day]
    only_date = whole_dates[0] if len(whole_dates) == 1 else None
    groups = _group_words(columns)
    scored = []
    for name, spec in kind.schema.columns().items():
        for heading, shown in columns.items():
            sure = _sureness(kind, name, spec, shown, groups)
            if heading in amounts and _unit(spec) in ("l", "money/l"):
                sure = 0.0
            if sure and name == kind.event_time and heading == only_date:
                sure = min(1.0, sure + _ONLY_DATE)
            scored.append((not spec.nullable, sure, name, heading))
    scored.sort(key=lambda found: (-found[1], -found[0], found[2], found[3]))
    guesses: dict[str, Guess] = {}
    used: set[str] = set()
    for _, sure, name, heading in scored:
        if sure >= LEAST_SURE and name not in guesses and heading not in used:
            guesses[name] = Guess(heading, sure)
            used.add(heading)
    return {
        name: Guess(guess.heading, guess.sure, _rivals(kind, name, guess, scored, used, columns))
        for name, guess in guesses.items()
    }


def _rivals(  # noqa: PLR0917 - a guess, and all it is held against
    kind: RecordKind,
    name: str,
    guess: Guess,
    scored: list[tuple[bool, float, str, str]],
    used: set[str],
    columns: Mapping[str, Evidence],
) -> tuple[str, ...]:
    """Unused headings that fit about as well; a time of day is no rival of its date."""
    is_instant = isinstance(kind.schema.columns()[name], dy.Datetime)
    tied = _TIED_INSTANTS if is_instant else _TIED
    return tuple(
        heading
        for _, sure, column, heading in scored
        if column == name
        and heading not in used
        and sure >= max(LEAST_SURE, guess.sure - tied)
        and not columns[heading].is_empty
        and not columns[heading].is_time_of_day
        and not columns[guess.heading].is_time_of_day
    )


def how_complete(kind: RecordKind, guesses: Mapping[str, Guess], hint: str) -> float:
    """How well the guesses make up rows of this kind, from 0 to about 1.5.

    The share of the columns that may not be empty, each by its sureness, with half a point
    where the name of the file or sheet speaks of the kind.
    """
    needed = [name for name, spec in kind.schema.columns().items() if not spec.nullable]
    found = sum(guesses[name].sure for name in needed if name in guesses)
    extra = sum(guess.sure for name, guess in guesses.items() if name not in needed)
    words = {kind.name, kind.name.rstrip("s"), *_KIND_WORDS.get(kind.name, ())}
    spoken_of = any(word.replace("_", " ") in plain(hint) for word in words)
    return found / len(needed) + 0.05 * extra + (0.5 if spoken_of else 0.0)


_KIND_WORDS = {
    "fills": ("fuel", "pump", "gas"),
    "sessions": ("rental", "ride", "trip", "booking"),
    "hour_readings": ("meter", "hours"),
    "deliveries": ("tanker", "delivery"),
    "inspections": ("bench", "compression", "leak"),
}


def _unit(spec: dy.Column) -> str:
    return str((spec.metadata or {}).get("unit", ""))


def _group_words(headings: Iterable[str]) -> set[str]:
    """First words that several headings share, as merged headings above them leave."""
    first = Counter(words[0] for heading in headings if len(words := plain(heading).split()) > 1)
    return {word for word, count in first.items() if count > 1}


def _sureness(
    kind: RecordKind, name: str, spec: dy.Column, shown: Evidence, neutral: set[str]
) -> float:
    words = plain(shown.heading)
    sure = 0.0
    for phrase in (name.replace("_", " "), *heading_words().get(name, ())):
        if words == phrase:
            sure = max(sure, _EXACT)
        elif set(phrase.split()) <= set(words.split()):
            strange = len(set(words.split()) - set(phrase.split()) - _NEUTRAL - neutral)
            sure = max(sure, _ALL_WORDS + 0.02 * len(phrase) - 0.1 * strange)
    sure = min(sure, 1.0) * (1.0 if _fits(spec, shown) else _DOUBT)
    if (fitting := _FITTING.get(_unit(spec))) and shown.units - fitting:
        return 0.0
    if _unit(spec) not in ("money", "money/l", "") and MONEY in shown.units:
        return 0.0
    if other := kind.refers_to.get(name):
        share = shown.share_on_record(other)
        if share is not None and share < _STRANGE:
            sure *= _DOUBT
        elif share is not None and share >= _ON_RECORD and name == f"{other[:-1]}_id":
            sure = max(sure, _BY_IDS)
    return sure


def _fits(spec: dy.Column, shown: Evidence) -> bool:
    if isinstance(spec, dy.Datetime):
        return shown.is_instant
    if isinstance(spec, dy.Float64 | dy.Int64):
        return shown.is_figure and (
            shown.is_empty or not shown.is_time_of_day or shown.is_clock_hours
        )
    return shown.is_empty or not shown.dates
