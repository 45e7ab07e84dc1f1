"""What each step of a hull's week costs: the shares of the one price that every output shows.

The price of a hull is what the plan's option costs for sure, and every open job beside it that
has room this week.  What no job accounts for is a rule's (fuel, throttle), or the rental lost
while it stays ashore.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ringland.decision.actions.action_catalogue import NOTHING, REPAIR, Catalogue
from ringland.decision.jobs.hull_state import OPEN_SHEET, OWN_FUEL

Row = Mapping[str, Any]
REST = "rest"
"""The step beside the named ones: rental lost in a week ashore, litres of a job that lasts."""


def plan_steps(option: str | None, catalogue: Catalogue) -> set[str]:
    """The jobs and rules whose price the plan's option holds."""
    if option == REPAIR:
        return {REPAIR}
    return {action.name for action in catalogue.jobs(option or NOTHING)}


def has_no_room(job: Row, call: Row, ashore: str, catalogue: Catalogue) -> bool:
    """Whether a job that must be done waits for room: not this week's work, nor its money.

    Args:
        job: a row of `HullJobs`, open.
        call: its hull's row of `HullCalls`: action, waits_for.
        ashore: the option that keeps a hull off the water for the week.
        catalogue: what can be done.
    """
    if not job["is_must"] or job["because"] in (OPEN_SHEET, OWN_FUEL):
        return False
    if job["what"] in plan_steps(call["action"], catalogue):
        return False
    waits = call["action"] == ashore or job["what"] in plan_steps(call["waits_for"], catalogue)
    return waits and call["action"] is not None


def besides(jobs: Sequence[Row], call: Row, ashore: str, catalogue: Catalogue) -> float:
    """What a hull's open jobs cost beyond its plan's own: each once, those without room left out.

    Args:
        jobs: its open jobs, rows of `HullJobs`.
        call: its row of `HullCalls`: action, waits_for.
        ashore: the option that keeps a hull off the water for the week.
        catalogue: what can be done.
    """
    planned = plan_steps(call["action"], catalogue) if call["action"] != ashore else set()
    by_name = {job["what"]: job for job in jobs if job["what"] not in planned}
    return sum(
        job["price"] or 0.0
        for job in by_name.values()
        if not has_no_room(job, call, ashore, catalogue)
    )


def step_prices(
    call: Row, jobs: Sequence[Row], ashore: str, catalogue: Catalogue, horizon_d: float
) -> dict[str, int | None]:
    """What each step of a call costs, by name, in whole units; they add up to its `action_cost`.

    Args:
        call: a row of `HullCalls`.
        jobs: its hull's open jobs, rows of `HullJobs`.
        ashore: the option that keeps a hull off the water for the week.
        catalogue: what can be done.
        horizon_d: days over which a rule is kept.

    Returns:
        Per name in `call["do"]`, and `REST` where no name takes what is left: money;
        None where nobody can tell, or where there is no room for it this week.
    """
    by_name = {job["what"]: job for job in jobs}
    found: dict[str, int | None] = {}
    for what in call["do"]:
        job = by_name.get(what)
        if job is None:
            found[what] = round(catalogue.actions[what].cost_per_d * horizon_d)
        elif job["price"] is None or has_no_room(job, call, ashore, catalogue):
            found[what] = None
        else:
            found[what] = round(job["price"])
    rest = round(call["action_cost"] or 0.0) - sum(price or 0 for price in found.values())
    by_litre = [
        what
        for what in call["do"]
        if what not in by_name and catalogue.actions[what].cost_per_l > 0
    ]
    if rest:
        taker = by_litre[0] if by_litre else REST
        found[taker] = (found.get(taker) or 0) + rest
    return found
