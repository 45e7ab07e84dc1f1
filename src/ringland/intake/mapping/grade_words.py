"""What people write of a fuel's grade: '95 RON', '93 AKI E10', '87'.

A text is read only if every part of it is a number, a scale, an ethanol mark or a word that
says nothing; any other word ('premium') is for the shop to explain, once.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

SCALES = {
    "aki": "octane_aki",
    "pon": "octane_aki",
    "r+m/2": "octane_aki",
    "(r+m)/2": "octane_aki",
    "ron": "octane_ron",
    "roz": "octane_ron",
    "mon": "octane_mon",
    "moz": "octane_mon",
}
GRADE_COLUMNS = (
    "octane_aki",
    "octane_ron",
    "octane_mon",
    "octane_unlabelled",
)
_FILLERS = {"octane", "oktan", "fuel", "gas", "petrol", "gasoline", "unleaded"}
_LOWEST, _HIGHEST = 60, 130


class GradeError(ValueError):
    """A text says nothing certain of a grade."""


@dataclass(frozen=True)
class Grade:
    """What a text says: column of the contract -> its figure."""

    figures: dict[str, float]


def grade_of(text: str) -> Grade:
    """The grade a text says in full; an empty text says nothing.

    Raises:
        GradeError: a part of it is none of number, scale, ethanol mark or filler, or it says
            two numbers or two scales.
    """
    parts = re.findall(r"\(r\+m\)/2|r\+m/2|[a-z]+\d*|\d+(?:[.,]\d+)?%?|[^\s\w]", text.lower())
    octane, scale = None, None
    for part in parts:
        if part in SCALES and scale is None:
            scale = SCALES[part]
        elif re.fullmatch(r"e\d{1,2}", part):
            continue  # ethanol: no column of the contract asks for it
        elif re.fullmatch(r"(ron|aki|mon|roz)\d{2,3}", part) and octane is None and scale is None:
            scale, octane = SCALES[part[:3]], float(part[3:])
        elif re.fullmatch(r"\d+([.,]\d+)?", part) and octane is None:
            octane = float(part.replace(",", "."))
        elif part not in _FILLERS and part not in "-,/":
            raise GradeError(f"'{part}' in '{text}' says nothing certain of a grade.")
    if octane is not None and not _LOWEST <= octane <= _HIGHEST:
        raise GradeError(f"{octane:g} is no octane number.")
    if scale is not None and octane is None:
        raise GradeError(f"'{text}' names a scale but no number.")
    figures = {}
    if octane is not None:
        figures[scale or "octane_unlabelled"] = octane
    return Grade(figures)


def says_a_grade(text: str) -> bool:
    """Whether the text can be read as a grade in full and says something."""
    try:
        return bool(grade_of(text).figures)
    except GradeError:
        return False


_PUMP_WORDS = re.compile(
    r"(?i)\b(premium|super|regular|reg|prem|plus|midgrade|unleaded|e10|e5)\b"
    r"|\b(8\d|9\d|10[0-2])\s*(ron|aki|mon|roz|octane|oktan)\b"
)


_CODE = re.compile(r"(?i)^[a-z]{1,5}[ -]?(8\d|9\d|10[0-2])\b")
GRADE_HEADINGS = {
    "grade", "product", "octane", "oktan", "sorte", "kraftstoff", "carburant", "producto",
}  # fmt: skip


def looks_like_grade(text: str, *, is_code: bool = False) -> bool:
    """Whether the text holds an octane number, an ethanol mark or a pump's usual word.

    `is_code`: whether letters before a number may be one, as in ULP 95.
    """
    if is_code and _CODE.search(text):
        return True
    return says_a_grade(text) or _PUMP_WORDS.search(text) is not None
