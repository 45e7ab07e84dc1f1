"""Who signs for a reading, and why one is let go: no filler stands for a name or a sentence."""

from __future__ import annotations

import re

LEAST_REASON_WORDS = 4
"""Words of a sentence; '.' or 'ok' gives no reason."""
_LETTER = r"[^\W\d_]"
_NO_NAMES = frozenset(
    [
        "na",
        "none",
        "me",
        "us",
        "xx",
        "xxx",
        "ok",
        "yes",
        "unknown",
        "nobody",
        "test",
        "tbd",
        "asdf",
        "qwerty",
        "someone",
        "anybody",
        "mechanic",
        "themechanic",
        "shop",
        "theshop",
        "staff",
    ]
)


def is_name(text: str | None) -> bool:
    """Whether this can be a person's name: two letters or more, and no filler."""
    letters = "".join(re.findall(_LETTER, (text or "").lower()))
    return len(letters) >= 2 and letters not in _NO_NAMES and len(set(letters)) > 1


def is_reason(text: str | None) -> bool:
    """Whether this is at least a sentence: four words or more, of letters."""
    words = re.findall(_LETTER + "{2,}", text or "")
    return len(words) >= LEAST_REASON_WORDS and len({word.lower() for word in words}) > 2


def is_said(text: str | None) -> bool:
    """Whether something is written: a tool, a way of measuring, a book; two letters or more."""
    return len(set(re.findall(_LETTER, (text or "").lower()))) >= 2
