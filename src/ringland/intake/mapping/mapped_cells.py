"""A source's way of writing figures and dates, turned into the contract's way.

Each function takes the cells of one column as text and gives text again; a cell it cannot
read stays as it was written, and comes back with its fault and remedy.  Nothing is guessed:
a clock time that happened twice or never is a fault.
"""

from __future__ import annotations

import re
from dataclasses import replace

import polars as pl

from ringland.intake.mapping.date_forms import read_clock_form
from ringland.intake.mapping.date_order import (
    Order,
    fits_both_orders,
    of_the_other_order,
    order_of,
    order_proof,
    turned_by_a_spreadsheet,
)
from ringland.intake.mapping.mapping_rules import CLOCK_HOURS, ColumnRule, Writing
from ringland.intake.written.text_cast import cast_instants
from ringland.units import UNIT_NAMES, conversion
from ringland.words.plain_words import sentence

Complaints = pl.DataFrame
"""One row per cell in order: fault and remedy, both null where the cell is in order."""

_SIGNIFICANT = 12  # digits kept when a unit is turned: beyond any gauge, short of float noise


def in_order(height: int) -> Complaints:
    """No complaint about any cell."""
    nothing = pl.Series([None] * height, dtype=pl.String)
    return pl.DataFrame({"fault": nothing, "remedy": nothing})


def figures(
    cells: pl.Series, rule: ColumnRule, wanted_unit: str, unit_cells: pl.Series | None = None
) -> tuple[pl.Series, Complaints]:
    """The figures with a decimal point, in the contract's unit.

    A cell that cannot be read gets the source's unit where that is another one: whoever
    mends it must not take gallons for litres.

    Args:
        cells: the text.
        rule: how it is written.
        wanted_unit: the contract's unit.
        unit_cells: the words of `rule.unit_column`.
    """
    if rule.units:
        return _figures_by_word(cells, rule, wanted_unit, unit_cells)
    if rule.unit == CLOCK_HOURS:
        # A colon tells the two apart, so a log kept by several hands reads without a guess.
        numbers = clock_hours(cells).fill_null(plain_numbers(cells, rule.writing, None))
        remedy = "Write hours and minutes, e.g. 1:30, or hours as a figure."
        about = "hours and minutes"
    else:
        numbers = plain_numbers(cells, rule.writing, rule.unit or wanted_unit)
        remedy = _figure_remedy(rule.writing)
        about = "a figure written as the mapping says"
    unread = cells.is_not_null() & numbers.is_null()
    as_written = cells
    if rule.unit not in (None, CLOCK_HOURS, wanted_unit):
        slope, offset = conversion(str(rule.unit), wanted_unit)
        numbers = (numbers * slope + offset).round_sig_figs(_SIGNIFICANT)
        names = "|".join(re.escape(name) for name in UNIT_NAMES)
        has_unit = cells.str.contains(rf"(?i)\d\s*({names})$")
        as_written = cells.zip_with(has_unit.fill_null(value=True), cells + f" {rule.unit}")
    text = numbers.cast(pl.String).set(unread, None).fill_null(as_written)
    return text, _complaints(unread, rule.name, cells, about, remedy)


def _figures_by_word(
    cells: pl.Series, rule: ColumnRule, wanted_unit: str, unit_cells: pl.Series | None
) -> tuple[pl.Series, Complaints]:
    """Figures each in the unit that the word behind it, or in its own column, means."""
    figure, words = cells, unit_cells
    if words is None:
        figure, words = unit_behind(cells)
    words = words.str.to_lowercase()
    text = pl.Series(cells.name, [None] * len(cells), dtype=pl.String)
    complaints = in_order(len(cells))
    left = cells.is_not_null()
    by_unit = {word: unit for word, unit in rule.units.items() if unit}
    for word, unit in (*by_unit.items(), *([(None, rule.unit)] if rule.unit else [])):
        of_it = left & (words.is_null() if word is None else (words == word).fill_null(value=False))
        plain = replace(rule, unit=unit, units={}, unit_column=None)
        part, said = figures(figure.set(~of_it, None), plain, wanted_unit)
        text, left = text.fill_null(part), left & ~of_it
        complaints = complaints.select(pl.col(c).fill_null(said[c]) for c in complaints.columns)
    frame = pl.DataFrame({"left": left, "cell": cells, "word": words})
    name, known = rule.name, ", ".join(by_unit)
    unknown = frame.select(
        fault=pl.when("left").then(
            sentence(
                f"{name} is '{{}}' in '{{}}', a unit the mapping does not know.",
                "cell",
                pl.col("word").fill_null("no unit"),
            )
        ),
        remedy=pl.when("left").then(pl.lit(f"Write the unit ({known}), or add it to the mapping.")),
    )
    return text.fill_null(cells), complaints.select(
        pl.col(c).fill_null(unknown[c]) for c in complaints.columns
    )


