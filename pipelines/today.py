"""The list as of now, with the fit of the last week: what changed since Monday morning.

It runs the week's own steps on the records of this moment, keeps nothing and is given out to
nobody: a week stays what it was and can be worked out again.  Only what is estimated from the
whole fleet (the fit and its evidence) is the last week's, which one morning cannot move much.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import polars as pl

from pipelines.home import Home
from pipelines.rooms.decision import CALLS
from pipelines.rooms.pages import WeekListing
from pipelines.week_graph import GRAPH
from pipelines.weekly.givens import Clock, givens_of
from pipelines.weekly.run import WeekRun
from pipelines.weekly.step import Graph, Step
from pipelines.weekly.store import StoreError, WeekKey, WeekStore
from pipelines.weeks import UTC_ZONE

LAST_WEEKS_OWN = ("fleet_fits", "evidence")
"""Steps taken over from the last week."""


@dataclass
class MomentRun(WeekRun):
    """The steps of a week as of an instant between two weeks; nothing is read or kept but these.

    `taken_over` holds the values that are another week's.
    """

    taken_over: Mapping[str, Any] = field(default_factory=dict)

    def _value(self, name: str) -> Any:
        if name in self.taken_over:
            return self.taken_over[name]
        node = self.graph.nodes.get(name)
        return self._made(node) if isinstance(node, Step) else super()._value(name)


@dataclass(frozen=True)
class Today:
    """The list of this moment.

    `fitted` is the week whose fit it uses; `moved` holds hull, call and action where they differ
    from the newest list made before it: hull_id, call_then, action_then, call, action.
    """

    listing: WeekListing
    fitted: WeekKey
    moved: pl.DataFrame


def todays_list(home: Home, now: datetime) -> Today:
    """The list as of now.

    Args:
        home: the shop's home, with a week worked out; nothing in it is changed.
        now: the moment.

    Raises:
        StoreError: no week was worked out here by this version of the program.
    """
    store = WeekStore(home.weeks)
    run, fitted = moment_run(home, GRAPH, now)
    calls: pl.DataFrame = run.value("week_decisions").calls
    before = store.frame(fitted, GRAPH.steps[CALLS.step], CALLS.table)
    return Today(run.value("week_list"), fitted, _moved(before, calls))


def moment_run(home: Home, graph: Graph, now: datetime) -> tuple[MomentRun, WeekKey]:
    """The steps as of now, and the week whose fit they use."""
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
        raise StoreError("No week is worked out here yet. Run 'ringland week' first.")
    fitted = known[-1]
    taken = {name: store.read(fitted, graph.steps[name]) for name in LAST_WEEKS_OWN}
    # a key of its own after every Monday up to now, so that this week's list counts as said before
    key = WeekKey(f"{here.date().isoformat()}~")
    at = now.astimezone(UTC_ZONE)
    clock = Clock(at, here, at, is_restated=False)
    givens = {
        **givens_of(home, WeekKey(here.date().isoformat())),
        "clock": lambda: (clock, at.isoformat()),
        "as_of": lambda: (at, at.isoformat()),
    }
    return MomentRun(store, key, graph, givens, taken_over=taken), fitted


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
