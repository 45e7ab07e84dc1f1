"""The tables of the weekly plan and of its score, each declared once."""

from __future__ import annotations

import dataframely as dy

NO_FUEL, OUTSIDE = "", "outside"
"""Ways of a fuel rule: none, or the hull filled elsewhere; `fuel_offers.dock_way` is the third."""


class WeekOptions(dy.Schema):
    """One row per hull, option and way to its fuel: what it costs to the season's end, and takes.

    Costs hold the lost rental of the days off; the plan gives it back where a spare runs.
    Chances are null on hulls whose chance cannot be told.
    """

    hull_id = dy.String(primary_key=True)
    option = dy.String(primary_key=True, description="name of the action or bundle")
    own_option = dy.String(description="the same, less the fuel its dock orders for all")
    fuel_way = dy.String(
        primary_key=True,
        description="'' no change, 'outside': filled elsewhere, 'dock@91': what the dock orders",
    )
    dock_id = dy.String(nullable=True)
    fuel_per_l = dy.Float64(description="money that a litre costs more than today's fuel")
    expected_cost = dy.Float64(
        description="done now and, what can be, kept to the end; 'nothing': without all along"
    )
    planned_cost = dy.Float64(
        description="the same, a set not renewed now renewed next week where that pays"
    )
    change_cost = dy.Float64(
        min=0, description="to be gained beyond its price: by rules begun or ended, by a renewal"
    )
    begins = dy.List(dy.String(), description="rules it begins")
    ends = dy.List(dy.String(), description="rules that stand and that it ends")
    week_later = dy.Float64(description="expected cost if it is done a week later")
    cost_low = dy.Float64()
    cost_high = dy.Float64()
    saving = dy.Float64(description="expected cost of doing without all along less its own")
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


class PlanRows(dy.Schema):
    """One row per hull: the option the plan gives it, and why not the one it would get alone."""

    hull_id = dy.String(primary_key=True)
    option = dy.String()
    fuel_way = dy.String()
    fuel_per_l = dy.Float64()
    expected_cost = dy.Float64()
    saving = dy.Float64(description="against doing without all along")
    begins = dy.List(dy.String(), description="rules it begins")
    ends = dy.List(dy.String(), description="rules that stood and that it ends")
    wanted = dy.String(description="its best option were there no limits")
    given_up = dy.Float64(description="cost above that of the wanted option")
    is_pinned = dy.Bool()
    is_bound = dy.Bool(description="a safety rule leaves it only some options")
    short_of = dy.List(dy.String(), description="limits the wanted option finds no room in")