def unit_behind(cells: pl.Series) -> tuple[pl.Series, pl.Series]:
    """Each figure without what stands behind it, and that; null where nothing does."""
    parts = cells.str.extract_groups(r"^\s*([+-]?[\d., ]*\d)\s*([\p{L}%$€£].*?)\s*$")
    figure, word = parts.struct.field("1"), parts.struct.field("2")
    return figure.fill_null(cells), word


def plain_numbers(cells: pl.Series, writing: Writing, unit: str | None) -> pl.Series:
    """The numbers; null where a cell is not one.

    A thousands mark must part groups of three; the unit may stand behind the figure.
    """
    text = cells.str.replace_all("[\\u00a0\\u202f]", " ")
    if unit is not None:
        text = text.str.replace(rf"(?i)\s*{re.escape(unit)}$", "")
        if unit.startswith("money"):
            text = text.str.replace(r"^[$€£]\s*|\s*[$€£]$", "")
    whole = r"\d+"
    if writing.thousands is not None:
        mark = re.escape(writing.thousands)
        whole = rf"(\d{{1,3}}({mark}\d{{3}})+|\d+)"
    decimal = re.escape(writing.decimal)
    is_figure = text.str.contains(rf"^[+-]?({whole}({decimal}\d*)?|{decimal}\d+)([eE][+-]?\d+)?$")
    if writing.thousands is not None:
        text = text.str.replace_all(writing.thousands, "", literal=True)
    numbers = text.str.replace(writing.decimal, ".", literal=True).cast(pl.Float64, strict=False)
    return numbers.set(~is_figure.fill_null(value=False), None)


def _figure_remedy(writing: Writing) -> str:
    mark = f" and '{writing.thousands}' between thousands" if writing.thousands else ""
    return (
        f"Write the figure alone with '{writing.decimal}' before the decimals{mark}, "
        f"or put the mapping right."
    )


def clock_hours(cells: pl.Series) -> pl.Series:
    """Hours from h:mm or h:mm:ss; null where a cell is neither."""
    parts = cells.str.extract_groups(r"^(\d+):([0-5]\d)(?::([0-5]\d)(?:\.0+)?)?$")
    h, minutes, s = (parts.struct.field(str(k)).cast(pl.Float64) for k in (1, 2, 3))
    return h + minutes / 60 + s.fill_null(0) / 3600


