"""One world: its fleet, docks, habits, law of failure and the faults of its records."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TypeVar

from synthetic_data.worlds.failure_law import Floats, Law

MINUTES_PER_DAY = 1440
OPENS, CLOSES = (5, 1), (9, 30)
SEASON_D = 153
GRADES = (87.0, 89.0, 91.0, 93.0)
PER_L_AND_ON = 0.025
"""Money a litre costs more per octane number, at every pump and delivery."""
DELIVERED_PER_L, OUTSIDE_PER_L = 0.85, 1.08
"""Money a litre of the lowest of `GRADES` costs a dock, and at an outside pump."""
Grade = TypeVar("Grade", float, Floats)
NEED = {"stock": 91.0, "raised": 93.0, "mild": 89.0}


@dataclass(frozen=True)
class Dock:
    """How one dock buys fuel, and who rents there."""

    dock_id: str
    prefix: str
    grade_weights: tuple[float, ...]
    """chance of each of `GRADES`, load by load"""
    l_per_hull: float
    order_below: float
    fill_to: float
    price_per_l: float
    outside_share: float = 0.1
    """share of fills its hulls take elsewhere"""
    throttle: float = 0.27
    """mean share of full throttle of its riders"""
    hidden_log: float = 0.0
    """log hazard of what its riders do that no record tells"""


@dataclass(frozen=True)
class FaultRates:
    """Shares of rows written down wrongly, late or not at all."""

    fill_missing: float = 0.01
    session_missing: float = 0.004
    grade_missing: float = 0.03
    scale_wrong: float = 0.004
    """a RON number written into the column of AKI"""
    scale_missing: float = 0.01
    gallons: float = 0.002
    """US gallons written as litres"""
    wrong_hull: float = 0.002
    meter_digits: float = 0.004
    meter_tenfold: float = 0.001
    throttle_missing: float = 0.10
    repeated: float = 0.003
    not_a_number: float = 0.001
    ends_before: float = 0.0005
    late_fill: float = 0.05
    late_session: float = 0.03
    late_shop: float = 0.2
    calibration_not_entered: float = 0.05
    """share of engines that run a raised calibration no record tells of"""
    failure_not_entered: float = 0.0
    """failures of which only the new piston set is on record"""
    need_written_sd_on: float = 0.0
    """error in the need written down for an engine's calibration"""


@dataclass(frozen=True)
class World:
    """What is true of one operator."""

    shape: str
    seed: int
    hulls: int
    docks: tuple[Dock, ...]
    law: Law
    faults: FaultRates = field(default_factory=FaultRates)
    years: tuple[int, ...] = (2024, 2025, 2026)
    season_h: float = 165.0
    """engine hours per hull and season"""
    fails_per_season: float = 0.15
    """ring-land fractures per hull and season the law is scaled to, early faults apart"""
    raised_share: float = 0.3
    mild_share: float = 0.05
    forged_share: float = 0.35
    renewed_in: int | None = None
    """year before whose season a part of the fleet gets new engines"""
    renewed_share: float = 0.6
    planned_set_h: float = 420.0
    planned_share: float = 0.15
    """share of sets older than that renewed each spring"""

    @property
    def epoch(self) -> datetime:
        """Minute 0."""
        return datetime(self.years[0], 1, 1, tzinfo=UTC)

    def day_of(self, year: int, month: int, day: int) -> int:
        """Whole days from the epoch to a date."""
        return (datetime(year, month, day, tzinfo=UTC) - self.epoch).days

    def opening(self, year: int) -> int:
        """The first day of a season."""
        return self.day_of(year, *OPENS)

    def instant(self, day: float) -> datetime:
        """The instant a number of days after the epoch."""
        return self.epoch + timedelta(minutes=round(day * MINUTES_PER_DAY))


def price_of(lowest: float, aki: Grade) -> Grade:
    """Money a litre of a grade costs where the lowest of `GRADES` costs so much."""
    return lowest + PER_L_AND_ON * (aki - GRADES[0])
