"""Columns of a picture as short text: whole numbers, each as its step from the one before.

The steps are written in base64 VLQ, the number coding of source maps (ECMA-426): five bits a
letter, the sign in the lowest bit of the first.  A rental a few hours after the last one, its
octane a tenth away, costs two or three letters in all, where a figure's own JSON takes
eighty.  Rounding is the only loss, and every column says to what.  `charts.js` reads them
back.

A column is a list.  Its first entry says how the numbers are meant: a divisor ('10': tenths),
'min' for minutes since 1970 on the shop's clock, 'words' for places in a list of texts, 'led'
for texts that begin with a whole number.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

import numpy as np
import polars as pl

from ringland.words.manner import manner

Column = list[object]

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
MORE = 32
"""Added to a letter's five bits where another letter follows."""

UNKNOWN = "."
"""Stands where nothing is known; no letter of the code."""

LED = re.compile(r"(0|[1-9][0-9]{0,8})( .*)", re.DOTALL)


def vlq(numbers: Iterable[int]) -> str:
    """Whole numbers in base64 VLQ, e.g. 0, 1, -1, 16 as 'A', 'C', 'D', 'gB'."""
    out = []
    for number in numbers:
        left = number << 1 if number >= 0 else (-number << 1) | 1
        while left >= MORE:
            out.append(LETTERS[left % MORE + MORE])
            left //= MORE
        out.append(LETTERS[left])
    return "".join(out)


def steps(numbers: Iterable[int | None]) -> str:
    """Each number as its step from the last known one; the first from 0."""
    out, last = [], 0
    for number in numbers:
        if number is None:
            out.append(UNKNOWN)
        else:
            out.append(vlq((number - last,)))
            last = number
    return "".join(out)


def scaled(values: pl.Series, per: int) -> Column:
    """Numbers rounded to the nearest 1/per; null and NaN stay unknown."""
    whole = np.rint(values.cast(pl.Float64).to_numpy() * per).tolist()  # null comes as NaN
    return [per, steps(None if math.isnan(number) else int(number) for number in whole)]


def minutes(instants: pl.Series) -> Column:
    """Instants by their minute on the shop's clock; a second within the minute is dropped."""
    local = instants.dt.convert_time_zone(manner().time_zone).dt.replace_time_zone(None)
    return ["min", steps(local.dt.epoch("s") // 60)]


def texts(values: pl.Series) -> Column:
    """Texts, each kept once; a whole number that leads each of them is kept as a number."""
    known = values.drop_nulls().to_list()
    led = [LED.fullmatch(text) for text in known]
    if known and all(led):
        tails = iter([match[2] for match in led if match])
        heads = iter([int(match[1]) for match in led if match])
        is_known = values.is_not_null().to_list()
        kept = [next(tails) if there else None for there in is_known]
        numbers = [next(heads) if there else None for there in is_known]
        return ["led", steps(numbers), *_listed(kept)]
    return ["words", *_listed(values.to_list())]


def _listed(values: list[str | None]) -> tuple[list[str], str]:
    places: dict[str, int] = {}
    at = [None if text is None else places.setdefault(text, len(places)) for text in values]
    return list(places), steps(at)
