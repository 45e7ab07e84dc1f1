"""The forms in which people write dates and times of day, and how a column is read by one."""

from __future__ import annotations

import re
from functools import cache

import polars as pl

from ringland.intake.mapping.date_order import (
    Order,
    OrderProof,
    may_begin_with_year,
    order_of,
    order_proof,
    without_weekday,
)
from ringland.intake.mapping.mapping_rules import SERIAL, has_time
from ringland.intake.written.text_cast import cast_instants

TIME_FORMS = ("%H:%M", "%H:%M:%S", "%I:%M %p", "%I:%M:%S %p", "%H.%M", "%H%M")
DATE_FORMS = tuple(
    f"{day}{time}"
    for day in (
        "%Y-%m-%d", "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d",
        "%d/%m/%y", "%m/%d/%y", "%d.%m.%y", "%d-%m-%y", "%m-%d-%y", "%y-%m-%d", "%y/%m/%d",
        "%d %b %Y", "%b %d %Y", "%b %d, %Y", "%Y%m%d",
    )
    for time in ("", *(f" {form}" for form in TIME_FORMS), "T%H:%M:%S", "T%H:%M:%S%.f")
)  # fmt: skip

_SERIAL_ZERO_US = -2_209_161_600_000_000  # 1899-12-30, day 0 of a spreadsheet after its day 60
_MOST = 0.6  # share of the cells that must look like it: some are always awry
_SOME = 0.25  # share of the cells from which a second way of writing dates counts
_SAMPLE = 500
_LEAST_YEAR = 1000  # '%Y' also takes '25', as the year 25


def read_clock_form(cells: pl.Series, form: str, time_of_day: str | None) -> pl.Series:
    """The clock times written in one form, without a zone; null where a cell is not."""
    if form == SERIAL:
        days = cells.cast(pl.Float64, strict=False)
        days = days.set((days < 1) | (days > 2958465), None)  # 1900-01-01 to 9999-12-31
        whole = (days * 86_400).round(0).cast(pl.Int64, strict=False) * 1_000_000
        return (whole + _SERIAL_ZERO_US).cast(pl.Datetime("us"))
    cells = _tidied(cells)
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
    is_first, is_last = may_begin_with_year(filled)
    barred: tuple[str, ...] = () if is_first else ("%y",)
    barred += () if is_last else tuple(f for f in DATE_FORMS if "%y" in f and f[:2] != "%y")
    numbers = sample.cast(pl.Float64, strict=False)
    # the years 1990 to 2100 as a spreadsheet counts days
    read = {
        form: read_clock_form(sample, form, "12:00").is_not_null()
        for form in _of_the_shape(sample, DATE_FORMS)
        if not form.startswith(barred)
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
    shapes = (
        _tidied(cells.str.to_lowercase())
        .str.replace_all(r"\d", "0")
        .unique(maintain_order=True)
        .head(_MOST_SHAPES)
    )
    return [
        form for form in forms if any(_shape(form).fullmatch(shape) for shape in shapes.to_list())
    ]


def _tidied(cells: pl.Series) -> pl.Series:
    """The cells without a weekday, 2:30p as 2:30 pm and 14h30 as 14:30."""
    plain = without_weekday(cells).str.replace(r"(\d)h(\d{2})\b", "$1:$2")
    return plain.str.replace(r"(?i)(\d)\s*([ap])\.?\s?(?:m\.?)?$", "$1 ${2}m")


@cache
def _shape(form: str) -> re.Pattern[str]:
    parts = re.split(r"(%\.f|%[A-Za-z])", form)
    return re.compile("".join(_SHAPES.get(part, re.escape(part)) for part in parts))


def _mean(mask: pl.Series) -> float:
    return float(mask.mean() or 0.0)  # type: ignore[arg-type]


def _not_against(forms: list[str], proof: OrderProof) -> list[str]:
    if proof.is_contradiction:
        return forms
    kept = [
        form
        for form in forms
        if (order := order_of(form)) in (None, Order.YEAR) or not proof.speaks_against(order)
    ]
    return kept or forms


def is_time_of_day(cells: pl.Series, *, dotted: bool = False) -> bool:
    """Whether the cells are times of a day that stands elsewhere, in one form or several.

    `dotted`: whether 14.30 and 1430 may be one; under most headings they are figures.
    """
    filled = cells.drop_nulls().head(_SAMPLE)
    read = pl.Series([None] * len(filled), dtype=pl.Datetime("us"))
    for form in _of_the_shape(filled, TIME_FORMS if dotted else TIME_FORMS[:-2]):
        on_a_day = read_clock_form("2000-01-01 " + filled, f"%Y-%m-%d {form}", None)
        read = read.fill_null(on_a_day)
    return _is_most(read)


def has_offset(cells: pl.Series) -> bool:
    """Whether the cells are instants that need no time zone."""
    return _is_most(cast_instants(cells.drop_nulls().head(_SAMPLE)))


def _is_most(read: pl.Series) -> bool:
    return len(read) > 0 and len(read) - read.null_count() >= _MOST * len(read)
