"""One unit into another, and the pressure of the standard atmosphere.

Which unit a bench test is compared in is said in `bench_tests`; octane scales belong to
the room `fuel`.
"""

from __future__ import annotations

from functools import cache

import pint

_REGISTRY: pint.UnitRegistry[float] = pint.UnitRegistry()

# What people write -> what pint calls it.  pint's inHg is the conventional one
# (13,595.1 kg/m3 and 9.80665 m/s2), not that at 32 or 60 degrees Fahrenheit.
UNIT_NAMES = {
    "Pa": "pascal",
    "kPa": "kilopascal",
    "mbar": "millibar",
    "bar": "bar",
    "hPa": "hectopascal",
    "MPa": "megapascal",
    "kg/cm2": "kilogram_force / centimeter ** 2",
    "mmHg": "millimeter_Hg",
    "torr": "torr",
    "atm": "standard_atmosphere",
    "psi": "psi",
    "inHg": "inch_Hg",
    "inH2O": "inch_H2O",  # conventional too: water at 1,000 kg/m3
    "l": "liter",
    "L": "liter",
    "US gal": "gallon",
    "imp gal": "imperial_gallon",
    "degC": "degree_Celsius",
    "degF": "degree_Fahrenheit",
    "mm": "millimeter",
    "in": "inch",
    "um": "micrometer",
    "thou": "thou",
    "deg": "degree",
    "Nm": "newton * meter",
    "lbf ft": "force_pound * foot",
    "kgf m": "kilogram_force * meter",
    "kW": "kilowatt",
    "hp": "horsepower",
    "%": "percent",
    "percent": "percent",
    "ppm": "ppm",
    "ml": "milliliter",
    "m": "meter",
    "ft": "foot",
    "h": "hour",
    "min": "minute",
    "s": "second",
    "d": "day",
    "share": "dimensionless",
    "% vol": "percent",
    "ml/min": "milliliter/minute",
    "l/h": "liter/hour",
    "US gal/h": "gallon/hour",
    "imp gal/h": "imperial_gallon/hour",
    # money has no unit of its own here: a price is money per litre in the shop's currency
    "money/l": "1/liter",
    "money/US gal": "1/gallon",
    "money/imp gal": "1/imperial_gallon",
}
STANDARD_PRESSURE_KPA = 101.325


class UnitError(ValueError):
    """A unit is not known, or does not fit what it is to be turned into."""


def in_unit(value: float, unit: str, to: str) -> float:
    """The value in another unit, e.g. 80 psi is 551.58 kPa.

    Raises:
        UnitError: a unit is not in `UNIT_NAMES`, or the two measure different things.
    """
    slope, offset = conversion(unit, to)
    return slope * value + offset


@cache
def conversion(unit: str, to: str) -> tuple[float, float]:
    """Slope and offset of the conversion: every unit here is a line of every fitting other.

    Raises:
        UnitError: a unit is not in `UNIT_NAMES`, or the two measure different things.
    """
    for name in (unit, to):
        if name not in UNIT_NAMES:
            raise UnitError(f"Unit '{name}' is not known; use one of {', '.join(UNIT_NAMES)}.")
    try:
        at_0, at_1 = (
            float(_REGISTRY.Quantity(x, UNIT_NAMES[unit]).to(UNIT_NAMES[to]).magnitude)
            for x in (0.0, 1.0)
        )
    except pint.DimensionalityError as error:
        raise UnitError(f"'{unit}' cannot be turned into '{to}'.") from error
    return at_1 - at_0, at_0


def standard_pressure_kpa(altitude_m: float) -> float:
    """Pressure of the standard atmosphere at a geometric altitude.

    U.S. Standard Atmosphere 1976 (NOAA-S/T 76-1562), first layer: geopotential altitude
    H = r z / (r + z), p = p0 (T0 / (T0 + L H)) ** (g M / (R L)).  For a dock where no
    station pressure was written down; weather moves the true one by a few per cent.

    Raises:
        ValueError: the altitude is outside -5,000 to 11,000 m, where the formula holds.
    """
    if not -5000 <= altitude_m <= 11000:
        raise ValueError(f"Altitude {altitude_m:,g} m is outside -5,000 to 11,000 m.")
    sea_level_k, lapse_k_m = 288.15, -0.0065
    earth_radius_m, gravity_m_s2 = 6_356_766.0, 9.80665
    molar_mass_kg_kmol, gas_constant_j_kmol_k = 28.9644, 8314.32
    geopotential_m = earth_radius_m * altitude_m / (earth_radius_m + altitude_m)
    exponent = gravity_m_s2 * molar_mass_kg_kmol / (gas_constant_j_kmol_k * lapse_k_m)
    temperature_k = sea_level_k + lapse_k_m * geopotential_m
    return float(STANDARD_PRESSURE_KPA * (sea_level_k / temperature_k) ** exponent)
