"""What standing policies would cost each hull from today, on the truth: for oracles and the bill.

A policy is played on many copies of the fleet under the same weathers.  Nothing breaks; the
chance of a failure at stake is priced, with what the set fitted after it then risks, and what
the policy itself costs is added.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from synthetic_data.worlds.failure_law import Floats, Ride, hazard_of
from synthetic_data.worlds.fleet_state import FAMILIES, NEW_FAMILY, State, new_set
from synthetic_data.worlds.looking_back import Whole
from synthetic_data.worlds.riding import ride_one_day, season_day
from synthetic_data.worlds.true_chances import own_given_past
from synthetic_data.worlds.world import SEASON_D, World


@dataclass(frozen=True)
class Bearing:
    """What things cost: money."""

    failure: float
    renewal: float
    renewal_days_off: float
    calibration: float
    drain: float


@dataclass(frozen=True)
class Standing:
    """What is done to every hull all along."""

    good_fuel: bool = False
    stock: bool = False
    """a raised calibration is put back now"""
    dock_aki: float = 0.0
    """the docks order this grade at least; what it costs is shared among their hulls"""
    drain_at_d: float = float("inf")
    renew_at_h: float = float("inf")
    """a set is renewed when it reaches this age; 0: now, once"""


def costs_by_hull(
    world: World, state: State, day: int, until: int, policies: Sequence[Standing], *,
    prices: Bearing, copies: int, seed: int, knows_own: bool,
) -> Floats:  # fmt: skip
    """Expected cost from a day's morning to another's under each policy: (policies, hulls).

    All policies are played under the same luck.  Seasons after that of `day` are lived
    through with nothing done.
    """
    n, kinds = state.places, len(policies) + 1
    # The last is what follows a failure: a new set now, and another in the winter.
    played = [*policies, Standing(renew_at_h=0.0)]
    ahead = _ahead_of(world, state, copies, seed, knows_own=knows_own).tiled(kinds)
    ahead.copies, ahead.alike = copies * kinds, kinds
    ahead.good_fuel[:] = np.repeat([p.good_fuel for p in played], n * copies)
    ahead.drain_at_d[:] = np.repeat([p.drain_at_d for p in played], n * copies)
    ahead.order_aki[:] = np.repeat([p.dock_aki for p in played], copies * len(world.docks))
    ahead.paid_for_grade[:] = 0.0
    renew_at = np.repeat([p.renew_at_h for p in played], n * copies)
    back = np.repeat([p.stock for p in played], n * copies) & ahead.is_raised
    growths, paid = np.zeros((2, ahead.places)), prices.calibration * back
    ahead.calibration[back] = 0
    ahead.drains[:] = 0
    later = 0

    def count(at: Whole, growth: Floats, _hours: Floats, bought: Floats) -> None:
        growths[later, at] += growth
        paid[at] += bought

    luck = np.random.default_rng([seed, 3])
    for now in range(day, until):
        since = season_day(world, now)
        if since == 0 and now > day:
            later = 1
            ahead.good_fuel[:], ahead.drain_at_d[:], renew_at[:] = False, np.inf, np.inf
            ahead.order_aki[:] = 0.0
            new_set(ahead, np.arange(n * copies * (kinds - 1), ahead.places), luck,
                    world.forged_share)  # fmt: skip
        if since is not None and (now - day) % 7 == 0:
            due = np.flatnonzero(ahead.age_h >= renew_at)
            renew_at[due[renew_at[due] == 0]] = np.inf
            if due.size:
                paid[due] += prices.renewal
                new_set(ahead, due, luck, world.forged_share)
                ahead.off_until[due] = now + round(prices.renewal_days_off)
        ride_one_day(world, ahead, now, np.random.default_rng([seed, 4, now]), can_fail=False,
                     damage=count)  # fmt: skip
    paid += prices.drain * ahead.drains
    paid += (ahead.paid_for_grade / np.maximum(1, np.bincount(ahead.dock)))[ahead.dock]
    first, second = -np.expm1(-growths.reshape(2, kinds, copies, n))
    cost = paid.reshape(kinds, copies, n) + prices.failure * _failures(first, second)
    return np.asarray(cost[:-1].mean(axis=1))


def _failures(first: Floats, second: Floats) -> Floats:
    """Expected failures over two seasons by the chances of a set in each: (kinds, copies, hulls).

    A set that failed in the first is followed by a new one, fitted half way on average, which
    may fail in its turn and goes into the second; the last kind tells the chances of such.
    """
    new_first, new_second = first[-1].mean(axis=0), second[-1].mean(axis=0)
    return np.asarray(first * (1 + 0.5 * new_first + new_second) + (1 - first) * second)


def _ahead_of(world: World, state: State, copies: int, seed: int, *, knows_own: bool) -> State:
    ahead = state.tiled(copies)
    ahead.look_left[:] = 0.0
    if not knows_own:
        ahead.own_log = own_given_past(world.law, state, copies, np.random.default_rng([seed, 1]))
    return ahead


def growth_ahead(world: World, state: State, at: int, hours: float) -> float:
    """Growth of the hazard at stake over some hours of one set, its exposure held as it is."""
    here = np.array([at])
    short, fuel_d, share, _ = state.back.means(here)
    _, _, cruise, full = FAMILIES[int(state.family[at])]
    ride = Ride(
        age_h=state.age_h[here], hours=np.array([hours]), short_on=short, fuel_d=fuel_d,
        full_throttle=share, tank_short_on=short,
        tank_share=hours * (cruise + (full - cruise) * share) / state.tank_l[here],
        is_raised=state.is_raised[here], is_forged=state.is_forged[here],
        is_new_family=state.family[here] == NEW_FAMILY,
        dock_log=np.array([world.docks[int(state.dock[at])].hidden_log]),
    )  # fmt: skip
    parts, scaled = hazard_of(world.law, ride)
    return float(parts[:2].sum() + scaled[0] * np.exp(state.own_log[at]))


def left_to_next_season(
    world: World, state: State, *, prices: Bearing, winter_renewal: float, seed: int
) -> tuple[float, float]:
    """Expected cost of failures over the next season if nothing is done in it.

    The second figure is that where a set is renewed in the winter before, for
    `winter_renewal`, if that is cheaper: what a set at a season's end is worth to an owner
    who goes on.
    """
    opening = world.opening(world.years[-1] + 1)
    costs = costs_by_hull(
        world, state, opening, opening + SEASON_D, [Standing(), Standing(renew_at_h=0.0)],
        prices=replace(prices, renewal=winter_renewal, renewal_days_off=0.0),
        copies=max(4, min(25, 600 // state.places)), seed=seed, knows_own=True,
    )  # fmt: skip
    return float(costs[0].sum()), float(costs.min(axis=0).sum())
