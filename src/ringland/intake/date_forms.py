"""The forms in which people write dates, and what a whole column proves of their order.

Day and month first look the same until the thirteenth.  A column is therefore judged as a
whole: cells with a first part above twelve prove that the day stands first, cells with such a
second part that the month does.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import Enum
from functools import cache

import polars as pl

from ringland.intake.mapping_rules import SERIAL, has_time
from ringland.intake.text_cast import cast_instants

TIME_FORMS = ("%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M:%S %p", "%H.%M")
DATE_FORMS = tuple(
    f"{day}{time}"
    for day in (
        "%Y-%m-%d", "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d",
        "%d/%m/%y", "%m/%d/%y", "%d.%m.%y", "%d-%m-%y", "%m-%d-%y", "%d %b %Y", "%b %d %Y",
        "%b %d, %Y", "%Y%m%d",
    )
    for time in ("", *(f" {form}" for form in TIME_FORMS), "T%H:%M:%S", "T%H:%M:%S%.f")
)  # fmt: skip

_SERIAL_ZERO_US = -2_209_161_600_000_000  # 1899-12-30, day 0 of a spreadsheet after its day 60
_MOST = 0.6  # share of the cells that must look like it: some are always awry
_SOME = 0.25  # share of the cells from which a second way of writing dates counts
_SAMPLE = 500
_LEAST_YEAR = 1000  # '%Y' also takes '25', as the year 25
_WEEKDAY = r"(?i)^(?:mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so)[a-z]*[.,]?\s+(\d)"
_PARTS = r"^(\d{1,2})[/.\-](\d{1,2})[/.\-]\d{2,4}\b"


class Order(Enum):
    """Which of day and month stands first."""

    DAY = "%d"
    MONTH = "%m"


def order_of(form: str) -> Order | None:
    """The order of a date form in figures; None where it has none to mistake."""
    at = {order: form.find(order.value) for order in Order}
    if min(at.values()) < 0 or form.startswith(("%Y", SERIAL)):
        return None
    return min(Order, key=at.__getitem__)


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


def _parts(cells: pl.Series) -> tuple[pl.Series, pl.Series]:
    groups = cells.str.replace(_WEEKDAY, "$1").str.extract_groups(_PARTS)
    return (
        groups.struct.field("1").cast(pl.Int32),
        groups.struct.field("2").cast(pl.Int32),
    )


def order_proof(cells: pl.Series) -> OrderProof:
    """What all cells of a column prove."""
    first, second = _parts(cells)
    return OrderProof(
        int(((first > 12) & (second <= 12)).sum()), int(((second > 12) & (first <= 12)).sum())
    )


def fits_both_orders(cells: pl.Series) -> pl.Series:
    """Whether a cell is one date with the day first and another with the month first."""
    first, second = _parts(cells)
    return ((first <= 12) & (second <= 12) & (first != second)).fill_null(value=False)


def turned_by_a_spreadsheet(cells: pl.Series) -> pl.Series:
    """Whether a cell is a real date that a spreadsheet may have made with day and month exchanged.

    Opened under the other order, the dates that fit become real dates, exchanged, and those
    that do not stay text: no real date lies after the twelfth and every text does.
    """
    year_first = cells.str.extract(r"^\d{4}-\d{2}-(\d{2})", 1).cast(pl.Int32)
    first, second = _parts(cells)
    texts = first.is_not_null()
    is_turned = (
        year_first.count() >= _LEAST_TURNED
        and bool(texts.any())
        and not (year_first > 12).any()
        and bool(((first > 12) | (second > 12)).filter(texts).all())
    )
    return year_first.is_not_null() & is_turned


_LEAST_TURNED = 3  # three real dates all lie up to the twelfth in one month of sixteen


def read_clock_form(cells: pl.Series, form: str, time_of_day: str | None) -> pl.Series:
    """The clock times written in one form, without a zone; null where a cell is not."""
    if form == SERIAL:
        days = cells.cast(pl.Float64, strict=False)
        days = days.set((days < 1) | (days > 2958465), None)  # 1900-01-01 to 9999-12-31
        whole = (days * 86_400).round(0).cast(pl.Int64, strict=False) * 1_000_000
        return (whole + _SERIAL_ZERO_US).cast(pl.Datetime("us"))
    if not form.startswith(("%b", "%a")):
        cells = cells.str.replace(_WEEKDAY, "$1")
    if not has_time(form):
        dates = cells.str.to_date(form, strict=False).cast(pl.String)
        cells, form = dates + f" {time_of_day}", "%Y-%m-%d %H:%M"
    times = cells.str.to_datetime(form, strict=False, time_unit="us")
    return times.set((times.dt.year() < _LEAST_YEAR).fill_null(value=False), None)


def date_forms(cells: pl.Series) -> list[str]:
    """The forms in which most of the dates can be read; several if only together they do.

    An order that the whole column speaks against is not among them.
    """
    filled = cells.drop_nulls()
    sample = filled.head(_SAMPLE)
    if sample.is_empty() or not sample.str.contains(r"\d").any():
        return []
    numbers = sample.cast(pl.Float64, strict=False)
    # the years 1990 to 2100 as a spreadsheet counts days
    read = {
        form: read_clock_form(sample, form, "12:00").is_not_null()
        for form in _of_the_shape(sample, DATE_FORMS)
    }
    read[SERIAL] = numbers.is_between(32874, 73051).fill_null(value=False)
    proof = order_proof(filled)
    most = [form for form, mask in read.items() if _mean(mask) >= _MOST]
    if most:
        return _not_against(most, proof)
    some = [form for form, mask in read.items() if _mean(mask) >= _SOME]
    together = pl.Series([False] * len(sample))
    for form in some:
        together = together | read[form]
    return _not_against(some, proof) if some and _mean(together) >= _MOST else []


_SHAPES = {
    "%Y": r"\d{4}", "%y": r"\d{2}", "%b": "[a-z]{3,}", "%p": "[ap]m",
    "%.f": r"(\.\d+)?", **dict.fromkeys(["%d", "%m", "%H", "%I"], r"\d{1,2}"),
    "%M": r"\d{2}", "%S": r"\d{2}",
}  # fmt: skip
_MOST_SHAPES = 20


def _of_the_shape(cells: pl.Series, forms: tuple[str, ...]) -> list[str]:
    """The forms that a cell has the shape of: trying each on every cell takes long."""
    plain = cells.str.to_lowercase().str.replace(_WEEKDAY, "$1")
    shapes = plain.str.replace_all(r"\d", "0").unique(maintain_order=True).head(_MOST_SHAPES)
    return [
        form for form in forms if any(_shape(form).fullmatch(shape) for shape in shapes.to_list())
    ]


@cache
def _shape(form: str) -> re.Pattern[str]:
    parts = re.split(r"(%\.f|%[A-Za-z])", form)
    return re.compile("".join(_SHAPES.get(part, re.escape(part)) for part in parts))


def _mean(mask: pl.Series) -> float:
    return float(mask.mean() or 0.0)  # type: ignore[arg-type]


def _not_against(forms: list[str], proof: OrderProof) -> list[str]:
    if proof.is_contradiction:
        return forms
    kept = [f for f in forms if (order := order_of(f)) is None or not proof.speaks_against(order)]
    return kept or forms


def is_time_of_day(cells: pl.Series, *, dotted: bool = False) -> bool:
    """Whether the cells are times of a day that stands elsewhere, in one form or several.

    `dotted`: whether 14.30 may be one; under most headings it is a figure.
    """
    filled = cells.drop_nulls().head(_SAMPLE)
    read = pl.Series([None] * len(filled), dtype=pl.Datetime("us"))
    for form in _of_the_shape(filled, TIME_FORMS if dotted else TIME_FORMS[:-1]):
        on_a_day = read_clock_form("2000-01-01 " + filled, f"%Y-%m-%d {form}", None)
        read = read.fill_null(on_a_day)
    return _is_most(read)


def has_offset(cells: pl.Series) -> bool:
    """Whether the cells are instants that need no time zone."""
    return _is_most(cast_instants(cells.drop_nulls().head(_SAMPLE)))


def _is_most(read: pl.Series) -> bool:
    return len(read) > 0 and len(read) - read.null_count() >= _MOST * len(read)
