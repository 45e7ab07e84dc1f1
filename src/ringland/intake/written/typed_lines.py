"""Some lines of a plain CSV file as typed columns, and the numbers of the lines passed over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import dataframely as dy
import numpy as np
import numpy.typing as npt
import polars as pl

from ringland.intake.written.csv_kernel import (
    EMPTY_WHOLE,
    GIVEN_UP,
    INSTANT,
    LINES_PER_MARK,
    NUMBER,
    TEXT,
    UNUSED,
    WHOLE,
    YES_NO,
    byte_classes,
    line_count,
    packed_word,
    read_lines,
)
from ringland.intake.written.raw_file import SOURCE_ROW, Content
from ringland.intake.written.text_cast import YES_NO as WORDS

Ints = npt.NDArray[np.int64]

# More lines passed over cost more one by one than the careful road costs for the whole file.
_DOUBTFUL_SHARE = 50
_FEW_LINES = 100
_LINE_END = ord("\n")  # no cell of a plain line holds one
_WAYS: dict[type[dy.Column], int] = {
    dy.String: TEXT,
    dy.Float64: NUMBER,
    dy.Int64: WHOLE,
    dy.Bool: YES_NO,
    dy.Datetime: INSTANT,
}


@dataclass(frozen=True)
class Lines:
    """Lines of a file, numbered from `first`.

    `typed` holds the contract's columns, with the number of the line as `source_row`;
    `doubtful` the numbers of the lines passed over; `marks` the place of every
    `LINES_PER_MARK`th line; `blank` counts the lines without a value.
    """

    first: int
    count: int
    typed: pl.DataFrame
    doubtful: Ints
    marks: Ints
    blank: int

    def numbered_from(self, first: int) -> Lines:
        """The same lines, the first of them with another number."""
        shift = first - self.first
        typed = self.typed.with_columns(pl.col(SOURCE_ROW) + shift)
        return replace(self, first=first, typed=typed, doubtful=self.doubtful + shift)


class LineReader:
    """Reads lines of one file to a contract."""

    def __init__(self, schema: type[dy.Schema], names: Sequence[str], delimiter: str) -> None:
        self._columns = schema.columns()
        self._names = list(names)
        self._classes = byte_classes(delimiter)
        self._ways = np.array(
            [_WAYS[type(self._columns[n])] if n in self._columns else UNUSED for n in names]
        )
        store = np.select(
            [self._ways == TEXT, self._ways == NUMBER, self._ways != UNUSED], [0, 1, 2], 3
        )
        self._slots = np.array([(store[:i] == store[i]).sum() for i in range(len(store))])
        self._slot_counts = [int((store == kind).sum()) for kind in range(3)]
        self._words = np.array([packed_word(word) for word in WORDS], np.uint64)
        self._meanings = np.array([int(meaning) for meaning in WORDS.values()])

    def read(self, content: Content, start: int, stop: int) -> Lines | None:
        """The lines in content[start:stop]; None if they are not plain enough.

        `start` and `stop` lie between two lines.  The last line of a file is passed over if
        it has no line end.
        """
        seen = np.frombuffer(content, np.uint8)
        whole = content.rfind(b"\n", start, stop) + 1 or start
        room = _Room(self._slot_counts, line_count(seen, start, whole), whole - start)
        counts = np.zeros(3 + len(self._names), np.int64)
        count = read_lines(
            seen, start, whole, self._classes, self._ways, self._slots, self._words,
            self._meanings, room.numbers, room.wholes, room.texts, room.text_ends, room.lines,
            room.doubtful, room.marks, counts,
        )  # fmt: skip
        if count == GIVEN_UP:
            return None
        read, passed, blank = counts[:3].tolist()
        doubtful = room.doubtful[:passed]
        if whole < stop:
            doubtful = np.append(doubtful, count)
            if count % LINES_PER_MARK == 0:
                room.marks[count // LINES_PER_MARK] = whole
            count += 1
        typed = self._frame(room, read, counts[3:].tolist())
        return Lines(0, count, typed, doubtful, room.marks, blank)

    def _frame(self, room: _Room, read: int, empty: Sequence[int]) -> pl.DataFrame:
        in_file = {}
        for name, way, slot, empties in zip(
            self._names, self._ways, self._slots, empty, strict=True
        ):
            if way == UNUSED:
                continue
            if way == TEXT:
                cells = room.text(slot, read)
                cells = cells.set(cells == "", None) if empties else cells
            elif way == NUMBER:
                cells = pl.Series(room.numbers[slot, :read])
                cells = cells.fill_nan(None) if empties else cells
            else:
                cells = pl.Series(room.wholes[slot, :read])
                cells = cells.set(cells == EMPTY_WHOLE, None) if empties else cells
            in_file[name] = cells
        columns = [
            in_file[name].cast(column.dtype).alias(name)
            if name in in_file
            else pl.repeat(None, read, dtype=column.dtype, eager=True).alias(name)
            for name, column in self._columns.items()
        ]
        return pl.DataFrame([*columns, pl.Series(SOURCE_ROW, room.lines[:read])])


class _Room:
    """Arrays for the kernel to fill; pages nothing is written to cost no memory."""

    def __init__(self, slot_counts: Sequence[int], lines: int, size: int) -> None:
        texts, numbers, wholes = slot_counts
        self.texts = np.empty((texts, size), np.uint8)
        self.text_ends = np.zeros((texts, lines + 1), np.int64)
        self.numbers = np.empty((numbers, lines))
        self.wholes = np.empty((wholes, lines), np.int64)
        self.lines = np.empty(lines, np.int64)
        self.doubtful = np.empty(max(lines // _DOUBTFUL_SHARE, _FEW_LINES), np.int64)
        self.marks = np.empty(lines // LINES_PER_MARK + 1, np.int64)

    def text(self, slot: int, read: int) -> pl.Series:
        """The words of a text column; an empty cell is an empty word."""
        ends = self.text_ends[slot, : read + 1]
        if not read:
            return pl.Series([], dtype=pl.String)
        lines = np.insert(self.texts[slot, : ends[-1]], ends[1:-1], _LINE_END)
        return pl.Series([lines.tobytes().decode()]).str.split("\n").explode()
