"""The units that people name in a heading or behind a figure."""

from __future__ import annotations

import re

GALLON = "gal"
"""A gallon nobody has said the size of."""
MONEY = "money"
_UNIT_WORDS = {
    "l": ("l", "ltr", "lt", "liter", "liters", "litre", "litres", "litros", "lit", "ltrs", "lts"),
    GALLON: ("gal", "gals", "gallon", "gallons"),
    "US gal": ("us gal", "usg"),
    "imp gal": ("imp gal", "igal", "imperial gallons"),
    "h": ("h", "hr", "hrs", "hour", "hours", "std"),
    "min": ("min", "mins", "minute", "minutes"),
    "%": ("%", "pct", "percent", "per cent"),
    "ppm": ("ppm",),
    "psi": ("psi",),
    "bar": ("bar",),
    "kPa": ("kpa",),
    "inHg": ("inhg",),
    "ft": ("ft", "feet"),
    MONEY: ("$", "€", "£", "usd", "eur", "gbp", "dollars", "euros"),
}
UNIT_OF_WORD = {word: unit for unit, words in _UNIT_WORDS.items() for word in words}

_OF_ONE_MEASURE = (
    {"l", GALLON, "US gal", "imp gal"},
    {"h", "min"},
    {"kPa", "psi", "bar", "inHg"},
    {"m", "ft"},
)


def units_named(heading: str) -> set[str]:
    """The units that a heading names; `GALLON` and `MONEY` among them."""
    tokens = re.findall(r"[a-z]+|[$€£%]", heading.lower())
    found = {UNIT_OF_WORD[token] for token in tokens if token in UNIT_OF_WORD}
    if GALLON in found:
        sized = {size for word, size in _SIZES.items() if word in tokens}
        found = (found - {GALLON} | sized) if len(sized) == 1 else found
    return found


_SIZES = {"us": "US gal", "imp": "imp gal", "imperial": "imp gal", "uk": "imp gal"}


def unit_at_odds(heading: str, wanted: str) -> str | None:
    """The unit that a heading names in the place of the wanted one; None where it names none."""
    named = units_named(heading)
    for measure in _OF_ONE_MEASURE:
        if wanted in measure and named & measure and wanted not in named:
            return sorted(named & measure)[0]
    return None
