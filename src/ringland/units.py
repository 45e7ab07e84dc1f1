"""One unit into another, and the pressure of the standard atmosphere.

Which unit a bench test is compared in is said in `bench_tests`; octane scales belong to
the room `fuel`.
"""

from __future__ import annotations

import csv
from importlib.resources import files

_LINES_FILE = "unit_lines.csv"


def _lines() -> dict[tuple[str, str], tuple[float, float]]:
    text = files("ringland").joinpath(_LINES_FILE).read_text(encoding="utf-8")
    rows = csv.DictReader(text.splitlines())
    return {(row["unit"], row["to"]): (float(row["slope"]), float(row["offset"])) for row in rows}


# Worked out with pint, which the tests hold them against; at work it would take as long to
# begin as a tenth of a list.
_LINES = _lines()
UNIT_NAMES = tuple(dict.fromkeys(unit for unit, _ in _LINES))
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


def conversion(unit: str, to: str) -> tuple[float, float]:
    """Slope and offset of the conversion: every unit here is a line of every fitting other.

    inHg and inH2O are the conventional ones (mercury of 13,595.1 and water of 1,000 kg/m3 at
    9.80665 m/s2).  Money has no unit of its own: a price is money per litre in the shop's
    currency.

    Raises:
        UnitError: a unit is not in `UNIT_NAMES`, or the two measure different things.
    """
    for name in (unit, to):
        if name not in UNIT_NAMES:
            raise UnitError(f"Unit '{name}' is not known; use one of {', '.join(UNIT_NAMES)}.")
    if (unit, to) not in _LINES:
        raise UnitError(f"'{unit}' cannot be turned into '{to}'.")
    return _LINES[unit, to]


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
