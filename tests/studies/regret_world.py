"""A season to come on the generator's truth, played under one policy after another.

History: two seasons of the fleet simulator, exposure as it truly was (no faults planted).
The season to come: the same hulls, habits and docks, every rental of a season in which
nothing breaks.  A play runs each hull through its rentals, the week's actions changing fuel,
throttle, calibration or the set, and adds up the true hazard of ring-land fracture and ring
wear.  Cost is the expected cost on the truth, so that luck does not blur the policies: the
chance of a first failure in the season times its price, and what is paid for jobs and fuel
weighted by the chance that the hull has not failed by then.  What comes after a first
failure and other modes are left out for all policies alike.  A test's bad readings are
counted in expectation: their renewals are paid, and the hazard within its reach falls by
its sensitivity.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from math import exp

import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import Spells
from ringland.decision.action_catalogue import Catalogue
from ringland.decision.action_prices import Prices
from ringland.decision.action_terms import job_days_off, job_price
from synthetic_data.engine_failures import Exposure, TrailingWindow, ring_land_log_hazard_ratio
from synthetic_data.fleet_simulator import simulate_fleet
from synthetic_data.scenario import Scenario

SEASON_D = 153
WEEK_D = 7
OPENING = datetime(2026, 5, 1, tzinfo=UTC)
LAST_OPENING = datetime(2025, 5, 1, tzinfo=UTC)
USUAL_H = 1000.0
"""Hours the usual is looked back over: last season and this, as the weekly run does by days."""
SPELL_H = 5.0


@dataclass(frozen=True)
class Rental:
    """One rental of the season to come, with the fuel it would burn if nothing is done."""

    day: float
    hours: float
    throttle: float
    octane_aki: float
    fuel_age_d: float
    litres: float


@dataclass
class Hull:
    """One hull at the opening of the season, and as the play changes it."""

    hull_id: str
    dock_id: str
    need_aki: float
    is_raised: bool
    is_forged: bool
    engine_effect: float
    age_h: float
    use_h_d: float
    throttle_mean: float
    rentals: Sequence[Rental]
    past: Sequence[Rental]
    next_rental: int = 0
    back_day: float = 0.0
    window: TrailingWindow = field(default_factory=lambda: TrailingWindow(25.0))
    usual: TrailingWindow = field(default_factory=lambda: TrailingWindow(USUAL_H))
    hazard: float = 0.0
    build_number: int = 1
    tested_day: float | None = None
    drained_h: float = 0.0
    sifted_until: float = -1.0
    sifted: float = 1.0


@dataclass(frozen=True)
class World:
    """What a study season starts from."""

    scenario: Scenario
    spells: pl.DataFrame
    hulls: tuple[Hull, ...]


@dataclass
class Bill:
    """What a policy cost in one season."""

    failures: float = 0.0
    failure_cost: float = 0.0
    sure_cost: float = 0.0
    fuel_cost: float = 0.0
    fuel_hull_weeks: int = 0
    top_ends: float = 0.0

    @property
    def total(self) -> float:
        return self.failure_cost + self.sure_cost


Decide = Callable[[pl.DataFrame, float], Mapping[str, Sequence[str]]]
"""The fleet's view and the days left to the actions by hull."""


def make_world(scenario: Scenario, seed: int) -> World:
    """History and the season to come of one fleet."""
    past = simulate_fleet(replace(scenario, seasons=(2024, 2025), with_faults=False), seed)
    unbreakable = replace(scenario.ring_land, scale_h=1e12)
    ahead = simulate_fleet(
        replace(
            scenario,
            seasons=(2024, 2025, 2026),
            with_faults=False,
            ring_land=unbreakable,
            other_modes=(),
        ),
        seed,
    )
    history = past.truth_sessions.filter(pl.col("set_h_start").is_not_null())
    docks = dict(past.records["hulls"].select("hull_id", "dock_id").iter_rows())
    rng = np.random.default_rng([seed, 7])
    coming = ahead.truth_sessions.filter(pl.col("started_at") >= OPENING)
    hulls = []
    for hull_id in sorted(docks):
        mine = history.filter(pl.col("hull_id") == hull_id).sort("started_at")
        path = coming.filter(pl.col("hull_id") == hull_id).sort("started_at")
        if mine.is_empty() or path.is_empty():
            continue
        last = mine.row(-1, named=True)
        broke = last["struck"] is not None
        hulls.append(
            Hull(
                hull_id=hull_id,
                dock_id=docks[hull_id],
                need_aki=last["octane_need_aki"],
                is_raised=last["is_raised_calibration"],
                is_forged=last["is_forged"],
                engine_effect=float(rng.normal(0, scenario.ring_land.engine_sd)),
                age_h=0.0 if broke else last["set_h_stop"],
                use_h_d=float(mine["running_h"].sum()) / (2 * SEASON_D),
                throttle_mean=float(mine["full_throttle_share"].mean()),
                rentals=_rentals(path),
                past=_rentals(mine.filter(pl.col("started_at") >= LAST_OPENING)),
                build_number=_sets_of(history, last["engine_id"]) + broke,
            )
        )
    return World(scenario, spells_of(history, docks), tuple(hulls))


