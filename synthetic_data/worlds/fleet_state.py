"""The fleet at an instant: hulls, engines, sets and tanks as arrays, perhaps many times over.

Places are hulls; a fleet tiled R times has R times as many, copy after copy.  What the state
holds of a place is what is true of it, known to anyone or not.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, fields

import numpy as np

from synthetic_data.worlds.failure_law import MODES, Bools, Floats, draw_own
from synthetic_data.worlds.looking_back import LookingBack, Whole
from synthetic_data.worlds.world import MINUTES_PER_DAY, NEED, World

FAMILIES = (("S3", 3, 18.0, 66.0), ("S4", 4, 21.0, 76.0), ("S5", 3, 19.0, 70.0))
NEW_FAMILY = 2
CALIBRATIONS = ("stock", "raised", "mild")

SETS_AHEAD = 40
"""Piston sets of one place whose fates are drawn beforehand."""


@dataclass
class Tanks:
    """Perfectly mixed tanks: litres, octane and day of birth of the mix."""

    litres: Floats
    octane: Floats
    birth_d: Floats

    def pour(self, at: Whole, litres: Floats, octane: Floats, birth_d: Floats) -> None:
        """Pour a mix into these tanks."""
        total = self.litres[at] + litres
        new = np.where(total > 0, litres / np.where(total > 0, total, 1.0), 0.0)
        self.octane[at] += new * (octane - self.octane[at])
        self.birth_d[at] += new * (birth_d - self.birth_d[at])
        self.litres[at] = total

    def tiled(self, times: int) -> Tanks:
        """The same tanks, so many times over."""
        return Tanks(*(np.tile(getattr(self, f.name), times) for f in fields(self)))


@dataclass
class State:
    """One entry per place unless said otherwise."""

    dock: Whole
    tank_l: Floats
    popularity: Floats
    throttle_mean: Floats
    outside_share: Floats
    outside_taste: Whole
    boosts: Bools
    burn_factor: Floats
    from_day: Whole
    meter_off_h: Floats
    """hour meter less engine hours"""
    engine_no: Whole
    family: Whole
    own_log: Floats
    own_need_on: Floats
    calibration: Whole
    """index into `CALIBRATIONS`: what it truly runs"""
    engine_h: Floats
    base_spent: Floats
    """ring-land hazard the engine went through, its own factor left out"""
    engine_fails: Whole
    set_no: Whole
    build: Whole
    is_forged: Bools
    age_h: Floats
    spent: Floats
    """(modes, places): cumulative hazard of the running set"""
    fate: Floats
    """(modes, places): the cumulative hazard at which each mode strikes"""
    fates: Floats
    """(`SETS_AHEAD`, modes, places): those of the sets to come"""
    off_until: Whole
    last_out: Whole
    good_fuel: Bools
    """a standing rule: no fill but of fuel that meets the need and is no older than two weeks"""
    dock_buys_good: Bools
    """its dock orders what it needs for all: a fill elsewhere is to meet the need too"""
    drain_at_d: Floats
    """a standing rule: fuel of this age is drained; infinite: none"""
    drains: Whole
    """tanks emptied under it so far"""
    throttled_until: Whole
    look_left: Floats
    """cumulative hazard within reach of the last test"""
    look_bad: Bools
    tanks: Tanks
    bulk: Tanks
    """one per dock and copy"""
    order_aki: Floats
    """one per dock and copy: loads are of this grade at least; 0: as they come"""
    paid_for_grade: Floats
    """one per dock and copy: money paid for better loads than would have come"""
    back: LookingBack
    copies: int = 1
    alike: int = 1
    """groups of copies that go through the same luck"""

    @property
    def places(self) -> int:
        """Places in all copies."""
        return int(self.dock.size)

    @property
    def is_raised(self) -> Bools:
        """Whether the calibration is the raised one."""
        return np.asarray(self.calibration == 1)

    def need_aki(self) -> Floats:
        """What each engine truly needs, the weather left out."""
        needs = np.array([NEED[name] for name in CALIBRATIONS])
        return np.asarray(needs[self.calibration] + self.own_need_on)

    def tiled(self, times: int) -> State:
        """This fleet so many times over, with fates nobody knows yet: luck starts anew."""
        changed: dict[str, object] = {"copies": times}
        for each in fields(self):
            value = getattr(self, each.name)
            if isinstance(value, (Tanks, LookingBack)):
                changed[each.name] = value.tiled(times)
            elif isinstance(value, np.ndarray):
                changed[each.name] = np.tile(value, (1,) * (value.ndim - 1) + (times,))
        docks = self.bulk.litres.size
        tiled = copy(self)
        for name, value in changed.items():
            setattr(tiled, name, value)
        tiled.dock = tiled.dock + docks * np.repeat(np.arange(times), self.places)
        return tiled


def first_state(world: World, rng: np.random.Generator) -> State:
    """The fleet on the first day of the record."""
    n, docks = world.hulls, len(world.docks)
    dock = np.arange(n) * docks // n
    plan = [world.docks[int(d)] for d in dock]
    heavy = rng.random(n) < 0.2
    share = np.array([d.outside_share for d in plan])
    begin = world.opening(world.years[0]) - 15
    later = np.zeros(n, dtype=bool)
    if n >= 20:
        later[rng.choice(n, 2, replace=False)] = True
    is_new = rng.random(n) < 0.25
    engine_h = np.where(is_new, 0.0, np.round(rng.uniform(20, 420, n), 1))
    age_h = np.where((engine_h < 300) | (rng.random(n) < 0.6), engine_h, engine_h * 0.4)
    calibration = rng.choice(
        3, n, p=[1 - world.raised_share - world.mild_share, world.raised_share, world.mild_share]
    )
    fates = rng.exponential(1.0, (SETS_AHEAD, len(MODES), n))
    bulk_l = np.array([0.4 * d.l_per_hull * max(1, int((dock == k).sum())) for k, d in
                       enumerate(world.docks)])  # fmt: skip
    bulk_octane = np.array([np.dot(d.grade_weights, (87, 89, 91, 93)) for d in world.docks])
    back = LookingBack(n, 25.0)
    return State(
        dock=dock,
        tank_l=rng.choice([60.0, 70.0, 78.0], n),
        popularity=np.exp(rng.normal(-0.03, 0.25, n)),
        throttle_mean=np.clip(
            np.array([d.throttle for d in plan]) + rng.normal(0, 0.06, n), 0.08, 0.6
        ),
        outside_share=np.where(heavy, rng.uniform(0.25, 0.6, n), share * rng.uniform(0, 1, n)),
        outside_taste=rng.integers(0, 3, n),
        boosts=rng.random(n) < 0.08,
        burn_factor=np.exp(rng.normal(0.0, 0.06, n)),
        from_day=np.where(later, world.opening(world.years[1]) - 13, begin),
        meter_off_h=np.round(rng.uniform(0, 300, n), 1),
        engine_no=np.arange(n),
        family=(rng.random(n) < 0.4).astype(np.int64),
        own_log=draw_own(world.law, rng, n),
        own_need_on=rng.normal(0.0, 1.0, n) * world.law.need_sd_on,
        calibration=calibration,
        engine_h=engine_h,
        base_spent=np.zeros(n),
        engine_fails=np.zeros(n, dtype=np.int64),
        set_no=np.zeros(n, dtype=np.int64),
        build=np.ones(n, dtype=np.int64),
        is_forged=rng.random(n) < world.forged_share,
        age_h=age_h,
        spent=np.zeros((len(MODES), n)),
        fate=fates[0].copy(),
        fates=fates,
        off_until=np.zeros(n, dtype=np.int64),
        last_out=np.full(n, begin),
        good_fuel=np.zeros(n, dtype=bool),
        dock_buys_good=np.zeros(n, dtype=bool),
        drain_at_d=np.full(n, np.inf),
        drains=np.zeros(n, dtype=np.int64),
        throttled_until=np.zeros(n, dtype=np.int64),
        look_left=np.zeros(n),
        look_bad=np.zeros(n, dtype=bool),
        tanks=Tanks(np.zeros(n), np.full(n, 89.0), np.full(n, begin - 5.0)),
        bulk=Tanks(bulk_l, bulk_octane, np.full(docks, begin - 120.0)),
        order_aki=np.zeros(docks),
        paid_for_grade=np.zeros(docks),
        back=back,
    )


def new_set(state: State, at: Whole, rng: np.random.Generator | None, forged_share: float) -> None:
    """A new piston set in these places; `rng` draws its fate, else it is the place's next."""
    state.set_no[at] += 1
    state.build[at] += 1
    state.age_h[at] = 0.0
    state.spent[:, at] = 0.0
    if rng is None:
        state.fate[:, at] = state.fates[state.set_no[at] % SETS_AHEAD, :, at].T
        mixed = (state.set_no[at] * 7919 + at * 104729) % 1000
        state.is_forged[at] = mixed < 1000 * forged_share
    else:
        state.fate[:, at] = rng.exponential(1.0, (len(MODES), at.size))
        state.is_forged[at] = rng.random(at.size) < forged_share
    state.look_left[at] = 0.0
    state.look_bad[at] = False
    state.back.forget(at)


def minute_of(day: float) -> int:
    """The minute of a day counted from the epoch."""
    return round(day * MINUTES_PER_DAY)
