"""What is true in a simulated world: the effects, the docks, the habits of the operator.

Everything here is invented for the demo and for studies of the estimators; it is not a
finding about real engines.  No estimator reads this module.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta

MINUTES_PER_DAY = 1440


@dataclass(frozen=True)
class RingLandTruth:
    """The true ring-land hazard per engine hour.

    h(t) = (shape/scale) (t/scale)^(shape-1) exp(beta_shortfall S + beta_age A + beta_wot W
    + beta_raised R + beta_forged F + u), with t the engine hours since the set was fitted
    and u ~ N(0, engine_sd) of the engine.  S, A and W look back over `trailing_h` hours of
    the set's own running before the session; smooth in every argument, with no threshold
    of age in it.
    """

    shape: float = 1.5
    scale_h: float = 3900.0
    beta_shortfall: float = 0.45
    """per octane number of mean shortfall in hard running"""
    beta_age: float = 0.02
    """per day of litres-weighted mean fuel age"""
    beta_wot: float = 2.0
    """per unit of full-throttle share"""
    beta_forged: float = -0.4
    beta_raised: float = 0.3
    """of a raised calibration beyond the shortfall it causes"""
    engine_sd: float = 0.25
    trailing_h: float = 25.0


@dataclass(frozen=True)
class ModeTruth:
    """A competing failure mode: Weibull in set hours, independent of octane."""

    mode: str
    shape: float
    scale_h: float
    beta_age: float = 0.0


OTHER_MODES = (
    ModeTruth("ring_wear", 2.5, 1500.0, beta_age=0.005),
    ModeTruth("valve_seal", 1.6, 3600.0),
    ModeTruth("head_gasket", 1.2, 9000.0),
    ModeTruth("bearing", 1.3, 7500.0),
    ModeTruth("water", 1.0, 9500.0),
)


@dataclass(frozen=True)
class DockPlan:
    """How one dock buys and keeps fuel."""

    dock_id: str
    hull_prefix: str
    altitude_m: float
    tank_l_per_hull: float
    grades_aki: tuple[float, ...]
    grade_weights: tuple[float, ...]
    unknown_grade_share: float
    """share of deliveries whose grade nobody wrote down"""
    ron_mon_share: float
    """share of deliveries written down as RON and MON"""
    order_below: float
    fill_to: float
    opening_fill_to: float
    late_from_season_day: int
    """from then on the dock orders little, so as not to winter much fuel"""
    late_order_below: float
    late_fill_to: float
    booster_hull_share: float
    price_per_l: float
    side_tank_l: float = 0.0
    """capacity of a second tank with a grade of its own; 0: there is none"""
    side_grade_aki: float = 0.0


DOCKS = (
    DockPlan(
        "quillmere", "QM", 40, 520, (93.0,), (1.0,), 0.0, 0.0,
        0.25, 0.90, 0.40, 122, 0.10, 0.24, 0.0, 1.31, 1500.0, 87.0,
    ),
    DockPlan(
        "osterfen", "OF", 180, 330, (87.0, 89.0, 91.0, 93.0), (0.25, 0.25, 0.30, 0.20), 0.08, 0.15,
        0.38, 0.95, 0.45, 128, 0.12, 0.35, 0.05, 1.12,
    ),
    DockPlan(
        "tarnwick", "TW", 95, 1900, (87.0,), (1.0,), 0.0, 0.0,
        0.30, 0.85, 0.25, 95, 0.05, 0.12, 0.35, 0.98,
    ),
)  # fmt: skip


@dataclass(frozen=True)
class Scenario:
    """One simulated operator."""

    hulls: int = 48
    spare_engines: int = 3
    seasons: tuple[int, ...] = (2024, 2025, 2026)
    last_day: tuple[int, int] = (10, 4)
    """month and day of the last season on which the records end"""
    docks: tuple[DockPlan, ...] = DOCKS
    ring_land: RingLandTruth = field(default_factory=RingLandTruth)
    other_modes: tuple[ModeTruth, ...] = OTHER_MODES
    season_h_per_hull: float = 165.0
    need_aki: tuple[tuple[str, float], ...] = (("stock", 91.0), ("raised", 93.0), ("mild", 89.0))
    calibration_weights: tuple[float, ...] = (0.62, 0.33, 0.05)
    octane_label_sd: float = 0.2
    """true octane of a load about its label"""
    booster_benefit: float = 1.0
    """share of a booster's label that it really brings"""
    forged_share: float = 0.35
    changed_calibrations_per_season: float = 0.25
    """changes per engine and season"""
    planned_sets_per_spring: float = 0.15
    """share of sets above `planned_set_h` renewed before a season"""
    planned_set_h: float = 420.0
    with_faults: bool = True

    @property
    def epoch(self) -> datetime:
        """Minute 0 of the simulation."""
        return datetime(self.seasons[0], 1, 1, tzinfo=UTC)

    def instant(self, minute: int) -> datetime:
        """The instant of a minute of the simulation."""
        return self.epoch + timedelta(minutes=minute)

    def day_of(self, year: int, month: int, day: int) -> int:
        """Whole days from the epoch to a date."""
        return (datetime(year, month, day, tzinfo=UTC) - self.epoch).days

    @property
    def record_begins_day(self) -> int:
        """The day from which there are records."""
        return self.day_of(self.seasons[0], 4, 15)

    @property
    def record_ends_day(self) -> int:
        """The last day with records."""
        return self.day_of(self.seasons[-1], *self.last_day)


def no_fuel_effect(scenario: Scenario | None = None) -> Scenario:
    """The same world in which neither octane, fuel age nor a raised calibration matters.

    The baseline is raised so that about as many ring lands break as with the effects.
    """
    scenario = scenario or Scenario()
    truth = replace(
        scenario.ring_land,
        beta_shortfall=0.0,
        beta_age=0.0,
        beta_raised=0.0,
        scale_h=scenario.ring_land.scale_h * NO_EFFECT_SCALE,
    )
    wear = tuple(replace(mode, beta_age=0.0) for mode in scenario.other_modes)
    return replace(scenario, ring_land=truth, other_modes=wear)


NO_EFFECT_SCALE = 0.27
"""Ratio of baseline scales at which both worlds break about as many ring lands (by trial)."""
