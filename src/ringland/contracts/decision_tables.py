"""The tables this room hands on, each declared once."""

from __future__ import annotations

import dataframely as dy

DO_NOT_RENT, RENT_ONLY, NO_OPEN_JOB = "do_not_rent", "rent_only", "no_open_job"
NOT_FOR_RENT, NOT_ENOUGH = "not_for_rent", "not_enough_record"
STATES = [DO_NOT_RENT, RENT_ONLY, NO_OPEN_JOB, NOT_FOR_RENT, NOT_ENOUGH]
"""The plain states of a hull, the most careful first; `decision.hull_state` says when which."""


class HullCalls(dy.Schema):
    """One row per hull in service: the one thing to do this week, and its price.

    Money is over the time the plan looks ahead: 30 days, or what is left of the season.
    """

    hull_id = dy.String(primary_key=True)
    rank = dy.Int64(nullable=True, description="1 costs most to leave; null: not assessed")
    call = dy.String(check=lambda col: col.is_in(STATES), description="its plain state")
    says = dy.String(description="the state in words, the same wherever it is shown")
    action = dy.String(
        nullable=True,
        description="what the plan gives it: an option of the catalogue, 'repair' or 'nothing'",
    )
    do = dy.List(dy.String(), description="the plan's actions and all open jobs, musts first")
    is_flagged = dy.Bool(
        description="warned of: broken, kept off for its chance or a failed test, or to be opened "
        "or looked at"
    )
    reason = dy.String()
    action_cost = dy.Float64(
        nullable=True,
        description="paid whatever happens, lost rental included: the plan's and every open job's",
    )
    cost_of_waiting = dy.Float64(
        nullable=True,
        description="expected cost if it is left as it is until the plan's horizon",
    )
    saving = dy.Float64(
        nullable=True,
        description="what the action saves against leaving it so, hours left in its set included",
    )
    waits_for = dy.String(
        nullable=True, description="the option it would get but for the week's limits"
    )
    no_room_in = dy.String(nullable=True, description="those limits, by name, with commas")
    decided_by = dy.String(
        nullable=True,
        description="'safety', 'hand' or 'earlier' (a list before this one asked for it) where not "
        "cost; null: no plan on it",
    )


EARLIER = "earlier"
"""What decides a job that only an earlier list asked for."""

OPEN, DONE, PASSED, RELEASED, OVERTAKEN = "open", "done", "passed", "released", "overtaken"
JOB_STATES = [OPEN, DONE, PASSED, RELEASED, OVERTAKEN]
SHEET_JOB = "rebuild_sheet"
"""The job to measure and sign what is open of a rebuild; the others are named by the catalogue."""


class HullJobs(dy.Schema):
    """One row per job this list asks for, and per job of an earlier list given out."""

    job_id = dy.String(primary_key=True)
    hull_id = dy.String(description="where its engine sits now")
    engine_id = dy.String(nullable=True, description="null: of the hull, whatever its engine")
    what = dy.String(description="an action of the catalogue, 'repair' or 'rebuild_sheet'")
    because = dy.String(description="a safety rule, 'open_sheet', 'own_fuel', 'cost' or 'hand'")
    why = dy.String(description="the rule and reading, or the money, in words")
    is_must = dy.Bool(description="the hull is not rented before it is done")
    asked_at = dy.Datetime(time_zone="UTC", description="the week of the list that first asked")
    due_at = dy.Datetime(time_zone="UTC")
    price = dy.Float64(nullable=True, description="paid for sure, lost rental included")
    state = dy.String(check=lambda col: col.is_in(JOB_STATES))
    answered_at = dy.Datetime(time_zone="UTC", nullable=True)
    answered_by = dy.String(nullable=True)
    answer = dy.String(nullable=True, description="what answers it, in words")


class HullSets(dy.Schema):
    """One row per hull and set of steps worth a look, the best first; place 0: as it is.

    Money and chance are over the time the plan looks ahead.
    """

    hull_id = dy.String(primary_key=True)
    place = dy.Int64(primary_key=True, min=0)
    option = dy.String(description="of the catalogue, 'repair' or 'nothing'")
    fuel_way = dy.String(description="as in `WeekOptions`")
    steps = dy.List(dy.String(), description="its actions by name")
    is_planned = dy.Bool(description="what the week's plan gives it")
    sure_cost = dy.Float64(min=0, description="paid whatever happens, lost rental included")
    saving = dy.Float64(description="against leaving it as it is, after its own price")
    saving_low = dy.Float64()
    saving_high = dy.Float64()
    left_cost = dy.Float64(
        min=0, nullable=True, description="its chance times what an unplanned failure costs"
    )
    chance = dy.Float64(min=0, max=1, nullable=True, description="of a failure left with it")
    chance_low = dy.Float64(nullable=True)
    chance_high = dy.Float64(nullable=True)
    mechanic_h = dy.Float64(min=0)


AS_OF_LATE, GRADE = "as_of_late", "grade"
"""What `WhatIfs.fuel` calls the fuel burned of late, and one grade filled from now on."""


class WhatIfs(dy.Schema):
    """One row per hull and combination of a fuel and of steps, in the order a page counts them.

    Money is over 30 days, in whole units; what the fuel costs beyond that of late is left to
    whoever names the price of a litre.
    """

    hull_id = dy.String()
    fuel = dy.String(description="'as_of_late', 'grade' or an action priced by the litre")
    shortfall_on = dy.Float64(nullable=True, description="what a grade leaves of the need")
    steps = dy.List(dy.String(), description="the other actions, as `Choices` orders them")
    is_as_it_stands = dy.Bool()
    chance_7d = dy.Float64(min=0, max=1)
    chance_7d_low = dy.Float64(min=0, max=1)
    chance_7d_high = dy.Float64(min=0, max=1)
    chance_30d = dy.Float64(min=0, max=1)
    chance_30d_low = dy.Float64(min=0, max=1)
    chance_30d_high = dy.Float64(min=0, max=1)
    sure_cost = dy.Float64(description="paid whatever happens, lost rental included")
    left_cost = dy.Float64(description="to expect from failures with it")
    litres = dy.Float64(description="burned with it")
