"""Text as a terminal may show it."""

import re

_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u200e\u200f]")
"""C0 and C1 but tab and line feed, and what turns the direction of text about."""


def printable(text: str) -> str:
    """The text with each control character as its code, so that it shows and does nothing.

    A name from a record may hold ESC, with which a terminal can be made to hide or forge lines.
    """
    return _CONTROLS.sub(lambda found: f"\\x{ord(found[0]):02x}", text)
