"""What an operator agrees to show its network beside the counts: states of hulls, and docks.

Its own home writes it, of its own week and when its owner says so; every number stands in the
operator's list of what left it first.  Nothing is shown of one that shared nothing.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

import polars as pl

from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from pipelines.network.store import NetworkStore
from pipelines.week_graph import GRAPH
from pipelines.weekly.store import StoreError, WeekKey, WeekStore
from ringland.history.operators import with_operators
from ringland.words.state_words import STATE_TALLY

STATES, DOCKS = "states", "docks"
DOCK_FIGURES = (
    "n_hulls", "n_sets", "running_h", "n_failures", "rate", "rate_low", "rate_high", "expected",
    "ratio", "ratio_low", "ratio_high",
)  # fmt: skip
"""What is shown of a dock beside its name, as a home's own page of docks has it."""


def share(
    address: str, home: Home, monday: str, kinds: Collection[str]
) -> dict[str, dict[str, Any]]:
    """Show the network what a home's newest week no later than a Monday says of some kinds.

    In the place of what its operators showed before; of no kind: nothing is shown any more.

    Args:
        address: of the network.
        home: whose week it is.
        monday: up to which week.
        kinds: of `STATES` and `DOCKS`.

    Returns:
        What is shown by operator: `monday`, and of each kind asked for its figures by name.

    Raises:
        StoreError: the home has no week by then, or one of its operators handed nothing in.
    """
    store, weeks = NetworkStore(address), WeekStore(home.weeks)
    key = weeks.newest(monday)
    if key is None:
        raise StoreError(f"No week by {monday} in {home.folder}. Run 'ringland week' first.")
    records = warehouse_at(home.database).read_records()
    named = with_operators(records, home.facts().operator)
    hulls = named["hulls"].select("hull_id", "operator").unique("hull_id", keep="last")
    docks = named["docks"].select("dock_id", "operator").unique("dock_id", keep="last")
    calls = _frame(weeks, key, "week_decisions", "calls").join(hulls, on="hull_id")
    compared = _frame(weeks, key, "dock_comparison", "rows").join(docks, on="dock_id")
    shown: dict[str, dict[str, Any]] = {}
    with store.alone():
        for one in sorted({*hulls["operator"], *docks["operator"]}):
            _known(store, one)
            told: dict[str, Any] = {"monday": key.monday}
            if STATES in kinds:
                told[STATES] = _states(calls.filter(operator=one))
            if DOCKS in kinds:
                told[DOCKS] = _docks(compared.filter(operator=one))
            numbers = {
                f"{kind}: {name}{part}": value
                for kind in (STATES, DOCKS)
                for name, figures in told.get(kind, {}).items()
                for part, value in _parts(figures)
                if value is not None
            }
            store.tell(one, key.monday, "share", numbers)
            store.keep_share(one, told if kinds else {})
            shown[one] = told
    return shown


def _known(store: NetworkStore, operator: str) -> None:
    if operator not in store.handed_in():
        raise StoreError(
            f"{operator} handed nothing in to the network at {store.address}. Run 'ringland "
            f"network hand-in {store.address}' first."
        )


def _frame(weeks: WeekStore, key: WeekKey, step: str, table: str) -> pl.DataFrame:
    found = weeks.frame(key, GRAPH.steps[step], table)
    if found is None:
        raise StoreError(f"The week of {key.name} holds no {step}. Run 'ringland week' again.")
    return found


def _states(calls: pl.DataFrame) -> dict[str, int]:
    """How many hulls are in each plain state; in the order the states are named."""
    counted = dict(calls["call"].value_counts().iter_rows())
    return {state: counted.get(state, 0) for state in STATE_TALLY}


def _docks(rows: pl.DataFrame) -> dict[str, dict[str, float | None]]:
    figures = rows.sort("dock_id").select("dock_id", *DOCK_FIGURES).rows()
    return {name: dict(zip(DOCK_FIGURES, of, strict=True)) for name, *of in figures}


def _parts(figures: Any) -> list[tuple[str, float | None]]:
    if isinstance(figures, dict):
        return [(f" {name}", value) for name, value in figures.items()]
    return [("", figures)]
