"""Which of day and month stands first in a column of dates, and whether two hands wrote it.

Day and month first look the same until the thirteenth.  A column is therefore judged as a
whole.  Cells past the twelfth and weekdays prove an order; the order of the rows in time shows
where single cells are of the other one: read in one order they leap for weeks and come back,
read each in the order that fits they do not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

import numpy as np
import polars as pl

from ringland.intake.mapping.mapping_rules import SERIAL

WEEKDAY = r"(?i)^(mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so)[a-z]*[.,]?\s+(\d)"
_PARTS = r"^(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{2,4})\b"
_DAY_OF_NAME = {
    "mo": 1, "tu": 2, "di": 2, "we": 3, "mi": 3, "th": 4, "do": 4, "fr": 5, "sa": 6, "su": 7,
    "so": 7,
}  # fmt: skip


class Order(Enum):
    """Which of day, month and a year of two digits stands first."""

    DAY = "%d"
    MONTH = "%m"
    YEAR = "%y"


def order_of(form: str) -> Order | None:
    """The order of a date form in figures; None where it has none to mistake."""
    at = {order: form.find(order.value) for order in Order if order.value in form}
    if not {Order.DAY, Order.MONTH} <= at.keys() or form.startswith(("%Y", SERIAL)):
        return None
    return min(at, key=at.__getitem__)


def may_begin_with_year(cells: pl.Series) -> tuple[bool, bool]:
    """Whether dates of three times two digits may have the year first, and whether last.

    Days change more often than years do; where neither does, a year before 2015 is doubted.
    """
    parts = without_weekday(cells).str.extract_groups(r"^(\d{2})[/-]\d{2}[/-](\d{2})\b")
    first, last = (parts.struct.field(f"{n}").cast(pl.Int32).drop_nulls() for n in (1, 2))
    if first.is_empty():
        return False, True
    if first.n_unique() != last.n_unique():
        return first.n_unique() < last.n_unique(), last.n_unique() < first.n_unique()
    return bool((last < _DOUBTED_YEAR).any()), True


_DOUBTED_YEAR = 15


@dataclass(frozen=True)
class OrderProof:
    """How many cells can only be read with the day first, and how many only with the month."""

    day: int
    month: int

    @property
    def order(self) -> Order | None:
        """The order that is proved; None where nothing proves one or both are."""
        if self.is_contradiction or self.day == self.month:
            return None
        return Order.DAY if self.day > self.month else Order.MONTH

    @property
    def is_contradiction(self) -> bool:
        """Whether both orders stand in it, a slip of the pen in twenty apart."""
        return min(self.day, self.month) * _SLIPS > max(self.day, self.month)

    def speaks_against(self, order: Order) -> bool:
        """Whether a column read in this order is read wrongly, as far as it can tell."""
        return self.is_contradiction or self.order not in (None, order)

    def __add__(self, other: OrderProof) -> OrderProof:
        return OrderProof(self.day + other.day, self.month + other.month)


_SLIPS = 20
NO_PROOF = OrderProof(0, 0)


def without_weekday(cells: pl.Series) -> pl.Series:
    """The cells as they stand without the name of a day before the date."""
    return cells.str.replace(WEEKDAY, "$2")


def _readings(cells: pl.Series) -> pl.DataFrame:
    """`day` and `month`: each cell's date with that first, null where there is none."""
    groups = without_weekday(cells).str.extract_groups(_PARTS)
    first, second, year = (groups.struct.field(f"{n}").cast(pl.Int32) for n in (1, 2, 3))
    whole = year.set((year < _CENTURY).fill_null(value=False), None).fill_null(year + _THIS_CENTURY)
    frame = pl.DataFrame({"first": first, "second": second, "year": whole})
    return frame.select(day=_day("year", "second", "first"), month=_day("year", "first", "second"))


_CENTURY, _THIS_CENTURY = 100, 2000


def _day(year: str, month: str, day: str) -> pl.Expr:
    is_one = pl.col(month).is_between(1, 12) & pl.col(day).is_between(1, 31)
    written = pl.format("{}-{}-{}", year, month, day)
    return pl.when(is_one).then(written).otherwise(None).str.to_date("%Y-%m-%d", strict=False)


def order_proof(cells: pl.Series) -> OrderProof:
    """What all cells of a column prove by days past the twelfth and by weekdays."""
    read = _readings(cells)
    day, month = read["day"].is_not_null(), read["month"].is_not_null()
    only_day, only_month = day & ~month, month & ~day
    if cells.str.contains(WEEKDAY).any():
        name = cells.str.extract(WEEKDAY, 1).str.slice(0, 2).str.to_lowercase()
        said = name.replace_strict(_DAY_OF_NAME, default=None, return_dtype=pl.Int8)
        fits = {n: (read[n].dt.weekday() == said).fill_null(value=False) for n in read.columns}
        only_day |= fits["day"] & ~fits["month"]
        only_month |= fits["month"] & ~fits["day"]
    return OrderProof(int(only_day.sum()), int(only_month.sum()))


