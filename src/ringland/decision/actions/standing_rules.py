"""What earlier weeks gave out and still holds: rules in force, looks at the record.

A rule (fuel, throttle) once given out stands until a later week's plan leaves it out; a look
at the record stands for the days its finding says, and so does what answers it: a calibration
that was put back needs no reading out.  A calibration stands by its own record.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import dataframely as dy
import polars as pl

from ringland.decision.actions.action_catalogue import REPAIR, Catalogue

FLICKER_WEEKS = 8
"""Weeks within which a rule ended and begun again counts as flicker."""


class GivenOut(dy.Schema):
    """One row per hull and earlier week: the option its list gave it; null: none."""

    as_of = dy.Datetime(primary_key=True, time_zone="UTC")
    hull_id = dy.String(primary_key=True)
    option = dy.String(nullable=True)


class Standing(dy.Schema):
    """One row per hull and action that still holds."""

    hull_id = dy.String(primary_key=True)
    action = dy.String(primary_key=True)
    begun_at = dy.Datetime(time_zone="UTC", description="the first of its unbroken weeks")
    last_at = dy.Datetime(time_zone="UTC", description="the last week it was given out")
    is_rule = dy.Bool(description="a rule in force; else a look at the record that stands")


def standing_from(given: pl.DataFrame, catalogue: Catalogue, as_of: datetime) -> pl.DataFrame:
    """What of the earlier weeks' options still holds at `as_of`.

    A hull that got nothing at all in a week (no chance could be told), or stood broken, keeps
    its rules.

    Args:
        given: `GivenOut`; weeks from `as_of` on are left aside.
        catalogue: what the options hold.
        as_of: the instant the plan speaks of.

    Returns:
        `Standing`.
    """
    earlier = given.filter((pl.col("as_of") < as_of) & pl.col("option").is_not_null())
    rows = []
    for (hull,), weeks in earlier.sort("as_of").partition_by("hull_id", as_dict=True).items():
        held = [
            (week, {action.name for action in catalogue.jobs(option)})
            for week, option in weeks.select("as_of", "option").iter_rows()
            if option != REPAIR
        ]
        for name in catalogue.rules():
            run: list[datetime] = []
            for week, actions in reversed(held):
                if name not in actions:
                    break
                run.append(week)
            if run:
                rows.append((hull, name, run[-1], run[0], True))
        for name, action in catalogue.actions.items():
            if action.finding is None:
                continue
            answered = {name, action.finding.answer} - set(catalogue.rules())
            last = max((week for week, actions in held if answered & actions), default=None)
            if last and as_of - last < timedelta(days=action.finding.stands_d.value):
                rows.append((hull, name, last, last, False))
    types = {column: spec.dtype for column, spec in Standing.columns().items()}
    frame = pl.DataFrame(rows, schema=types, orient="row")
    return Standing.validate(frame.sort("hull_id", "action"), cast=True)
