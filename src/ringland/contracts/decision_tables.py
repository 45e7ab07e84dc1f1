"""The tables this room hands on, each declared once."""

from __future__ import annotations

import dataframely as dy

CALLS = ["keep_off", "book_check", "rent_as_normal", "not_enough_record"]


class HullCalls(dy.Schema):
    """One row per hull in service: the one thing to do this week, and its price.

    Money is over the time the plan looks ahead: 30 days, or what is left of the season.
    """

    hull_id = dy.String(primary_key=True)
    rank = dy.Int64(nullable=True, description="1 costs most to leave; null: not assessed")
    call = dy.String(check=lambda col: col.is_in(CALLS))
    action = dy.String(
        nullable=True, description="an option of the catalogue, 'repair' or 'nothing'"
    )
    reason = dy.String()
    action_cost = dy.Float64(
        nullable=True, description="paid whatever happens, lost rental included"
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
        nullable=True, description="'safety' or 'hand' where not cost; null: no plan on it"
    )


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
