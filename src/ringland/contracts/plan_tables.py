"""The tables of the weekly plan and of its score, each declared once."""

from __future__ import annotations

import dataframely as dy


class WeekOptions(dy.Schema):
    """One row per hull and option: what it costs over the time looked ahead, and what it takes.

    Costs hold the lost rental of the days off; the plan gives it back where a spare runs.
    Chances are null on hulls whose chance cannot be told.
    """

    hull_id = dy.String(primary_key=True)
    option = dy.String(primary_key=True, description="name of the action or bundle")
    expected_cost = dy.Float64(
        description="of 'nothing': left this week, next week's best thing done then if it pays"
    )
    cost_low = dy.Float64()
    cost_high = dy.Float64()
    saving = dy.Float64(description="expected cost of 'nothing' less that of this option")
    saving_low = dy.Float64()
    saving_high = dy.Float64()
    chance_it_saves = dy.Float64(
        min=0, max=1, nullable=True, description="share of the draws in which it does"
    )
    chance = dy.Float64(
        min=0, max=1, nullable=True, description="of an unplanned failure in the time ahead"
    )
    chance_low = dy.Float64(nullable=True)
    chance_high = dy.Float64(nullable=True)
    sure_cost = dy.Float64(min=0, description="paid whatever happens, lost rental included")
    mechanic_h = dy.Float64(min=0)
    lift_slots = dy.Int64(min=0)
    days_off = dy.Float64(min=0)
    parts = dy.List(dy.String(), description="one name per kit used up")
    follow_up_chance = dy.Float64(min=0, max=1, description="that its test reads badly")
    shown_chance = dy.Float64(
        min=0,
        max=1,
        nullable=True,
        description="that it lowers the fleet's failures at all, by this record; null where it "
        "does not rest on exposure",
    )
    is_paid_for = dy.Bool(description="whether the plan may choose it unless pinned")


class PlanRows(dy.Schema):
    """One row per hull: the option the plan gives it, and why not the one it would get alone."""

    hull_id = dy.String(primary_key=True)
    option = dy.String()
    expected_cost = dy.Float64()
    saving = dy.Float64(description="against leaving it this week")
    wanted = dy.String(description="its best option were there no limits")
    given_up = dy.Float64(description="cost above that of the wanted option")
    is_pinned = dy.Bool()
    is_bound = dy.Bool(description="a safety rule leaves it only some options")
    short_of = dy.List(dy.String(), description="limits the wanted option finds no room in")