def instants(
    cells: pl.Series, rule: ColumnRule, zones: pl.Series | None
) -> tuple[pl.Series, Complaints]:
    """The instants in UTC, ISO 8601.

    Args:
        cells: the text; a cell with an offset of its own is taken at its word.
        rule: how the clock times are written.
        zones: the zone of each row where the rule says 'dock'; null: not known.
    """
    read = cast_instants(cells)
    if not rule.writing.date_formats:
        return cells, in_order(len(cells))
    local = _clock_times(cells, rule.writing)
    unread = cells.is_not_null() & read.is_null() & local.is_null()
    doubtful = _of_doubtful_order(cells, rule.writing)
    local = local.set(doubtful, None)
    if zones is None:
        zones = pl.Series([rule.writing.time_zone] * len(cells), dtype=pl.String)
    earlier = _in_zones(local, zones, "earliest")
    sure = _in_zones(local, zones, "null")
    found = read.fill_null(sure)
    text = found.dt.strftime("%Y-%m-%dT%H:%M:%SZ").fill_null(cells)
    forms = ", ".join(rule.writing.date_formats)
    complaints = _complaints(
        unread,
        rule.name,
        cells,
        f"a date written as {forms}",
        "Write it so, or with its offset, e.g. 2025-07-04T14:30:00-05:00.",
    )
    frame = pl.DataFrame(
        {
            "cell": cells,
            "zone": zones,
            "open": cells.is_not_null() & found.is_null() & ~unread & ~doubtful,
            "doubtful": doubtful & found.is_null(),
            "twice": earlier.is_not_null(),
            "fault": complaints["fault"],
            "remedy": complaints["remedy"],
        }
    )
    name = rule.name
    is_open = pl.col("open")
    unknown = is_open & pl.col("zone").is_null()
    said = frame.with_columns(
        fault=pl.when("doubtful")
        .then(
            sentence(
                f"{name} is '{{}}', but its column shows that day and month may be exchanged.",
                "cell",
            )
        )
        .when(unknown)
        .then(sentence(f"{name} is '{{}}' by the dock's clock, but the dock is not known.", "cell"))
        .when(is_open & pl.col("twice"))
        .then(
            sentence(
                f"{name} is '{{}}', which came twice in {{}}: clocks went back that night.",
                "cell",
                "zone",
            )
        )
        .when(is_open)
        .then(
            sentence(
                f"{name} is '{{}}', which never came in {{}}: clocks went forward over it.",
                "cell",
                "zone",
            )
        )
        .otherwise("fault"),
        remedy=pl.when("doubtful")
        .then(
            pl.lit(
                "Put date_formats in the mapping right if all dates are of the other order; "
                "write date_order_is_sure = true below it if all stand in this one; else "
                "write the dates in one order, or year first: 2025-07-04 14:30."
            )
        )
        .when(unknown)
        .then(pl.lit("Load the docks and hulls first, or write time_zone in the mapping."))
        .when(is_open)
        .then(pl.lit("Write the instant with its offset, e.g. 2025-11-02T01:30:00-05:00."))
        .otherwise("remedy"),
    )
    return text, said.select("fault", "remedy")


def _clock_times(cells: pl.Series, writing: Writing) -> pl.Series:
    times = pl.Series([None] * len(cells), dtype=pl.Datetime("us"))
    for form in writing.date_formats:
        left = cells.set(times.is_not_null(), None)
        times = times.fill_null(read_clock_form(left, form, writing.time_of_day))
    return times


def _of_doubtful_order(cells: pl.Series, writing: Writing) -> pl.Series:
    """Whether the column as a whole speaks against how a cell would be read."""
    doubtful = turned_by_a_spreadsheet(cells)
    orders = {order_of(form) for form in writing.date_formats} - {None}
    proof = order_proof(cells)
    for order in orders:
        if order in (None, Order.YEAR):
            continue
        if proof.speaks_against(order):
            return doubtful | fits_both_orders(cells)
        if not writing.is_order_sure:
            doubtful = doubtful | of_the_other_order(cells, order)
    return doubtful


def _in_zones(local: pl.Series, zones: pl.Series, ambiguous: str) -> pl.Series:
    """The UTC instants; null where a clock in that zone never showed the time."""
    instants = pl.Series([None] * len(local), dtype=pl.Datetime("us", "UTC"))
    for zone in zones.drop_nulls().unique():
        there = (
            local.set((zones != zone).fill_null(value=True), None)
            .dt.replace_time_zone(zone, ambiguous=ambiguous, non_existent="null")  # type: ignore[arg-type]
            .dt.convert_time_zone("UTC")
        )
        instants = instants.fill_null(there)
    return instants


def coded(cells: pl.Series, rule: ColumnRule) -> pl.Series:
    """The cells with the mapping's codes put in their place; '' makes a cell empty."""
    if not rule.codes:
        return cells
    known = dict(rule.codes)
    words = cells.str.to_lowercase()
    texts = words.replace_strict(known, default=None, return_dtype=pl.String)
    is_code = words.is_in(list(known)).fill_null(value=False)
    return (
        pl.DataFrame({"is_code": is_code, "text": texts, "cell": cells})
        .select(pl.when("is_code").then("text").otherwise("cell").replace({"": None}))
        .to_series()
    )


def _complaints(bad: pl.Series, name: str, cells: pl.Series, about: str, remedy: str) -> Complaints:
    frame = pl.DataFrame({"bad": bad, "cell": cells.str.slice(0, 60)})
    return frame.select(
        fault=pl.when("bad").then(sentence(f"{name} is '{{}}', which is not {about}.", "cell")),
        remedy=pl.when("bad").then(pl.lit(remedy)),
    )
