"""The contracts of the build sheet: a maker's figures, and what was measured against them."""

from __future__ import annotations

import dataframely as dy
import polars as pl

from ringland.contracts.record_columns import (
    barometer_told,
    choice,
    instant,
    number,
    recorded,
    text,
)


class BuildLimits(dy.Schema):
    """One row per figure of a maker for one line of the build sheet."""

    family = text("engine family, as in the engines' records")
    line = text("the line's key on the build sheet, e.g. 'ring_1_gap'")
    kind = choice(["new", "wear"], "for a new build, or at which a used part goes")
    least = number("as in unit", "least that passes; empty: no lower end", -1000, 100000, True)
    most = number("as in unit", "most that passes; empty: no upper end", -1000, 100000, True)
    unit = text("unit of the figures")
    source = text("where the maker says so, e.g. the book and its page")
    entered_by = text("the name of whoever entered it")
    recorded_at = recorded()

    @dy.rule()
    def has_an_end(cls) -> pl.Expr:
        """Least and most are both empty"""
        return cls.least.col.is_not_null() | cls.most.col.is_not_null()

    @dy.rule()
    def ends_in_order(cls) -> pl.Expr:
        """Least is above most"""
        return cls.least.col.is_null() | cls.most.col.is_null() | (cls.least.col <= cls.most.col)


class BuildReadings(dy.Schema):
    """One row per line of a build sheet: what was measured, chosen or done on a rebuilt engine."""

    engine_id = text("engine serial")
    read_at = instant("when it was measured or done")
    line = text("the line's key on the build sheet, e.g. 'ring_1_gap'")
    place = text("cylinder, '2 intake', 'main 3'; empty: the engine", nullable=True)
    value = number("as in unit", "the reading; empty: an answer, or let go", -1000, 100000, True)
    unit = text("unit of the reading", nullable=True)
    answer = text("what was done or chosen, e.g. 'yes', 'new', 'diamond'", nullable=True)
    reference_value = number(
        "as in unit", "supply of a leak-down, blanked pad of a vacuum", -1000, 100000, True
    )
    barometer_kpa = number("kPa", "air pressure as read, station or weather report", 40, 110, True)
    barometer_is = barometer_told()
    method = text("how it was measured, with which tool", nullable=True)
    read_by = text("the name of whoever measured or did it", nullable=True)
    waived_by = text("the name of whoever lets it go", nullable=True)
    waived_because = text("why it is let go, in a sentence", nullable=True)
    recorded_at = recorded()
