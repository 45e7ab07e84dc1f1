"""The unit a quantity is shown in, and its figure there: the only place where pages convert.

What is worked out and stored keeps its own unit (litres, kPa, mm); octane grades stay AKI
and vacuum stays in inches of mercury, as the trade reads its gauge in both systems.
"""

from __future__ import annotations

from dataclasses import dataclass

from ringland.units import in_unit
from ringland.words.manner import manner


@dataclass(frozen=True)
class ShownUnit:
    """A unit of `units.UNIT_NAMES` with the decimals it needs to say what the other says."""

    unit: str
    extra_digits: int = 0
    """Decimals beyond those the stored unit is given, so that no figure becomes coarser."""
    finest: int = 9
    """Decimals beyond which no gauge reads: an inch micrometer to a ten-thousandth."""

    @property
    def written(self) -> str:
        """The unit as it stands behind a figure."""
        return WRITTEN.get(self.unit, self.unit)


WRITTEN = {"US gal": "gal", "degC": "\N{DEGREE SIGN}C", "degF": "\N{DEGREE SIGN}F"}
"""Units a reader knows by another sign than the converter; 'gal' is the US gallon here."""

SHOWN = {
    "l": {"us": ShownUnit("US gal")},
    "mm": {"us": ShownUnit("in", extra_digits=1, finest=4)},
    "degC": {"us": ShownUnit("degF")},
}
"""Stored unit to the one shown, where a system of units shows another."""

READ_IN = {"psi": "kPa", "bar": "kPa", "in": "mm", "US gal": "l", "imp gal": "l", "degF": "degC"}
"""Units a gauge may read in, to the one its quantity is stored in."""


PRESSURE = {
    "psi": ShownUnit("psi"),
    "kPa": ShownUnit("kPa"),
    "bar": ShownUnit("bar", extra_digits=2),
}
"""The units of a compression gauge: shops of both systems read psi, so it is set apart."""


def shown_unit(stored: str) -> ShownUnit:
    """The unit that stands for a stored one, e.g. 'US gal' for 'l' in US units."""
    if stored == "kPa":
        return PRESSURE[manner().pressure]
    return SHOWN.get(stored, {}).get(manner().units, ShownUnit(stored))


def shown(value: float, stored: str) -> float:
    """The value in the unit it is shown in."""
    unit = shown_unit(stored).unit
    return value if unit == stored else in_unit(value, stored, unit)


def shown_reading(value: float, unit: str) -> tuple[float, str]:
    """A gauge's reading in the unit shown, and that unit as written.

    As it was read where it is not converted, else as `in_figures` rounds it.
    """
    target = shown_unit(READ_IN.get(unit, unit))
    if target.unit == unit:
        return value, target.written
    return in_figures(in_unit(value, unit, target.unit), target), target.written


def in_figures(value: float, unit: ShownUnit) -> float:
    """A converted value to four figures, and no finer than the unit's gauges read."""
    return round(float(f"{value:.4g}"), unit.finest)


def shown_factor(stored: str) -> float:
    """What a stored value is multiplied by to be shown; for whole columns.

    Raises:
        ValueError: the unit has another zero as well, as temperatures have.
    """
    at_0, at_1 = shown(0.0, stored), shown(1.0, stored)
    if at_0 != 0.0:
        raise ValueError(f"'{stored}' is shown on a scale with another zero; convert one by one.")
    return at_1


def price_factor() -> float:
    """What money a litre is multiplied by to be money per unit of volume shown."""
    return 1.0 / shown_factor("l")


def volume_noun() -> str:
    """The unit of volume as a word of a sentence, e.g. 'litre'."""
    return {"metric": "litre", "us": "gallon"}[manner().units]
