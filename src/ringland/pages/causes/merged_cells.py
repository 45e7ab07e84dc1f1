"""A long table told without repeating itself: what neighbouring rows share stands in one cell."""

from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple


class Cell(NamedTuple):
    """The text of a cell, its column and the rows it stands for, counted downwards."""

    column: int
    text: str
    span: int = 1


def merged_cells(
    rows: Sequence[Sequence[str]], together: int = 0, apart: Sequence[int] = ()
) -> list[list[Cell]]:
    """The cells of each row to write; those a cell above stands for are left out.

    Args:
        rows: texts, every row as long as the first.
        together: neighbouring rows alike in that many leading columns belong together, and a
            column that says the same in all of them is one cell; 0: every row stands alone.
        apart: columns written in every row whatever they say: what was read and how it stands
            must be on the row's own card where a phone shows rows as cards.
    """
    if not together:
        return [[Cell(column, text) for column, text in enumerate(row)] for row in rows]
    written: list[list[Cell]] = []
    for _, alike in groupby(rows, key=lambda row: tuple(row[:together])):
        group = list(alike)
        shared = [
            number not in apart and len(set(column)) == 1
            for number, column in enumerate(zip(*group, strict=True))
        ]
        for number, row in enumerate(group):
            written.append(
                [
                    Cell(column, text, len(group) if shared[column] else 1)
                    for column, text in enumerate(row)
                    if number == 0 or not shared[column]
                ]
            )
    return written
