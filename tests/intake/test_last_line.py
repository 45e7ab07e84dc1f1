"""A file that was cut off in its last cell must not load what is left of it."""

import pytest

from ringland.intake.written.raw_text import read_raw

ABOVE = "hull_id,meter_h\nA1,905.25\nA2,12.5\nA3,911.4\n"


def _kept(text: str) -> tuple[int, list[str]]:
    raw = read_raw("hour_readings.csv", text.encode())
    return raw.frame.height, raw.torn["fault"].to_list()


@pytest.mark.parametrize("cut", ["A4,9", "A4,911", "A4,911.", "A4,"])
def test_a_number_cut_off_at_the_end_is_set_aside_and_the_rest_is_read(cut: str) -> None:
    """A file cut in its last number loaded 9 instead of 911.4, for good."""
    rows, faults = _kept(ABOVE + cut)

    assert rows == 3
    assert ["may have been cut off there" in fault for fault in faults] == [True]


def test_the_same_last_row_with_its_line_end_is_read() -> None:
    assert _kept(ABOVE + "A4,9\n") == (4, [])
    assert _kept(ABOVE + "A4,9\r\n") == (4, [])


@pytest.mark.parametrize("end", ["2026-08-01", '"2026-08-01"'])
def test_a_last_cell_as_long_as_all_above_it_or_quoted_is_whole(end: str) -> None:
    """Spreadsheets on the web write no line end after the last line."""
    above = "hull_id,on\nA1,2026-07-01\nA2,2026-07-02\nA3,2026-07-03\nA4,"

    assert _kept(above + end) == (4, [])


@pytest.mark.parametrize(("word", "rows"), [("outside", 4), ("out", 3), ("north", 3)])
def test_a_word_met_above_is_whole_unless_another_begins_with_it(word: str, rows: int) -> None:
    above = "hull_id,source\nA1,outside\nA2,north\nA3,north pier\nA4,"

    assert _kept(above + word)[0] == rows


def test_a_line_cut_in_its_middle_stays_set_aside_for_its_missing_cells() -> None:
    rows, faults = _kept(ABOVE + "A4")

    assert rows == 3
    assert ["The row has 1 fields" in fault for fault in faults] == [True]


def test_a_cut_file_in_two_bytes_a_letter_is_told_from_a_whole_one() -> None:
    whole = read_raw("hour_readings.csv", ("\ufeff" + ABOVE).encode("utf-16-le"))
    cut = read_raw("hour_readings.csv", ("\ufeff" + ABOVE[:-2]).encode("utf-16-le"))

    assert (whole.frame.height, cut.frame.height) == (3, 2)
