import json
from itertools import product
from pathlib import Path

import pint
import pytest

from ringland.units import (
    UNIT_NAMES,
    UnitError,
    conversion,
    in_unit,
    standard_pressure_kpa,
)

REFERENCE = json.loads(
    (
        Path(__file__).resolve().parent / "reference_values" / "engineering" / "units.json"
    ).read_text()
)

# What people write -> what pint calls it.  pint's inHg is the conventional one
# (13,595.1 kg/m3 and 9.80665 m/s2), not that at 32 or 60 degrees Fahrenheit.
PINT_NAMES = {
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


@pytest.mark.parametrize(
    ("value", "unit", "to", "name", "scale"),
    [
        (1, "inHg", "Pa", "inHg_conventional_Pa", 1),
        (1, "psi", "Pa", "psi_Pa", 1),
        (1, "US gal", "l", "US_gal_L", 1),
        (10, "inHg", "kPa", "10_inHg_kPa", 1),
        (80, "psi", "kPa", "80_psi_kPa", 1),
        (160, "psi", "kPa", "160_psi_kPa", 1),
        (18.5, "US gal", "L", "18.5_gal_L", 1),
        (29.92, "inHg", "kPa", "29.92_inHg_kPa", 1),
        (1, "bar", "psi", "1_bar_psi", 1),
        (1, "atm", "inHg", "1_atm_inHg", 1),
        (95, "degF", "degC", "degF_95_to_C", 1),
        (550, "hp", "kW", "hp550_W", 550 / 1000),
    ],
)
def test_conversions_are_those_of_the_exact_definitions(
    value: float, unit: str, to: str, name: str, scale: float
) -> None:
    expected = REFERENCE["H1"]["values"][name] * scale

    # H1's own tolerance: the published tables give seven digits
    assert in_unit(value, unit, to) == pytest.approx(expected, rel=REFERENCE["H1"]["tolerance_rel"])


def test_every_conversion_is_pints_own_and_what_it_refuses_is_refused() -> None:
    """pint keeps the definitions of NIST SP 811 and CODATA; here only what it works out is kept."""
    registry: pint.UnitRegistry[float] = pint.UnitRegistry()
    assert tuple(PINT_NAMES) == UNIT_NAMES

    for unit, to in product(PINT_NAMES, repeat=2):
        one, other = registry.Unit(PINT_NAMES[unit]), registry.Unit(PINT_NAMES[to])
        if not one.is_compatible_with(other):
            with pytest.raises(UnitError, match="cannot be turned into"):
                conversion(unit, to)
            continue
        at_0, at_1 = (registry.Quantity(x, one).to(other).magnitude for x in (0.0, 1.0))
        assert conversion(unit, to) == pytest.approx((at_1 - at_0, at_0), rel=1e-14), (unit, to)


def test_imperial_gallon_is_its_legal_definition() -> None:
    # 4.54609 l exactly: UK Units of Measurement Regulations 1995, from memory
    assert in_unit(1, "imp gal", "l") == pytest.approx(4.54609, rel=1e-12)  # exact but rounding


@pytest.mark.parametrize("unit", UNIT_NAMES)
def test_a_unit_is_itself(unit: str) -> None:
    assert in_unit(37.5, unit, unit) == pytest.approx(37.5, rel=1e-12)  # exact but rounding


@pytest.mark.parametrize(("unit", "to"), [("psi", "mm"), ("furlong", "mm"), ("mm", "furlong")])
def test_units_that_do_not_fit_or_are_not_known_are_refused(unit: str, to: str) -> None:
    with pytest.raises(UnitError):
        in_unit(1, unit, to)


@pytest.mark.parametrize("altitude_m", [0, 500, 1000, 1500, 2000, 3000])
def test_pressure_at_altitude_is_that_of_the_standard_atmosphere(altitude_m: int) -> None:
    values, rel = REFERENCE["H2"]["values"], REFERENCE["H2"]["tolerance_rel"]
    pressure_kpa = standard_pressure_kpa(altitude_m)

    assert pressure_kpa * 1000 == pytest.approx(values[f"geometric_{altitude_m}m_Pa"], rel=rel)


@pytest.mark.parametrize(("altitude_m", "mbar"), [(1000, 898.76), (2000, 795.01), (3000, 701.21)])
def test_pressure_at_altitude_is_that_of_the_printed_table(altitude_m: int, mbar: float) -> None:
    # US Standard Atmosphere 1976, Table I, from memory; printed to five digits
    assert standard_pressure_kpa(altitude_m) * 10 == pytest.approx(mbar, abs=0.005)


def test_vacuum_ceiling_falls_with_altitude_as_in_the_reference() -> None:
    ceiling = in_unit(standard_pressure_kpa(1500), "kPa", "inHg")

    expected = REFERENCE["H2"]["values"]["geometric_1500m_max_vacuum_inHg"]
    assert ceiling == pytest.approx(expected, rel=REFERENCE["H2"]["tolerance_rel"])


def test_an_altitude_outside_the_formula_is_refused() -> None:
    with pytest.raises(ValueError, match=r"outside -5,000 to 11,000 m"):
        standard_pressure_kpa(12000)
