"""The list as of now, with the fit of the last week: what changed since Monday morning.

It runs the week's own steps on the records of this moment, as far as the list asks for them,
keeps nothing and is given out to nobody: a week stays what it was and can be worked out again.
Only what is estimated from the whole fleet (the fit) is the last week's, which one morning
cannot move much.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

import polars as pl

from pipelines.command_parts import words_for
from pipelines.dockside.taking_in import with_journal_counted
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.home import Home
from pipelines.left_out import hulls_on_record, hulls_to_leave_out
from pipelines.list_graph import LIST_GRAPH
from pipelines.rooms.decision import CALLS
from pipelines.rooms.listing import WeekListing
from pipelines.weekly.givens import LIST_ONLY, Clock, givens_of, left_out_given
from pipelines.weekly.run import KeptNowhere
from pipelines.weekly.step import Graph
from pipelines.weekly.store import StoreError, WeekKey, WeekStore
from pipelines.weeks import UTC_ZONE

LAST_WEEKS_OWN = ("fleet_fits",)
"""Steps taken over from the last week."""
NOT_LISTED: Mapping[str, Any] = {"versions": {}, "photos": {}}
"""What a list's sheets are not made from: the digest of all records, and the photos."""


@dataclass(frozen=True)
class Today:
    """The list of this moment.

    `fitted` is the week whose fit it uses; `moved` holds hull, call and action where they differ
    from the newest list made before it: hull_id, call_then, action_then, call, action.
    `from_dock` counts the entries made at the dock that are in it and not taken in yet.
    """

    listing: WeekListing
    fitted: WeekKey
    moved: pl.DataFrame
    from_dock: int = 0


def todays_list(home: Home, now: datetime) -> Today:
    """The list as of now.

    Args:
        home: the shop's home, with a week worked out; nothing in it is changed.
        now: the moment.

    Raises:
        StoreError: no week was worked out here by this version of the program.
    """
    with with_journal_counted(home) as (warehouse, waiting):
        told = partial(moment_run, home, LIST_GRAPH, now, warehouse=warehouse)
        run, fitted = told()
        try:
            listing = run.value("week_list")
        except Exception as error:
            if words_for(error) is not None:
                raise
            left_out = hulls_to_leave_out(
                lambda hulls: told(hulls)[0], "week_list", hulls_on_record(home)
            )
            if not left_out:
                raise
            run, fitted = told(left_out)
            listing = run.value("week_list")
        calls: pl.DataFrame = run.value("week_decisions").calls
    before = WeekStore(home.weeks).frame(fitted, LIST_GRAPH.steps[CALLS.step], CALLS.table)
    return Today(listing, fitted, _moved(before, calls), waiting)


def moment_run(
    home: Home,
    graph: Graph,
    now: datetime,
    left_out: Mapping[str, str] | None = None,
    *,
    warehouse: DuckDBWarehouse | None = None,
    is_list_only: bool = True,
) -> tuple[KeptNowhere, WeekKey]:
    """The steps as of now, and the week whose fit they use.

    Args:
        home: the shop's home.
        graph: the week's steps.
        now: the moment.
        left_out: hulls to leave out, with why; None: those that were left out of that week.
        warehouse: what is on record; None: the home's own.
        is_list_only: leave out what only pages show.
    """
    store = WeekStore(home.weeks)
    here = now.astimezone(home.facts().zone)
    known = [
        key
        for key in store.weeks()
        if key.told_by is None
        and key.monday <= here.date().isoformat()
        and all(graph.steps[name].label in store.listed(key).outputs for name in LAST_WEEKS_OWN)
    ]
    if not known:
        raise StoreError(
            f"No week is worked out here yet. Run 'ringland week' first.{home.demo_beside}"
        )
    fitted = known[-1]
    taken = {name: store.read(fitted, graph.steps[name]) for name in LAST_WEEKS_OWN}
    taken |= NOT_LISTED if is_list_only else {}
    # a key of its own after every Monday up to now, so that this week's list counts as said before
    key = WeekKey(f"{here.date().isoformat()}~")
    at = now.astimezone(UTC_ZONE)
    clock = Clock(at, here, at, is_restated=False)
    givens = {
        **givens_of(home, WeekKey(here.date().isoformat())),
        **(LIST_ONLY if is_list_only else {}),
        "clock": lambda: (clock, at.isoformat()),
        "as_of": lambda: (at, at.isoformat()),
        **({} if warehouse is None else {"warehouse": lambda: (warehouse, "read afresh")}),
        **left_out_given(store.listed(fitted).left_out if left_out is None else left_out),
    }
    return KeptNowhere(store, key, graph, givens, taken_over=taken), fitted


def _moved(before: pl.DataFrame | None, now: pl.DataFrame) -> pl.DataFrame:
    if before is None:
        return now.clear().select("hull_id", "call", "action")
    told = ["hull_id", "call", "action"]
    then = before.select(told).rename({"call": "call_then", "action": "action_then"})
    both = now.select(told).join(then, on="hull_id", how="left")
    differs = pl.any_horizontal(
        pl.col(name).ne_missing(pl.col(f"{name}_then")) for name in ("call", "action")
    )
    return both.filter(differs).sort("hull_id")
