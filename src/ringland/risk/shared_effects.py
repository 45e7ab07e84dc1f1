"""Effects that the other operators of a network share, as the prior of one home's own fit.

An operator's effect of a factor lies about that of the others, as far off as operators lie apart
and the others are unsure.  That and the weak prior of the settings, each counting by its
precision, are the prior here, normal and each factor for itself; a home's own records speak on
top of it.  How long sets last in a home's hands is no part of it: no baseline is shared.
"""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from ringland.exposure.factor_registry import FACTORS

FORM = "ringland shared effects 1"
_COUNTS = ("operators", "failures", "piston_sets")
_NUMBERS = ("step", "log_ratio", "sd", "apart")


class SharedEffectsError(ValueError):
    """A file of shared effects cannot be used; the message names file, entry and remedy."""


@dataclass(frozen=True)
class SharedEffect:
    """One factor's log hazard ratio per `step` among the others.

    `sd` is how sure they are of it together, `apart` the standard deviation of an operator's own
    about it.
    """

    factor: str
    step: float
    log_ratio: float
    sd: float
    apart: float

    @property
    def spread(self) -> float:
        """Standard deviation of another operator's effect about `log_ratio`."""
        return math.hypot(self.sd, self.apart)


@dataclass(frozen=True)
class SharedEffects:
    """What others share with one operator, from records up to a Monday, and what it rests on.

    `operators`, `failures` (ring-land fractures) and `piston_sets` count the others alone.
    """

    operator: str
    monday: str
    operators: int
    failures: int
    piston_sets: int
    effects: tuple[SharedEffect, ...]

    @property
    def factors(self) -> tuple[str, ...]:
        """Of what there is an effect."""
        return tuple(effect.factor for effect in self.effects)

    def prior(self, factor: str, step: float, weak_sd: float) -> tuple[float, float]:
        """Mean and standard deviation of a log hazard ratio per step, before the own records.

        Args:
            factor: of `FACTORS`; one that is not shared keeps the weak prior.
            step: change of the factor it is of, in its unit.
            weak_sd: standard deviation of the weak prior, about none.
        """
        found = next((effect for effect in self.effects if effect.factor == factor), None)
        if found is None:
            return 0.0, weak_sd
        scale = step / found.step
        variance = 1 / (weak_sd**-2 + (scale * found.spread) ** -2)
        mean = variance * scale * found.log_ratio / (scale * found.spread) ** 2
        return mean, math.sqrt(variance)


def shared_effects_text(shared: SharedEffects) -> str:
    """The file of shared effects, which `read_shared_effects` reads."""
    return json.dumps({"form": FORM, **asdict(shared)}, ensure_ascii=False, indent=1) + "\n"


def read_shared_effects(file: str, text: str) -> SharedEffects:
    """The effects a file tells.

    Args:
        file: what messages call it.
        text: its content.

    Raises:
        SharedEffectsError: it is another kind of file, or an entry is missing or cannot be.
    """
    try:
        told = json.loads(text)
    except ValueError as error:
        raise _refused(file, f"it is no JSON ({error})") from None
    if not isinstance(told, dict) or told.get("form") != FORM:
        raise _refused(file, f"it does not begin with form '{FORM}'")
    for name in ("operator", "monday"):
        if not isinstance(told.get(name), str):
            raise _refused(file, f"{name} is {told.get(name)!r} and no text")
    if not _is_monday(told["monday"]):
        raise _refused(file, f"monday is '{told['monday']}' and no Monday as 2026-08-17")
    for name in _COUNTS:
        if not _is_number(told.get(name)) or told[name] != int(told[name]) or told[name] < 1:
            raise _refused(file, f"{name} is {told.get(name)!r} and no count above 0")
    rows = told.get("effects")
    if not isinstance(rows, list) or not rows:
        raise _refused(file, "effects is no list of effects")
    effects = tuple(_effect(file, at, row) for at, row in enumerate(rows, 1))
    factors = [effect.factor for effect in effects]
    if twice := [name for at, name in enumerate(factors) if name in factors[:at]]:
        raise _refused(file, f"{twice[0]} stands in it twice")
    counts = {name: int(told[name]) for name in _COUNTS}
    return SharedEffects(told["operator"], told["monday"], **counts, effects=effects)


def _effect(file: str, at: int, row: Any) -> SharedEffect:
    where = f"effect {at}"
    if not isinstance(row, dict) or row.get("factor") not in FACTORS:
        named = row.get("factor") if isinstance(row, dict) else row
        raise _refused(file, f"{where}: factor is {named!r}; known are {', '.join(FACTORS)}")
    for name in _NUMBERS:
        if not _is_number(row.get(name)):
            raise _refused(
                file, f"{where}, {row['factor']}: {name} is {row.get(name)!r}, no number"
            )
    found = SharedEffect(row["factor"], *(float(row[name]) for name in _NUMBERS))
    for name in ("step", "sd"):
        if not getattr(found, name) > 0:
            raise _refused(file, f"{where}, {row['factor']}: {name} is not above 0")
    if found.apart < 0:
        raise _refused(file, f"{where}, {row['factor']}: apart is below 0")
    return found


def _is_number(value: object) -> bool:
    is_kind = isinstance(value, int | float) and not isinstance(value, bool)
    return is_kind and math.isfinite(value)  # type: ignore[arg-type]  # a number by now


def _is_monday(text: str) -> bool:
    try:
        return date.fromisoformat(text).weekday() == 0
    except ValueError:
        return False


def _refused(file: str, why: str) -> SharedEffectsError:
    return SharedEffectsError(
        f"{file}: {why}. Have it made anew (ringland network effects NETWORK OPERATOR --file FILE) "
        f"and take it in with 'ringland network borrow FILE'."
    )
