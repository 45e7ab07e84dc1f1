"""Letters that a PDF's typeface lacks, written so that a reader sees what stood there.

A typesetter draws an empty box for them and goes on, and for the archive (PDF/A, ISO 19005-2,
6.2.11.8) it makes no file at all.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from typing import Any

import typst

FONTS = ("Libertinus Serif",)
"""Within the typesetter itself: the same letters on every machine."""

_ONE_LETTER = b"""#set document(title: "-", date: auto)
#set text(font: json(bytes(sys.inputs.fonts)))
#text(sys.inputs.letter)"""


def with_shown_letters(data: Any) -> Any:
    """The texts of JSON-like data, each letter the typeface lacks as its code, e.g. [U+30A8]."""
    if isinstance(data, str):
        if data.isascii() and data.isprintable():
            return data
        return "".join(one if _is_shown(one) else f"[U+{ord(one):04X}]" for one in data)
    if isinstance(data, Mapping):
        return {name: with_shown_letters(value) for name, value in data.items()}
    if isinstance(data, list | tuple):
        return [with_shown_letters(value) for value in data]
    return data


@cache
def _is_shown(letter: str) -> bool:
    """Whether the typesetter can set the letter; asked of itself, under the archive's rules."""
    if letter in "\n\t" or (letter.isascii() and letter.isprintable()):
        return True
    try:
        typst.compile(
            _ONE_LETTER,
            format="pdf",
            sys_inputs={"letter": letter, "fonts": json.dumps(FONTS)},
            ignore_system_fonts=True,
            pdf_standards=["a-2b"],
        )
    except typst.TypstError:
        return False
    return True
