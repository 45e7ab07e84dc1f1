"""The tables this room hands on, each declared once."""

from __future__ import annotations

import dataframely as dy

CALLS = ["keep_off", "book_check", "rent_as_normal", "not_enough_record"]


class HullCalls(dy.Schema):
    """One row per hull in service: the one thing to do this week, and its price."""

    hull_id = dy.String(primary_key=True)
    rank = dy.Int64(nullable=True, description="1 costs most to leave; null: not assessed")
    call = dy.String(check=lambda col: col.is_in(CALLS))
    action = dy.String(nullable=True)
    reason = dy.String()
    action_cost = dy.Float64(nullable=True)
    cost_of_waiting = dy.Float64(
        nullable=True, description="expected cost over 30 days if nothing is done"
    )
    saving = dy.Float64(nullable=True, description="cost of waiting less cost with the action")
