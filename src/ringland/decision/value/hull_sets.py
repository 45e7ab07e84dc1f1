"""The sets of steps worth a look on each hull: what each costs, saves and leaves.

The plan gives one of them under the week's room; the others stand beside it, so that whoever
decides sees what another choice would leave.  A set a safety rule does not allow is no choice.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import polars as pl

from ringland.contracts.decision_tables import HullSets
from ringland.contracts.plan_tables import PlanRows
from ringland.decision.actions.action_catalogue import NOTHING, Catalogue
from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.safety_rules import Bound

MOST = 3
"""Sets shown beside leaving a hull as it is."""

LEAST_CHANCE = 0.0005
"""A set must leave this much less than a smaller and cheaper one: less prints alike."""

_SAME = (
    "hull_id", "option", "fuel_way", "sure_cost", "saving", "saving_low", "saving_high",
    "chance", "chance_low", "chance_high", "mechanic_h",
)  # fmt: skip
"""Columns taken over from `WeekOptions`."""

Row = Mapping[str, Any]


def hull_sets(
    options: pl.DataFrame,
    planned: pl.DataFrame | None,
    bound: Bound,
    *,
    catalogue: Catalogue,
    prices: Prices,
) -> pl.DataFrame:
    """`HullSets`: leaving each hull as it is, and its best sets, the planned one among them.

    The best is what is expected to save most.  A set that only adds to a better one, and leaves
    no less, is left out.

    Args:
        options: `WeekOptions` the plan was made from.
        planned: `PlanRows`; None where no hull has an option.
        bound: options left to hulls that a safety rule binds.
        catalogue: what the options hold.
        prices: what a failure costs.
    """
    plan = PlanRows.create_empty() if planned is None else planned
    given = {row[0]: row[1:] for row in plan.select("hull_id", "option", "fuel_way").iter_rows()}
    rows = []
    for (hull,), mine in options.partition_by("hull_id", as_dict=True).items():
        own = mine.sort("saving", descending=True, maintain_order=True).to_dicts()
        allowed = bound.get(str(hull))
        free = [row for row in own if allowed is None or row["option"] in allowed]
        chosen = _best(free, given.get(hull), catalogue)
        as_it_is = [row for row in own if row["option"] == NOTHING]
        for place, row in enumerate([*as_it_is, *chosen], 0 if as_it_is else 1):
            rows.append(
                {name: row[name] for name in _SAME}
                | {
                    "place": place,
                    "steps": [action.name for action in catalogue.jobs(row["option"])],
                    "is_planned": _is_given(row, given.get(hull)),
                    "left_cost": None
                    if row["chance"] is None
                    else row["chance"] * prices.unplanned,
                }
            )
    types = {name: column.dtype for name, column in HullSets.columns().items()}
    frame = pl.DataFrame(rows, schema=types)
    return HullSets.validate(frame.sort("hull_id", "place"))


def _best(rows: Iterable[Row], given: Any, catalogue: Catalogue) -> list[Row]:
    """The planned set and the best beside it, in order of what they save."""
    kept: list[Row] = []
    seen: set[frozenset[str]] = set()
    wanted = [row for row in rows if row["option"] != NOTHING]
    planned = next((row for row in wanted if _is_given(row, given)), None)
    own = None if planned is None else _steps(planned, catalogue)
    for row in wanted:
        steps = _steps(row, catalogue)
        if steps in seen:
            continue  # the same steps by a dearer way to the fuel
        if steps != own and any(_only_adds(row, better, catalogue) for better in kept):
            continue
        seen.add(steps)
        kept.append(planned if planned is not None and steps == own else row)
    shown = kept[:MOST]
    if planned is not None and planned not in shown:
        shown = [*shown[: MOST - 1], planned]
    return shown


def _only_adds(row: Row, better: Row, catalogue: Catalogue) -> bool:
    """Whether a set holds a better one's steps and others that leave no less."""
    left = None in (row["chance"], better["chance"]) or (
        row["chance"] >= better["chance"] - LEAST_CHANCE
    )
    return left and _steps(row, catalogue) > _steps(better, catalogue)


def _steps(row: Row, catalogue: Catalogue) -> frozenset[str]:
    return frozenset(action.name for action in catalogue.jobs(row["option"]))


def _is_given(row: Row, given: Any) -> bool:
    return given is not None and (row["option"], row["fuel_way"]) == given
