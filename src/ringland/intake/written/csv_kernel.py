"""Plain CSV lines to figures in one pass over the bytes, compiled.

It reads only what can be read one way: digits with a decimal point, `2025-07-04T14:30:00Z`
or the same with an offset, words of printable ASCII.  A line with anything else in it is
passed over and reported by its number, for the careful road to read (`csv_text`,
`text_cast`); so no rule of theirs is stated again here.  What makes lines themselves
uncertain (stray quotes or line ends, control characters) ends the pass.

Why own code: of a CSV of 10 million rentals DuckDB counts the rows in 0.47 s; Polars needs
0.6 s to cut it into texts and 0.8 s more to cast them, and cannot say which cell it did not
understand without keeping the texts.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled functions take their
# arrays by position, and one pass that never calls out is what makes it fast
from __future__ import annotations

import numpy as np
from numba import f8, i8, njit, types, u1, u8

UNUSED, TEXT, NUMBER, WHOLE, YES_NO, INSTANT = range(6)
"""What a column is read as."""
EMPTY_WHOLE = np.iinfo(np.int64).min
"""Stands for an empty cell among whole numbers, yes/no and instants; NaN among numbers."""
LINES_PER_MARK = 16
"""The place of every 16th line is noted: half a byte a line, and few lines to look through."""
GIVEN_UP = -1

_LINE_END, _RETURN, _POINT, _MINUS = 10, 13, 46, 45
_COLON, _T, _Z, _PLUS, _SPACE, _QUOTE, _TAB = 58, 84, 90, 43, 32, 34, 9
_WORD, _STOP, _ODD, _BREAKS = range(4)
_WHOLE_LIMIT = 10**15  # every smaller whole number is exact in a double, where text_cast looks
_VALUE_LIMIT = 10**17  # one more digit than this still fits 64 bits
_TENS = 10.0 ** np.arange(23)  # all exact in a double
_DOUBLE_DIGITS = 2**53
_SPLIT = 2.0**27 + 1
_DOUBT = 2.0**-40  # the remainder below is known to about 2**-51 of itself
_LONGEST_WORD = 8
_SECOND_US = 1_000_000
_BYTES = types.Array(u1, 1, "C", readonly=True)
_LIST = types.Array(i8, 1, "C", readonly=True)
_WORDS = types.Array(u8, 1, "C", readonly=True)


def byte_classes(delimiter: str) -> np.ndarray:
    """What each byte means to `read_lines`, by its value."""
    classes = np.full(256, _ODD, np.uint8)  # above 126: not ASCII
    classes[:32] = _BREAKS
    classes[32:127] = _WORD
    classes[_QUOTE] = _BREAKS
    classes[_TAB] = _ODD
    classes[[ord(delimiter), _LINE_END, _RETURN]] = _STOP
    return classes


def packed_word(word: str) -> int:
    """A word of at most eight letters as the number its bytes make."""
    return int.from_bytes(word.encode(), "big")


@njit(i8(_BYTES, i8, i8), cache=True, nogil=True)
def line_count(content, start, stop):  # type: ignore[no-untyped-def]  # numba types it
    """Line ends in content[start:stop]."""
    lines = 0
    for i in range(start, stop):
        lines += content[i] == _LINE_END
    return lines


@njit(inline="always")
def _figure(content, i):  # type: ignore[no-untyped-def]
    """The digit at a place; over 9 if it is none."""
    return np.int64(np.uint8(content[i] - 48))


@njit(inline="always")
def _pair(content, i):  # type: ignore[no-untyped-def]
    """The two digits at a place; over 99 if they are not two digits."""
    tens, ones = _figure(content, i), _figure(content, i + 1)
    return 10 * tens + ones if (tens <= 9) & (ones <= 9) else np.int64(1000)


@njit(inline="always")
def _integer(content, i, value):  # type: ignore[no-untyped-def]
    """The digits from a place on, behind those of `value`, and the place behind them.

    Of more than 18 digits not all are taken, so that no terminator follows.
    """
    figure = _figure(content, i)
    while (figure <= 9) & (value < _VALUE_LIMIT):
        value = value * 10 + figure
        i += 1
        figure = _figure(content, i)
    return value, i


@njit(f8(i8, i8), cache=True, nogil=True)
def _shifted(value, decimals):  # type: ignore[no-untyped-def]
    """A value over 10 ** decimals, correctly rounded; NaN where that is too close to call.

    Both exact in a double: one division (W. Clinger, How to read floating point numbers
    accurately, PLDI 1990).  Else the remainder of the division is found exactly (T. Dekker,
    A floating-point technique for extending the available precision, 1971), and the sum of
    both must round alike a little below and above (A. Ziv, 1991).
    """
    ten = _TENS[decimals]
    if value < _DOUBLE_DIGITS:
        return value / ten
    low = value & 2047
    high = float(value - low)
    whole = high + low
    rest = low - (whole - high)
    quotient = whole / ten
    q_high = _SPLIT * quotient - (_SPLIT * quotient - quotient)
    t_high = _SPLIT * ten - (_SPLIT * ten - ten)
    q_low, t_low = quotient - q_high, ten - t_high
    product = quotient * ten
    beyond = ((q_high * t_high - product) + q_high * t_low + q_low * t_high) + q_low * t_low
    more = (((whole - product) - beyond) + rest) / ten
    number = quotient + more * (1 + _DOUBT)
    return number if number == quotient + more * (1 - _DOUBT) else np.nan


@njit(inline="always")
def _days(year, month, day):  # type: ignore[no-untyped-def]
    """Days since 1970 of a date; `EMPTY_WHOLE` if there is no such day.

    Gregorian calendar in eras of 400 years that begin in March
    (H. Hinnant, chrono-Compatible Low-Level Date Algorithms, `days_from_civil`).
    """
    leap = ((year % 4 == 0) & (year % 100 != 0)) | (year % 400 == 0)
    longest = 30 + ((month + (month >> 3)) & 1)
    if month == 2:
        longest = 28 + leap
    if (month < 1) | (month > 12) | (day < 1) | (day > longest) | (year < 1):
        return EMPTY_WHOLE
    from_march = year - (month <= 2)
    era = from_march // 400
    of_era = from_march - era * 400
    of_year = (153 * ((month + 9) % 12) + 2) // 5 + day - 1
    return era * 146097 + of_era * 365 + of_era // 4 - of_era // 100 + of_year - 719468


@njit(i8(_BYTES, i8, _BYTES), cache=True, nogil=True)
def _line_end(content, i, classes):  # type: ignore[no-untyped-def]
    """Where the line that begins at a place ends; `GIVEN_UP` if readers may differ about it.

    They agree where quotation marks stand around whole cells, doubled within them.
    """
    is_quoted = False
    is_at_edge = True  # a cell begins here, or its quotation ended
    while True:
        byte = content[i]
        if byte == _QUOTE:
            if not (is_quoted | is_at_edge):
                return GIVEN_UP
            is_quoted = not is_quoted
            is_at_edge = not is_quoted
        elif byte == _LINE_END:
            return GIVEN_UP if is_quoted else i
        elif ((byte == _RETURN) & (content[i + 1] != _LINE_END)) | (classes[byte] == _BREAKS):
            return GIVEN_UP
        elif not is_quoted:
            if is_at_edge & (content[i - 1] == _QUOTE) & (classes[byte] != _STOP):
                return GIVEN_UP
            is_at_edge = classes[byte] == _STOP
        i += 1


@njit(
    i8(
        _BYTES, i8, i8, _BYTES, _LIST, _LIST, _WORDS, _LIST,
        f8[:, ::1], i8[:, ::1], u1[:, ::1], i8[:, ::1], i8[::1], i8[::1], i8[::1], i8[::1],
    ),
    cache=True,
    nogil=True,
)  # fmt: skip
def read_lines(  # type: ignore[no-untyped-def]
    content, start, stop, classes, ways, slots, words, meanings,
    numbers, wholes, texts, text_ends, lines, doubtful, marks, counts,
):  # fmt: skip
    """Read content[start:stop], whole lines; the lines in it, or `GIVEN_UP`.

    Args:
        content: the file.
        start: where its first line begins.
        stop: just behind a line end.
        classes: `byte_classes` of the delimiter.
        ways: how each column is read, e.g. `NUMBER`.
        slots: row of `numbers`, `wholes` or `texts` for each column.
        words: `packed_word` of each yes and no, in lower case.
        meanings: 1 or 0 for each of them.
        numbers: one row per number column, filled.
        wholes: one row per column of whole numbers, yes/no or instants (UTC, us), filled.
        texts: one row per text column, its words one behind the other, filled.
        text_ends: where each word ends in it, from the second place on, filled.
        lines: the number of each line that was read, from 0, filled.
        doubtful: the number of each line that was passed over, filled; gives up when it is full.
        marks: where every `LINES_PER_MARK`th line begins, filled.
        counts: [lines read, lines passed over, lines without a value], then empty cells
            per column, filled.
    """
    columns = len(ways)
    read = passed = blank = line = 0
    i = start
    while i < stop:
        began = i
        if line % LINES_PER_MARK == 0:
            marks[line // LINES_PER_MARK] = i
        column = 0
        has_value = False
        is_plain = True
        while True:
            first = i
            way = ways[column]
            slot = slots[column]
            is_empty = classes[content[i]] == _STOP
            if is_empty:
                counts[3 + column] += 1
                if way == NUMBER:
                    numbers[slot, read] = np.nan
                elif way == TEXT:
                    text_ends[slot, read + 1] = text_ends[slot, read]
                elif way != UNUSED:
                    wholes[slot, read] = EMPTY_WHOLE
            elif way == TEXT:
                end = text_ends[slot, read]
                while classes[content[i]] == _WORD:
                    texts[slot, end] = content[i]
                    end += 1
                    i += 1
                text_ends[slot, read + 1] = end
                is_plain = (content[first] != _SPACE) & (content[i - 1] != _SPACE)
            elif way == INSTANT:
                if i + 20 >= stop:
                    is_plain = False
                    break
                high, low = _pair(content, i), _pair(content, i + 2)
                day = _days(high * 100 + low, _pair(content, i + 5), _pair(content, i + 8))
                hour, minute = _pair(content, i + 11), _pair(content, i + 14)
                second = _pair(content, i + 17)
                is_plain = (
                    (high <= 99)
                    & (low <= 99)
                    & (day != EMPTY_WHOLE)
                    & (hour <= 23)
                    & (minute <= 59)
                    & (second <= 59)
                    & (content[i + 4] == _MINUS)
                    & (content[i + 7] == _MINUS)
                    & (content[i + 10] == _T)
                    & (content[i + 13] == _COLON)
                    & (content[i + 16] == _COLON)
                )
                sign = content[i + 19]
                i += 20
                if sign != _Z:
                    if (not is_plain) | (i + 5 >= stop) | ((sign != _PLUS) & (sign != _MINUS)):
                        is_plain = False
                        break
                    away_h, away_m = _pair(content, i), _pair(content, i + 3)
                    is_plain = (away_h <= 23) & (away_m <= 59) & (content[i + 2] == _COLON)
                    away = away_h * 60 + away_m
                    minute += away if sign == _MINUS else -away
                    i += 5
                wholes[slot, read] = (day * 86400 + hour * 3600 + minute * 60 + second) * _SECOND_US
            elif (way == NUMBER) | (way == WHOLE):
                is_minus = content[i] == _MINUS
                i += is_minus
                value, behind = _integer(content, i, np.int64(0))
                is_plain = behind > i
                i = behind
                if way == WHOLE:
                    is_plain &= value < _WHOLE_LIMIT
                    wholes[slot, read] = -value if is_minus else value
                elif is_plain:
                    decimals = 0
                    if content[i] == _POINT:
                        value, behind = _integer(content, i + 1, value)
                        decimals = behind - i - 1
                        is_plain = (decimals > 0) & (decimals < len(_TENS))
                        i = behind
                    if is_plain:
                        number = _shifted(value, decimals)
                        is_plain = not np.isnan(number)
                        numbers[slot, read] = -number if is_minus else number
            elif way == YES_NO:
                word = np.uint64(0)
                while classes[content[i]] == _WORD:
                    word = (word << np.uint64(8)) | np.uint64(content[i] | 32)
                    i += 1
                is_plain = False
                if i - first <= _LONGEST_WORD:
                    for k in range(len(words)):
                        if words[k] == word:
                            wholes[slot, read] = meanings[k]
                            is_plain = True
            else:
                while classes[content[i]] == _WORD:
                    i += 1
                # blanks alone are no value, and only the careful road trims
                is_plain = (content[first] != _SPACE) & (content[i - 1] != _SPACE)
            has_value |= not is_empty
            is_plain &= classes[content[i]] == _STOP
            if not is_plain:
                break
            if content[i] == _LINE_END:
                break
            if content[i] == _RETURN:
                is_plain = content[i + 1] == _LINE_END
                i += 1
                break
            column += 1
            i += 1
            if column == columns:
                is_plain = False
                break
        if is_plain and not has_value:
            blank += 1
        elif is_plain and column == columns - 1:
            lines[read] = line
            read += 1
        else:
            if passed == len(doubtful):
                return GIVEN_UP
            doubtful[passed] = line
            passed += 1
            i = _line_end(content, began, classes)
            if i == GIVEN_UP:
                return GIVEN_UP
        i += 1
        line += 1
    counts[0], counts[1], counts[2] = read, passed, blank
    return line