def _sets_of(history: pl.DataFrame, engine_id: str) -> int:
    return history.filter(pl.col("engine_id") == engine_id)["piston_set_id"].n_unique()


def _rentals(path: pl.DataFrame) -> tuple[Rental, ...]:
    day = (path["started_at"] - OPENING).dt.total_seconds() / 86_400
    columns = ("running_h", "full_throttle_share", "octane_aki", "fuel_age_d", "burn_l")
    return tuple(Rental(*row) for row in zip(day, *(path[name] for name in columns), strict=True))


def spells_of(history: pl.DataFrame, docks: Mapping[str, str]) -> pl.DataFrame:
    """Spells of about five hours from true sessions, covariates as at each one's start."""
    last = pl.col("set_h_stop").last()
    spells = (
        history.sort("piston_set_id", "started_at")
        .with_columns(piece=(pl.col("set_h_start") / SPELL_H).floor())
        .group_by("piston_set_id", "piece", maintain_order=True)
        .agg(
            pl.col("engine_id", "hull_id", "shortfall_25h_on", "fuel_age_25h_d").first(),
            pl.col("full_throttle_25h", "is_raised_calibration", "is_forged").first(),
            start_h=pl.col("set_h_start").first(),
            stop_h=last,
            start_at=pl.col("started_at").first(),
            stop_at=pl.col("started_at").last(),
            mode=pl.col("struck").drop_nulls().first(),
        )
    )
    return Spells.validate(
        spells.with_columns(_first_at=pl.col("start_at").min().over("piston_set_id"))
        .with_columns(
            dock_id=pl.col("hull_id").replace_strict(dict(docks)),
            shortfall_25h_low_on=pl.col("shortfall_25h_on"),
            shortfall_25h_high_on=pl.col("shortfall_25h_on"),
            shortfall_life_onh=pl.lit(0.0),
            share_over_28d_25h=pl.lit(0.0),
            build_number=pl.col("_first_at").rank("dense").over("engine_id").cast(pl.Int64),
            known_share_25h=pl.lit(1.0),
            stop_at=pl.col("stop_at") + pl.duration(hours=1),
        )
        .select(Spells.column_names()),
        cast=True,
    )


def play(world: World, decide: Decide, catalogue: Catalogue, prices: Prices) -> Bill:
    """One season under one policy; the same world and policy give the same bill."""
    hulls = at_opening(world)
    bill = Bill()
    for start in range(0, SEASON_D, WEEK_D):
        actions = decide(view(hulls, start), float(SEASON_D - start))
        for hull in hulls:
            names = actions.get(hull.hull_id, ())
            _do_jobs(hull, names, start, world=world, catalogue=catalogue, prices=prices, bill=bill)
            run_week(hull, names, start + WEEK_D, world=world, catalogue=catalogue, bill=bill)
    bill.failures = sum(1 - exp(-hull.hazard) for hull in hulls)
    bill.failure_cost = bill.failures * prices.unplanned
    return bill


def at_opening(world: World) -> list[Hull]:
    """The hulls on the first day: last season is what is usual, nothing is run yet."""
    hulls = []
    for hull in world.hulls:
        usual = TrailingWindow(USUAL_H)
        for ride in hull.past:
            short = max(0.0, hull.need_aki - ride.octane_aki)
            usual.add(ride.hours, ride.throttle, short, ride.litres, ride.fuel_age_d)
        hulls.append(replace(hull, window=TrailingWindow(25.0), usual=usual))
    return hulls


def view(hulls: Sequence[Hull], day: float) -> pl.DataFrame:
    """What is known of the fleet this week, as `running_sets` gives it.

    With the true effect of each engine, which only the oracle's hazard reads.
    """
    rows = []
    for hull in hulls:
        usual = hull.usual.look_back() or Exposure(0.0, 7.0, hull.throttle_mean)
        now = hull.window.look_back() or usual
        rows.append(
            {
                "hull_id": hull.hull_id, "dock_id": hull.dock_id, "why_not": None,
                "age_h": hull.age_h, "use_h_d": hull.use_h_d,
                "shortfall_25h_on": now.shortfall_on, "fuel_age_25h_d": now.fuel_age_d,
                "full_throttle_25h": now.full_throttle,
                "usual_shortfall_25h_on": usual.shortfall_on,
                "usual_fuel_age_25h_d": usual.fuel_age_d,
                "usual_full_throttle_25h": usual.full_throttle,
                "is_raised_calibration": hull.is_raised, "is_forged": hull.is_forged,
                "build_number": hull.build_number,
                "engine_effect": hull.engine_effect,
                "tested_d_ago": None if hull.tested_day is None else day - hull.tested_day,
            }
        )  # fmt: skip
    return pl.DataFrame(
        rows,
        schema_overrides={"why_not": pl.String, "tested_d_ago": pl.Float64},
        infer_schema_length=None,
    )


