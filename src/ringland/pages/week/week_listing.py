"""The week's list as a terminal shows it: one line a hull, of the calls, chances and releases."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import polars as pl

from ringland.decision.actions.action_catalogue import NOTHING, Catalogue
from ringland.decision.actions.action_prices import Prices
from ringland.decision.jobs.bench_lines import release_lines
from ringland.decision.jobs.call_lines import is_on_condition_alone, room_line
from ringland.decision.jobs.hull_state import job_short
from ringland.decision.week_decisions import WeekDecisions
from ringland.decision.week_tables import WeekTables
from ringland.words.fixed_words import NO_JOB_BESIDE_SHORT
from ringland.words.manner import Manner, in_manner
from ringland.words.number_words import chance_text, money_text, price_text, range_text
from ringland.words.state_words import RELEASED_FLAG

Row = Mapping[str, Any]

WEEK_LIST_HEADINGS = (
    "Rank",
    "Hull",
    "Dock",
    "This week",
    "Chance in 30 days",
    "Range",
    "Do",
    "Cost",
    "Cost of leaving it",
)


class Listed(Protocol):
    """What a list says of a hull."""

    @property
    def hull_id(self) -> str:
        """Its id."""

    @property
    def dock_id(self) -> str:
        """Its dock."""

    @property
    def call(self) -> Row:
        """Its row of `HullCalls`."""

    @property
    def chance(self) -> Row:
        """Its row of `HullChances`."""

    @property
    def released(self) -> tuple[str, ...]:
        """By name, what stands against its engine and was let go."""


class Listing(Protocol):
    """The hulls of a list in its order, and what their lines are written with."""

    @property
    def hulls(self) -> Sequence[Listed]:
        """In the order of the list."""

    @property
    def prices(self) -> Prices:
        """What things cost."""

    @property
    def catalogue(self) -> Catalogue:
        """What can be done."""

    @property
    def manner(self) -> Manner:
        """How figures are written."""


@dataclass(frozen=True)
class ListedHull:
    """A hull's part of the list, without what its page says beside it."""

    hull_id: str
    dock_id: str
    call: Row
    chance: Row
    released: tuple[str, ...]


@dataclass(frozen=True)
class WeekList:
    """The list alone, for whoever makes no pages."""

    hulls: tuple[ListedHull, ...]
    prices: Prices
    catalogue: Catalogue
    manner: Manner


def listed_week(
    tables: WeekTables, decisions: WeekDecisions, waivers: pl.DataFrame, manner: Manner
) -> WeekList:
    """The list of what was decided.

    Args:
        tables: as `make_week_tables` returns them.
        decisions: as `make_week_decisions` returns them.
        waivers: `SheetWaivers`.
        manner: how figures are written.
    """
    chances = {row["hull_id"]: row for row in tables.chances.iter_rows(named=True)}
    states = {row["hull_id"]: row for row in tables.running.iter_rows(named=True)}
    with in_manner(manner):
        released = release_lines(tables.standing, tables.sheets, waivers)
    hulls = tuple(
        ListedHull(
            hull_id=str(call["hull_id"]),
            dock_id=str(states[call["hull_id"]]["dock_id"]),
            call=call,
            chance=chances[call["hull_id"]],
            released=tuple(released.get(states[call["hull_id"]]["engine_id"], ())),
        )
        for call in decisions.calls.iter_rows(named=True)
    )
    return WeekList(hulls, tables.prices, decisions.catalogue, manner)


def week_list_lines(listing: Listing) -> list[tuple[str, ...]]:
    """The week's list for a terminal: one row of texts per hull, under `WEEK_LIST_HEADINGS`."""
    with in_manner(listing.manner):
        return [_list_line(hull, listing) for hull in listing.hulls]


def _list_line(hull: Listed, listing: Listing) -> tuple[str, ...]:
    call, chance, currency = hull.call, hull.chance, listing.prices.currency
    return (
        "-" if call["rank"] is None else str(call["rank"]),
        hull.hull_id,
        hull.dock_id,
        str(call["says"]),
        chance_text(chance["chance_30d"]),
        range_text(chance["chance_30d_low"], chance["chance_30d_high"]),
        _do_text(hull, listing),
        price_text(call["action_cost"], currency),
        money_text(call["cost_of_waiting"], currency),
    )


def _do_text(hull: Listed, listing: Listing) -> str:
    """What to do on a hull, what waits for room, whether something was let go."""
    call = hull.call
    waits = room_line(call, listing.catalogue)
    has_none = call["action"] is None and not call["do"]
    do = str(call["reason"]) if has_none else jobs_text(hull, listing)
    flag = RELEASED_FLAG if hull.released else ""
    return "; ".join(filter(None, (f"{do} ({waits})" if waits else do, flag)))


def jobs_text(hull: Listed, listing: Listing) -> str:
    """What is to be done on a hull in few words; 'nothing' where there is nothing."""
    if is_on_condition_alone(hull.call):
        return NO_JOB_BESIDE_SHORT
    shorts = [job_short(what, listing.catalogue) for what in hull.call["do"]]
    return " + ".join(shorts) or listing.catalogue.short(str(hull.call["action"] or NOTHING))