def fits_both_orders(cells: pl.Series) -> pl.Series:
    """Whether a cell is one date with the day first and another with the month first."""
    read = _readings(cells)
    return (read["day"] != read["month"]).fill_null(value=False)


def turned_by_a_spreadsheet(cells: pl.Series) -> pl.Series:
    """Whether a cell is a real date that a spreadsheet may have made with day and month exchanged.

    Opened under the other order, the dates that fit become real dates, exchanged, and those
    that do not stay text: no real date lies after the twelfth and every text does.
    """
    year_first = cells.str.extract(r"^\d{4}-\d{2}-(\d{2})", 1).cast(pl.Int32)
    read = _readings(cells)
    texts = cells.str.contains(_PARTS).fill_null(value=False)
    is_turned = (
        year_first.count() >= _LEAST_TURNED
        and bool(texts.any())
        and not (year_first > 12).any()
        and bool((read["day"].is_null() != read["month"].is_null()).filter(texts).all())
    )
    return year_first.is_not_null() & is_turned


_LEAST_TURNED = 3  # three real dates all lie up to the twelfth in one month of sixteen
_DOTTED = r"^\d{1,2}\.\d"
_LEAP_D = 20  # day and month exchanged move a date by four weeks at least
_FIT = 2  # the widest step may be twice as wide in one order as in the orders that fit
_FEW = 0.1


def of_the_other_order(cells: pl.Series, order: Order) -> pl.Series:
    """Which cells may have been written with day and month the other way round.

    The rows' order in time tells it.  Where each cell may have either order, the column takes
    half the leaps of over 20 days, or steps half as wide, that it takes read in one: then all
    cells that fit both orders are meant.  Else, where the rows do mostly follow in time, those
    that lie far from both neighbours and would lie close to them.  Where a cell proves the order
    and would be leapt to in the other, that is no rival.  Dots have day and month in this order.
    """
    read = _readings(cells)
    own, other = read[order.name.lower()], read["month" if order is Order.DAY else "day"]
    both = (own != other).fill_null(value=False) & ~cells.str.contains(_DOTTED)
    year_first = cells.str.slice(0, 10).str.to_date("%Y-%m-%d", strict=False)
    own = own.fill_null(other).fill_null(year_first)
    frame = pl.DataFrame({"own": own, "other": other.zip_with(both, own)})
    days = frame.drop_nulls().filter(
        (pl.struct("own", "other") != pl.struct("own", "other").shift(1)).fill_null(value=True)
    )
    if days.height < 2 or not both.any():
        return pl.Series([False] * len(cells))
    number = days.select(pl.all().cast(pl.Int32)).to_numpy().astype(np.int64)
    steps = np.abs(number[:-1, :, None] - number[1:, None, :])  # from both readings to both
    leaps = (steps > _LEAP_D).astype(np.int64)
    few, narrow = _least(leaps, np.add), _least(steps, np.maximum)
    is_rival = order_proof(cells).order is None or not leaps[:, 1, 1].any()
    orders = (0,) if is_rival else (0, 1)
    leapt = min(leaps[:, k, k].sum() for k in orders)
    widest = min(steps[:, k, k].max() for k in orders)
    if _TWICE * few <= leapt > 0 or (_TWICE * narrow < widest > _LEAP_D):
        return both
    if leaps[:, 0, 0].mean() > _FEW:
        return pl.Series([False] * len(cells))
    far = np.minimum(steps[:-1, :, 0].min(axis=1), steps[1:, 0, :].min(axis=1))
    near = np.maximum(steps[:-1, :, 1].min(axis=1), steps[1:, 1, :].min(axis=1))
    is_off = (far > _LEAP_D) & (_TWICE * near < far)
    return own.is_in(days["own"][1:-1].filter(pl.Series(is_off)).to_list()) & both


_DOTTED = r"^\d{1,2}\.\d"
_LEAP_D = 20  # day and month exchanged move a date by four weeks at least
_TWICE = 2
_FEW = 0.1


def _least(steps: np.ndarray, joined: Callable[..., np.ndarray]) -> int:
    """The least that steps come to where each cell may have either order.

    Products of 2 x 2 matrices over (least, `joined`), taken pair by pair.
    """
    while len(steps) > 1:
        odd = steps[len(steps) // 2 * 2 :]
        first, second = steps[: len(steps) - len(odd) : 2], steps[1::2]
        ways = joined(first[:, :, :, None], second[:, None, :, :])
        steps = np.concatenate([ways.min(axis=2), odd])
    return int(steps.min())