def _do_jobs(
    hull: Hull,
    names: Sequence[str],
    day: float,
    *,
    world: World,
    catalogue: Catalogue,
    prices: Prices,
    bill: Bill,
) -> None:
    alive = exp(-hull.hazard)  # what is done to a hull is paid if it has not failed by then
    for name in names:
        action = catalogue.actions[name]
        days_off = job_days_off(action, prices)
        cost = job_price(action, prices) + days_off * prices.lost_rental_day
        cost += action.cost_per_d * WEEK_D
        hull.back_day = max(hull.back_day, day) + days_off if days_off else hull.back_day
        if action.renews_age:
            hull.age_h, hull.window = 0.0, TrailingWindow(25.0)
            hull.sifted = 1.0
            hull.build_number += 1
            bill.top_ends += alive
        if action.lasts_h is not None:
            hull.drained_h = action.lasts_h
        if name == "mild_calibration" and hull.is_raised:
            hull.is_raised, hull.need_aki = False, hull.need_aki - 2.0
        if action.test is not None:
            within = _hazard_ahead_30d(hull, world)
            p = 1 - exp(-within)
            se, sp = action.test.sensitivity.value, action.test.specificity.value
            bad = se * p + (1 - sp) * (1 - p)
            cost += bad * prices.planned_renewal
            hull.sifted, hull.sifted_until = 1 - se, day + action.test.reach_d.value
            hull.tested_day = day
            bill.top_ends += alive * bad
        if name in ("drain_refill", "mild_calibration"):
            bill.fuel_cost += alive * cost
        bill.sure_cost += alive * cost
    bill.fuel_hull_weeks += bool({"fuel_rule", "drain_refill", "mild_calibration"} & set(names))


def run_week(
    hull: Hull,
    names: Sequence[str],
    until: float,
    *,
    world: World,
    catalogue: Catalogue,
    bill: Bill,
) -> None:
    """The hull's rentals up to a day, the week's actions in force."""
    on_rule, restricted = "fuel_rule" in names, "restrict_throttle" in names
    per_l = catalogue.actions["fuel_rule"].cost_per_l
    while hull.next_rental < len(hull.rentals) and hull.rentals[hull.next_rental].day < until:
        rental = hull.rentals[hull.next_rental]
        hull.next_rental += 1
        short, age_d = max(0.0, hull.need_aki - rental.octane_aki), rental.fuel_age_d
        throttle = rental.throttle
        hull.usual.add(rental.hours, throttle, short, rental.litres, age_d)
        if rental.day < hull.back_day:
            continue
        if on_rule:
            short, age_d = 0.0, min(age_d, 14.0)
            paid = exp(-hull.hazard) * per_l * rental.litres
            bill.sure_cost += paid
            bill.fuel_cost += paid
        if hull.drained_h > 0:
            short, age_d = 0.0, min(age_d, 3.0)
            hull.drained_h -= rental.hours
        if restricted:
            short, throttle = max(0.0, short - 1.0), 0.001  # a window needs some hard running
        seen = hull.window.look_back() or Exposure(short, age_d, throttle)
        share = hull.sifted if rental.day < hull.sifted_until else 1.0
        hull.hazard += share * true_hazard(hull, seen, rental.hours, world.scenario)
        hull.age_h += rental.hours
        hull.window.add(rental.hours, throttle, short, rental.litres, age_d)


def true_hazard(hull: Hull, seen: Exposure, hours: float, scenario: Scenario) -> float:
    """Ring-land and ring-wear hazard of the next hours, from the scenario's own formula."""
    truth = scenario.ring_land
    ratio = ring_land_log_hazard_ratio(
        truth, seen, hull.is_raised, hull.is_forged, hull.engine_effect
    )
    total = exp(ratio) * _rise(hull.age_h, hours, truth.shape, truth.scale_h)
    for mode in scenario.other_modes:
        if mode.mode == "ring_wear":
            factor = exp(mode.beta_age * seen.fuel_age_d)
            total += factor * _rise(hull.age_h, hours, mode.shape, mode.scale_h)
    return total


def _rise(age_h: float, hours: float, shape: float, scale_h: float) -> float:
    return float(((age_h + hours) / scale_h) ** shape - (age_h / scale_h) ** shape)


def _hazard_ahead_30d(hull: Hull, world: World) -> float:
    seen = hull.window.look_back() or Exposure(0.0, 7.0, hull.throttle_mean)
    return true_hazard(hull, seen, hull.use_h_d * 30, world.scenario)
