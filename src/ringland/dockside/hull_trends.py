"""A hull over the last eight weeks: the state and the chance that each kept list gave it.

What a list said stays as it was said: a week whose list is not kept is a gap, one that was
worked out afterwards says so, and nothing is drawn between what is not on record.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape

import dataframely as dy
import polars as pl

from ringland.words.number_words import day_text
from ringland.words.state_words import STATE_MARKS, STATE_SHORT

WEEKS = 8
_WEEK = timedelta(days=7)
TITLE = "The last eight weeks"
NO_MARK = "\N{MIDDLE DOT}"
_NO_LIST, _NOT_ON_IT = "no list kept", "not on that list"
_AFTERWARDS = "worked out afterwards"


class WeeksSaid(dy.Schema):
    """One row per kept week and hull of its list: the call and the chance it gave."""

    monday = dy.Date(primary_key=True)
    hull_id = dy.String(primary_key=True)
    call = dy.String()
    chance_30d = dy.Float64(nullable=True)
    chance_30d_low = dy.Float64(nullable=True)
    chance_30d_high = dy.Float64(nullable=True)
    is_given_out = dy.Bool(description="whether it was that week's list, not worked out later")


def week_said(
    monday: date, calls: pl.DataFrame, chances: pl.DataFrame, *, is_given_out: bool
) -> pl.DataFrame:
    """`WeeksSaid` of one week from its `HullCalls` and `HullChances`."""
    told = ["chance_30d", "chance_30d_low", "chance_30d_high"]
    return calls.select("hull_id", "call").join(
        chances.select("hull_id", *told), on="hull_id", how="left", maintain_order="left"
    ).select(
        pl.lit(monday).alias("monday"), "hull_id", "call", *told,
        pl.lit(is_given_out).alias("is_given_out"),
    )  # fmt: skip


@dataclass(frozen=True)
class WeekOfHull:
    """One of the eight weeks; `call` is None where there is nothing, and `why` says why."""

    monday: date
    call: str | None
    chance: float | None = None
    low: float | None = None
    high: float | None = None
    why: str = ""

    @property
    def words(self) -> str:
        """The state it was in, or why none is known."""
        if self.call is None:
            return self.why
        state = state_words(self.call)
        return f"{state} ({self.why})" if self.why else state


def state_words(call: str) -> str:
    """A state without its hull's own jobs and conditions."""
    return f"{STATE_SHORT[call]} conditions" if call == "rent_only" else STATE_SHORT[call]


def weeks_of_hulls(said: pl.DataFrame, newest: date) -> dict[str, list[WeekOfHull]]:
    """The eight weeks up to the newest list's, the oldest first, of every hull on any of them.

    Args:
        said: `WeeksSaid`.
        newest: the Monday of the newest list.
    """
    mondays = [newest - back * _WEEK for back in reversed(range(WEEKS))]
    kept = set(said["monday"])
    none = {
        monday: WeekOfHull(monday, None, why=_NOT_ON_IT if monday in kept else _NO_LIST)
        for monday in mondays
    }
    rows: dict[str, dict[date, WeekOfHull]] = {}
    for monday, hull, call, chance, low, high, is_given_out in said.select(
        WeeksSaid.column_names()
    ).iter_rows():
        why = "" if is_given_out else _AFTERWARDS
        rows.setdefault(hull, {})[monday] = WeekOfHull(monday, call, chance, low, high, why)
    return {hull: [found.get(one, none[one]) for one in mondays] for hull, found in rows.items()}


def strip(weeks: Sequence[WeekOfHull]) -> str:
    """The weeks as a row of state marks, the newest last, as HTML; read out in words."""
    told = "; ".join(f"{day_text(one.monday)}: {one.words}" for one in weeks)
    marks = "".join(
        f'<span class="{escape(one.call or "none")}">'
        f"{STATE_MARKS.get(one.call or '', NO_MARK)}</span>"
        for one in weeks
    )
    says = escape(f"{TITLE}: {told}")
    return f'<span class="weeks" role="img" aria-label="{says}">{marks}</span>'
