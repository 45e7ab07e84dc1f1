"""What an opened engine showed: findings seen, not seen or not looked at.

The words are the shop's.  How often each is seen with each failure is made up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_data.logbook import Logbook

_NOT_LOOKED_AT = 0.12
_SECOND_CYLINDER = 0.35
_PHOTO = 0.5

_BY_CYLINDER = {
    "second land broken down": "piston",
    "pitting at the crown edge": "piston",
    "no seizure marks beside the break": "piston",
    "aluminium specks on the plug": "plug",
    "overlay fatigue of the rod upper shell": "bearing",
    "bearings wiped or blue": "bearing",
    "ring end gap over the limit": "rings",
    "even bore wear": "bore",
    "rust line in the bore": "bore",
    "bent rod": "rod",
    "valve seats pitted or rusty": "valve",
    "valve seal poor on the vacuum test": "valve",
}
_OF_THE_ENGINE = {
    "milky oil": "oil",
    "intake wet with oil": "intake",
    "intake seal open or sand in the intake": "intake",
    "cooling passages blocked by scale, sand or weed": "cooling",
    "oil pump scored": "oil pump",
    "injector blocked": "fuel system",
    "calibration read out: raised": "controller",
}
_ALWAYS_LOOKED_FOR = (
    "second land broken down",
    "pitting at the crown edge",
    "bent rod",
    "milky oil",
    "calibration read out: raised",
)
_SEEN_WITH: dict[str, dict[str, float]] = {
    "ring_land_fracture": {
        "second land broken down": 1.0,
        "pitting at the crown edge": 0.75,
        "no seizure marks beside the break": 0.9,
        "aluminium specks on the plug": 0.6,
        "overlay fatigue of the rod upper shell": 0.4,
        "injector blocked": 0.02,
        "intake wet with oil": 0.15,
    },
    "ring_wear": {
        "ring end gap over the limit": 1.0,
        "even bore wear": 0.75,
        "intake seal open or sand in the intake": 0.25,
        "intake wet with oil": 0.3,
    },
    "valve_seal": {
        "valve seal poor on the vacuum test": 1.0,
        "valve seats pitted or rusty": 0.75,
    },
    "head_gasket": {
        "cooling passages blocked by scale, sand or weed": 0.5,
        "milky oil": 0.3,
        "aluminium specks on the plug": 0.05,
    },
    "bearing": {
        "bearings wiped or blue": 1.0,
        "oil pump scored": 0.4,
    },
    "water": {
        "milky oil": 0.95,
        "bent rod": 0.5,
        "rust line in the bore": 0.4,
    },
}
_CERTAIN = 1.0
RAISED_NEED_ON = 2.0
"""How many octane numbers more the raised calibration needs."""


@dataclass(frozen=True, slots=True)
class Opening:
    """One engine opened once."""

    engine_id: str
    minute: int
    cylinders: int


def write_teardown(
    book: Logbook,
    opening: Opening,
    mode: str,
    bad_cylinder: int,
    is_raised: bool,
    *,
    shortfall_on: float,
    rng: np.random.Generator,
) -> None:
    """One row per finding looked for, by cylinder or for the whole engine."""
    signs = _SEEN_WITH[mode]
    hit = {bad_cylinder}
    if rng.random() < _SECOND_CYLINDER:
        hit.add(bad_cylinder % opening.cylinders + 1)
    wanted = [*signs, *(words for words in _ALWAYS_LOOKED_FOR if words not in signs)]
    for words in wanted:
        chance = signs.get(words, 0.0)
        if words in _OF_THE_ENGINE:
            is_there = rng.random() < chance
            if words == "calibration read out: raised":
                is_there = is_raised
            _write(book, opening, None, words, is_there, is_looked_at=False, rng=rng)
            continue
        for cylinder in range(1, opening.cylinders + 1):
            is_there = cylinder in hit and rng.random() < chance
            is_certain = chance == _CERTAIN and cylinder == bad_cylinder
            _write(book, opening, cylinder, words, is_there, is_looked_at=is_certain, rng=rng)
    state = "seen" if shortfall_on >= 1.0 else "not_seen"
    sample = ("fuel system", "fuel sample below the need of the calibration", state, None, None)
    book["teardowns"].append((opening.engine_id, opening.minute, None, *sample))


def _write(
    book: Logbook,
    opening: Opening,
    cylinder: int | None,
    words: str,
    is_there: bool,
    *,
    is_looked_at: bool,
    rng: np.random.Generator,
) -> None:
    part = _BY_CYLINDER.get(words) or _OF_THE_ENGINE[words]
    state, extent, photo = "seen" if is_there else "not_seen", None, None
    if not is_looked_at and rng.random() < _NOT_LOOKED_AT:
        state = "not_looked_at"
    if state == "seen":
        extent = str(rng.choice(["slight", "marked", "severe"], p=[0.2, 0.45, 0.35]))
        if rng.random() < _PHOTO:
            place = "" if cylinder is None else f"-c{cylinder}"
            photo = f"{opening.engine_id}-{opening.minute}{place}-{part.replace(' ', '-')}.jpg"
    book["teardowns"].append(
        (opening.engine_id, opening.minute, cylinder, part, words, state, extent, photo)
    )


def settled_cause(
    mode: str, shortfall_on: float, is_raised: bool, rng: np.random.Generator
) -> str | None:
    """The cause the shop settled on, by the key of its cause table; None: left open.

    The shop is right as often as it had something to go by, and leaves a third open.
    """
    if rng.random() < 1 / 3:
        return None
    if mode == "ring_land_fracture":
        if shortfall_on < 1.0:
            return None
        # had the stock calibration run well on this fuel, the calibration is what settles it
        return "knock_tune" if is_raised and shortfall_on <= RAISED_NEED_ON else "knock_fuel"
    return {"water": "water", "ring_wear": "wear", "bearing": "no_oil"}.get(mode)
