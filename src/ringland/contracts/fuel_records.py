"""The contracts of what narrows the fuel account: tanks, dips, pump figures, tests, transfers.

None of these has to be kept.  Each row that is kept closes litres or octane that the ledger
would otherwise have to leave open.
"""

from __future__ import annotations

import dataframely as dy
import polars as pl

from ringland.contracts.record_columns import instant, number, octane, recorded, text

_TANK = "which of the dock's tanks, e.g. '93'; empty: its only one"


class DockTanks(dy.Schema):
    """One row per tank of a dock that has several."""

    dock_id = text("the dock")
    tank_id = text("the tank's short name, e.g. its grade '93'")
    tank_l = number("l", "capacity of the tank", 100, 1e6)
    recorded_at = recorded()


class Dips(dy.Schema):
    """One row per level read in a tank, of a dock or of a craft."""

    hull_id = text("the craft whose tank was read; empty: a dock's", nullable=True)
    dock_id = text("the dock whose tank was read; empty: a craft's", nullable=True)
    tank_id = text(_TANK, nullable=True)
    dipped_at = instant("when it was read")
    level_l = number("l", "litres in the tank", 0, 1e6)
    recorded_at = recorded()

    @dy.rule()
    def is_of_a_craft_or_of_a_dock(cls) -> pl.Expr:
        """Give hull_id or dock_id, one of the two"""
        return cls.hull_id.col.is_null() != cls.dock_id.col.is_null()


class PumpTotals(dy.Schema):
    """One row per reading of the counter of a dock's pump."""

    dock_id = text("the dock")
    tank_id = text(_TANK, nullable=True)
    read_at = instant("when it was read")
    total_l = number("l", "litres the counter shows; it only ever rises", 0, 1e9)
    recorded_at = recorded()


class Drains(dy.Schema):
    """One row per draining of a craft's tank."""

    hull_id = text("the hull drained")
    drained_at = instant("when")
    volume_l = number("l", "litres taken out; empty: the tank was emptied", 0.1, 400, True)
    why = text("why, e.g. 'old fuel'", nullable=True)
    recorded_at = recorded()


class PumpOuts(dy.Schema):
    """One row per pumping out of a dock's tank."""

    dock_id = text("the dock")
    tank_id = text(_TANK, nullable=True)
    pumped_at = instant("when")
    volume_l = number("l", "litres taken out; empty: the tank was emptied", 0.1, 1e6, True)
    why = text("why, e.g. 'wrong grade delivered'", nullable=True)
    recorded_at = recorded()


class FuelTests(dy.Schema):
    """One row per test of the fuel in a tank, of a dock or of a craft."""

    hull_id = text("the craft whose fuel was tested; empty: a dock's", nullable=True)
    dock_id = text("the dock whose fuel was tested; empty: a craft's", nullable=True)
    tank_id = text(_TANK, nullable=True)
    tested_at = instant("when the sample was taken")
    octane_aki = octane("AKI")
    has_water = dy.Bool(description="water or a separated layer was found", nullable=True)
    recorded_at = recorded()

    @dy.rule()
    def is_of_a_craft_or_of_a_dock(cls) -> pl.Expr:
        """Give hull_id or dock_id, one of the two"""
        return cls.hull_id.col.is_null() != cls.dock_id.col.is_null()


class Transfers(dy.Schema):
    """One row per moving of fuel from one craft's tank to another's."""

    from_hull_id = text("the craft it was taken from")
    to_hull_id = text("the craft it was put into")
    moved_at = instant("when")
    volume_l = number("l", "litres moved", 0.1, 400)
    recorded_at = recorded()

    @dy.rule()
    def goes_to_another_craft(cls) -> pl.Expr:
        """to_hull_id is from_hull_id"""
        return cls.from_hull_id.col != cls.to_hull_id.col
