"""Which of day and month stands first, by all that a column shows."""

import polars as pl
import pytest

from ringland.intake.mapping.date_order import (
    Order,
    may_begin_with_year,
    of_the_other_order,
    order_proof,
)


def meant(*cells: str, order: Order = Order.MONTH) -> list[str]:
    column = pl.Series(cells)
    return column.filter(of_the_other_order(column, order)).to_list()


def test_a_weekday_before_the_date_proves_the_order() -> None:
    """4 July 2025 was a Friday, 7 April 2025 a Monday."""
    assert order_proof(pl.Series(["Fri 04/07/2025", "Sa 05/07/2025"])).order is Order.DAY
    assert order_proof(pl.Series(["Mo 04/07/2025"])).order is Order.MONTH


def test_a_second_hand_shows_by_the_order_of_the_rows_though_no_day_lies_past_the_twelfth() -> None:
    """22 of 1,500 mutated files had such rows loaded under wrong days, without a word."""
    assert meant("07/01/2025", "07/02/2025", "03/07/2025", "07/04/2025", "05/07/2025")


def test_dates_with_the_year_first_tell_where_the_others_lie() -> None:
    assert meant("2025-07-02", "03/07/2025", "2025-07-04", "2025-07-06")


def test_a_single_day_of_another_hand_is_told_from_its_neighbours_in_a_long_log() -> None:
    log = [f"0{month}/{day:02d}/2025" for month in (6, 7) for day in range(1, 31)]
    log[40] = "11/07/2025"

    assert "11/07/2025" in meant(*log, *log)


def test_years_of_two_digits_may_stand_first() -> None:
    """25-07-14 was loaded as the 25th of July 2014, without a word."""
    assert may_begin_with_year(pl.Series(["25-07-14", "25-07-15"])) == (True, False)
    assert may_begin_with_year(pl.Series(["14-07-25", "15-07-25"])) == (False, True)
    assert may_begin_with_year(pl.Series(["25-07-14"])) == (True, True)


@pytest.mark.parametrize(
    "log",
    [
        ["07/01/2025", "07/02/2025", "07/09/2025"],
        ["06/01/2025", "07/01/2025", "08/01/2025", "08/15/2025"],
        ["06/03/2025", "06/20/2025", "08/28/2025", "06/04/2025", "07/25/2025", "08/27/2025"],
        ["02.11.2025", "02.11.2025", "09.03.2025"],
    ],
    ids=["day by day", "on the first of each month, its order proved", "craft by craft", "dots"],
)
def test_a_log_of_one_hand_raises_no_doubt(log: list[str]) -> None:
    order = Order.DAY if "." in log[0] else Order.MONTH

    assert not meant(*log, order=order)
