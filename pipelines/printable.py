"""Text as a terminal may show it."""

from ringland.words.control_marks import CONTROLS


def printable(text: str) -> str:
    """The text with each control character as its code, so that it shows and does nothing.

    A name from a record may hold ESC, with which a terminal can be made to hide or forge lines.
    """
    return CONTROLS.sub(lambda found: f"\\x{ord(found[0]):02x}", text)
