"""Whether a barometer's figure is the air at the bench or a weather report's.

A weather report gives pressure reduced to sea level; at 1,500 m that is a fifth more than
the air a vacuum gauge can be held against, and a good head held against it fails.  With the
altitude known, the two lie apart and the figure tells by itself which it is; where it does
not, somebody has to be asked.
"""

from __future__ import annotations

from dataclasses import dataclass

from ringland.units import STANDARD_PRESSURE_KPA as SEA_LEVEL
from ringland.units import standard_pressure_kpa
from ringland.words.number_words import number_text, quantity_text

WEATHER = 0.035
"""Share by which weather moves the pressure of a place: 978 to 1049 hPa at sea level (A)."""
BENCH = 0.07
"""Share by which a barometer at the bench may differ from the air at the altitude on record: the
weather, and a bench some 300 m from the dock (A)."""
PUMP = 0.85
"""Least share of the day's air that a pump fit for the test draws on a blanked pad (A)."""
THINNEST_KPA = 57.0
"""The air at about 4,500 m, less weather: no bench is higher (A)."""


@dataclass(frozen=True)
class AirPressure:
    """The air at the bench, where its figure comes from, and what to ask where it cannot be."""

    kpa: float | None
    source: str | None
    """'measured', 'weather report, reduced to the bench' or 'standard atmosphere at N m'."""
    question: str | None
    """What must be asked before any figure is used; None: nothing."""


def air_pressure(
    barometer_kpa: float | None, altitude_m: float | None, told: str | None = None
) -> AirPressure:
    """The station pressure, from a barometer's figure and the altitude of the bench.

    Args:
        barometer_kpa: what was written down, from a barometer or a weather report.
        altitude_m: height of the bench above sea level; None: not on record.
        told: 'station' or 'sea_level', where somebody wrote which it is.
    """
    if barometer_kpa is None:
        if altitude_m is None:
            return AirPressure(None, None, "write the air pressure or the altitude of the bench")
        source = f"standard atmosphere at {quantity_text(altitude_m, 'm')}"
        return AirPressure(standard_pressure_kpa(altitude_m), source, None)
    if told == "station":
        return _at_bench(barometer_kpa, altitude_m)
    if told == "sea_level":
        return _reduced(barometer_kpa, altitude_m)
    return _told_apart(barometer_kpa, altitude_m)


def pad_question(pad_kpa: float, air_kpa: float | None) -> str | None:
    """What is to ask about a blanked pad's reading; None: it can be held against.

    A pump that draws little makes every port look tight: 2 inHg held of 2 inHg.
    """
    if air_kpa is not None and pad_kpa > air_kpa * (1 + WEATHER):
        return "the blanked pad reads more than the air there is: check the gauge"
    if pad_kpa < PUMP * (THINNEST_KPA if air_kpa is None else air_kpa):
        return "the blanked pad reads too little of the day's air: mend pump or hose, test again"
    return None


def _at_bench(barometer_kpa: float, altitude_m: float | None) -> AirPressure:
    """What somebody calls the air at the bench, unless it cannot be at that altitude."""
    here = None if altitude_m is None else standard_pressure_kpa(altitude_m)
    if barometer_kpa < THINNEST_KPA or (here and abs(barometer_kpa / here - 1) > BENCH):
        where = "any bench" if altitude_m is None else quantity_text(altitude_m, "m")
        asked = f"{_kpa(barometer_kpa)} is not the air at {where}: check figure and altitude"
        return AirPressure(None, None, asked)
    return _measured(barometer_kpa)


def _kpa(kpa: float) -> str:
    return f"{number_text(kpa)} kPa"


def _reduced(barometer_kpa: float, altitude_m: float | None) -> AirPressure:
    if not _is_near(barometer_kpa, SEA_LEVEL):
        asked = f"{_kpa(barometer_kpa)} is no weather report's pressure: check the figure"
        return AirPressure(None, None, asked)
    if altitude_m is None:
        return AirPressure(None, None, "a weather report needs the altitude of the bench: write it")
    share = standard_pressure_kpa(altitude_m) / SEA_LEVEL
    return AirPressure(barometer_kpa * share, "weather report, reduced to the bench", None)


def _told_apart(barometer_kpa: float, altitude_m: float | None) -> AirPressure:
    """Which of the two a figure is, where it shows by itself."""
    shown, is_weather = _kpa(barometer_kpa), _is_near(barometer_kpa, SEA_LEVEL)
    if altitude_m is None:
        # at sea level station and weather report are one; anywhere higher they are not
        asked = f"{shown}: at the bench, or from a weather report? Write the altitude"
        return AirPressure(None, None, asked) if is_weather else _at_bench(barometer_kpa, None)
    here = standard_pressure_kpa(altitude_m)
    share, is_station = here / SEA_LEVEL, _is_near(barometer_kpa, here)
    if is_station and (not is_weather or share > 1 - WEATHER):
        return _measured(barometer_kpa)
    if is_weather and not is_station:
        return _reduced(barometer_kpa, altitude_m)
    at = f"{shown} at {quantity_text(altitude_m, 'm')}"
    asked = (
        f"{at} may be the air at the bench or a weather report: write which"
        if is_weather
        else f"{at} is neither the air there nor a weather report's: check the figure and the "
        f"altitude"
    )
    return AirPressure(None, None, asked)


def _measured(kpa: float) -> AirPressure:
    return AirPressure(kpa, "measured", None)


def _is_near(kpa: float, standard: float) -> bool:
    return abs(kpa / standard - 1) <= WEATHER
