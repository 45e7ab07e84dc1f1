"""The shapes of worlds, each drawn at random within its shape.

A shape names what the hazard does with fuel, hours, engines and docks; sizes of effects,
docks, use, share of raised calibrations and failure rates are drawn.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from synthetic_data.worlds.failure_law import Law
from synthetic_data.worlds.scaled_law import scaled_to_rate
from synthetic_data.worlds.world import Dock, FaultRates, World

_DOCKS = (
    ("ashmere", "AM"), ("brackwater", "BW"), ("coldharbour", "CH"), ("dunmoor", "DM"),
    ("elverstone", "ES"), ("farrowick", "FW"),
)  # fmt: skip
_GRADE_WEIGHTS = {
    "87 only": (1.0, 0.0, 0.0, 0.0),
    "cheap": (0.6, 0.3, 0.1, 0.0),
    "any": (0.25, 0.25, 0.3, 0.2),
    "91 mostly": (0.05, 0.15, 0.7, 0.1),
    "good": (0.0, 0.0, 0.35, 0.65),
    "93 only": (0.0, 0.0, 0.0, 1.0),
}
MESSY = FaultRates(
    fill_missing=0.10, session_missing=0.03, grade_missing=0.12, scale_wrong=0.05,
    scale_missing=0.05, gallons=0.02, wrong_hull=0.02, meter_digits=0.02, meter_tenfold=0.005,
    throttle_missing=0.35, repeated=0.02, not_a_number=0.005, ends_before=0.003, late_fill=0.25,
    late_session=0.15, late_shop=0.4, calibration_not_entered=0.12, failure_not_entered=0.05,
)  # fmt: skip


def draw_world(shape: str, hulls: int, seed: int) -> World:
    """A world of this shape and size; the same arguments give the same world.

    Raises:
        KeyError: there is no such shape.
    """
    rng = np.random.default_rng([seed, hulls, 1, *shape.encode()])
    raised_share = float(rng.uniform(0.2, 0.45))
    plain = World(
        shape=shape,
        seed=seed,
        hulls=hulls,
        docks=_draw_docks(hulls, rng),
        law=Law(
            wear_shape=float(rng.uniform(1.2, 2.2)),
            per_full_throttle=float(rng.uniform(0.0, 3.0)),
            raised=float(rng.uniform(0.0, 0.4)),
            forged=float(rng.uniform(-0.6, 0.0)),
            own_sd=float(rng.uniform(0.1, 0.4)),
        ),
        season_h=float(rng.uniform(110, 240)),
        fails_per_season=float(np.exp(rng.uniform(np.log(0.08), np.log(0.3)))),
        raised_share=raised_share,
    )
    return scaled_to_rate(SHAPES[shape](plain, rng))


def draw_error_world(hulls: int, seed: int, written_sd_on: float) -> World:
    """A log-linear world of 0.5 per octane number whose needs are written down with an error.

    The error is one engine's all along: what is written is the truth and a normal deviate.
    The same hulls and seed with another error are the same fleet.
    """
    world = draw_world("log-linear", hulls, seed)
    law = replace(world.law, scale=1.0, per_on=0.5, per_fuel_d=0.0)
    faults = replace(world.faults, need_written_sd_on=written_sd_on)
    return scaled_to_rate(replace(world, law=law, faults=faults, fails_per_season=0.3))


def _draw_docks(hulls: int, rng: np.random.Generator) -> tuple[Dock, ...]:
    """One to six docks of differing grades; from two docks on, one cheap and one good."""
    many = int(rng.integers(1, 3) if hulls <= 12 else rng.integers(2, 4 + hulls // 50))
    many = min(many, len(_DOCKS))
    kinds = list(_GRADE_WEIGHTS)
    chosen = [str(rng.choice(["87 only", "cheap", "any"])), str(rng.choice(["good", "93 only"]))]
    chosen += [str(rng.choice(kinds)) for _ in range(many)]
    if many == 1:
        chosen = [str(rng.choice(["cheap", "any", "91 mostly"]))]
    docks = []
    for (dock_id, prefix), kind in zip(_DOCKS[:many], chosen, strict=False):
        weights = _GRADE_WEIGHTS[kind]
        docks.append(
            Dock(
                dock_id, prefix, weights,
                l_per_hull=float(np.exp(rng.uniform(np.log(150), np.log(1900)))),
                order_below=float(rng.uniform(0.2, 0.4)),
                fill_to=float(rng.uniform(0.8, 0.95)),
                price_per_l=round(1.0 + 0.1 * float(np.dot(weights, range(4))), 2),
                outside_share=float(rng.uniform(0.02, 0.3)),
                throttle=float(rng.uniform(0.2, 0.34)),
            )
        )  # fmt: skip
    return tuple(docks)


def _with_law(world: World, **changes: float | tuple[float, float]) -> World:
    return replace(world, law=replace(world.law, **changes))  # type: ignore[arg-type]


def _log_linear(world: World, rng: np.random.Generator) -> World:
    return _with_law(
        world,
        per_on=float(rng.uniform(0.3, 0.7)),
        per_fuel_d=float(rng.uniform(0.0, 0.03)),
    )


def _threshold(world: World, rng: np.random.Generator) -> World:
    return _with_law(
        world, jump=float(np.log(rng.uniform(4, 10))), jump_at_on=float(rng.uniform(0.7, 2.2))
    )


def _event_driven(world: World, rng: np.random.Generator) -> World:
    """Tank by tank; the wear beneath it breaks few."""
    return _with_law(world, hit_hazard=1.0, hit_above_on=float(rng.uniform(0.5, 2.0)), wear_h=4e3)


def _early_and_wear(world: World, rng: np.random.Generator) -> World:
    return _with_law(
        world,
        early_part=float(rng.uniform(0.04, 0.12)),
        early_h=float(rng.uniform(8, 30)),
        wear_shape=float(rng.uniform(2.6, 4.0)),
        per_on=float(rng.uniform(0.0, 0.3)),
    )


def _frail_engines(world: World, rng: np.random.Generator) -> World:
    return _with_law(
        world, own_sd=float(rng.uniform(0.7, 1.0)), own_df=4.0, per_on=float(rng.uniform(0.1, 0.5))
    )


def _hard_riders(world: World, rng: np.random.Generator) -> World:
    """Fuel does nothing; the dock with the cheapest fuel has riders who break engines."""
    docks = list(world.docks)
    if len(docks) == 1:
        docks.append(replace(docks[0], dock_id="brackwater", prefix="BW"))
    docks[0] = replace(
        docks[0], grade_weights=_GRADE_WEIGHTS["87 only"], throttle=0.33,
        hidden_log=float(np.log(rng.uniform(2.0, 4.0))),
    )  # fmt: skip
    for at in range(1, len(docks)):
        kind = str(rng.choice(["good", "93 only", "91 mostly"]))
        docks[at] = replace(docks[at], grade_weights=_GRADE_WEIGHTS[kind], throttle=0.25)
    return replace(_with_law(world, raised=0.0), docks=tuple(docks))


def _messy_records(world: World, rng: np.random.Generator) -> World:
    return replace(_log_linear(world, rng), faults=MESSY)


def _wear_only(world: World, rng: np.random.Generator) -> World:
    return _with_law(world, wear_shape=float(rng.uniform(2.2, 4.0)), raised=0.0)


def _hot_water(world: World, rng: np.random.Generator) -> World:
    """Warm charge air raises every need in high summer; nobody writes the water down."""
    return _with_law(
        world, heat_on=float(rng.uniform(1.5, 3.5)), per_on=float(rng.uniform(0.3, 0.6))
    )


def _competing_modes(world: World, rng: np.random.Generator) -> World:
    """Other modes take most sets out first."""
    hard = float(rng.uniform(0.25, 0.5))
    others = tuple((shape, scale * hard) for shape, scale in world.law.others)
    world = replace(world, law=replace(world.law, others=others))
    return _with_law(
        world,
        per_on=float(rng.uniform(0.2, 0.6)),
        wearing=(float(rng.uniform(2.0, 3.5)), float(rng.uniform(600, 1000))),
    )


def _renewed_fleet(world: World, rng: np.random.Generator) -> World:
    """Most engines give way to another family before the season to come."""
    world = _with_law(
        world,
        new_family=float(rng.choice([-1.0, 0.7])),
        per_on=float(rng.uniform(0.2, 0.6)),
        wear_shape=float(rng.uniform(1.8, 3.0)),
    )
    return replace(world, renewed_in=world.years[-1], renewed_share=float(rng.uniform(0.4, 0.8)))


def _fuel_age(world: World, rng: np.random.Generator) -> World:
    """Old fuel breaks rings, octane does not; big tanks at quiet docks."""
    docks = tuple(
        replace(dock, l_per_hull=float(rng.uniform(600, 2500)), order_below=0.2)
        for dock in world.docks
    )
    return replace(
        _with_law(world, per_fuel_d=float(rng.uniform(0.04, 0.1)), raised=0.0), docks=docks
    )


SHAPES: dict[str, Callable[[World, np.random.Generator], World]] = {
    "log-linear": _log_linear,
    "threshold": _threshold,
    "event-driven knock": _event_driven,
    "early faults and wear": _early_and_wear,
    "frail engines": _frail_engines,
    "hard riders": _hard_riders,
    "messy records": _messy_records,
    "wear only": _wear_only,
    "hot water": _hot_water,
    "competing modes": _competing_modes,
    "renewed fleet": _renewed_fleet,
    "fuel age": _fuel_age,
}
"""How each shape changes a plain world whose fuel does nothing."""

HARMLESS = ("hard riders", "wear only")
"""Shapes in which no fuel matters at all."""
