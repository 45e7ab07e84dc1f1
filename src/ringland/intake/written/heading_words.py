"""What people write above a column, and whether a row reads like headings."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

from ringland.contracts.record_kinds import ALL_KINDS


@cache
def heading_words() -> dict[str, list[str]]:
    """The usual headings of each column of the contract."""
    text = (
        files("ringland.intake.written").joinpath("heading_words.toml").read_text(encoding="utf-8")
    )
    return tomllib.loads(text)


def plain(heading: str) -> str:
    """A heading's words in lower case, signs apart."""
    words = re.sub("[£$€]", " price ", heading.lower()).replace("/", " per ")
    return " ".join(re.findall(r"[a-z0-9]+", words))


@cache
def _vocabulary() -> frozenset[str]:
    columns = {name for kind in ALL_KINDS.values() for name in kind.schema.column_names()}
    listed = {plain(phrase) for phrases in heading_words().values() for phrase in phrases}
    return frozenset(listed | columns | {name.replace("_", " ") for name in columns})


def is_figure(cell: str) -> bool:
    """Whether a cell begins like a number."""
    return bool(cell) and cell[0] in "+-.,0123456789" and any(c.isdigit() for c in cell)


def reads_like_headings(cells: Sequence[str | None]) -> bool:
    """Whether most cells of a row, and two at least, are usual headings and none a figure."""
    filled = [cell.strip() for cell in cells if cell and cell.strip()]
    if any(map(is_figure, filled)):
        return False
    known = sum(cell.lower() in _vocabulary() or plain(cell) in _vocabulary() for cell in filled)
    return known >= 2 and 2 * known >= len(filled)
