"""One good and one bad engine, read at every height, in every unit, with every supply.

Heights and pressures: U.S. Standard Atmosphere 1976.  Units: NIST Special Publication 811,
appendix B (inHg and mmHg conventional, torr, psi, kgf/cm2).  The good port holds 97 %, the
bad one 85 % of the vacuum there is; the invented book asks 28 inHg as at sea level, 93.6 %.
"""

from typing import Any

import pytest

from ringland.bench.air_pressure import air_pressure
from ringland.bench.build_checks import build_checks
from ringland.bench.build_lines import BuildLine, BuildTime, Limit, build_line
from ringland.units import standard_pressure_kpa
from tests.bench.build_rows import AS_OF, FAILED, good_row

HEIGHTS_KPA = {0.0: 101.325, 500.0: 95.461, 1500.0: 84.560, 3000.0: 70.121}
"""Standard atmosphere 1976, table I, by geometric metres."""
KPA_PER = {
    "inHg": 3.386389, "kPa": 1.0, "mbar": 0.1, "hPa": 0.1, "mmHg": 0.1333224, "torr": 0.1333224,
    "psi": 6.894757, "bar": 100.0, "kg/cm2": 98.0665,
}  # fmt: skip
"""NIST SP 811, appendix B.8."""
VACUUM = Limit(28.0, None, "inHg", "book, page 9", "R. Vane")


def line(check: str, limit: Limit, altitude_m: float | None, **changed: Any) -> BuildLine:
    asked = build_checks()[check]
    row = good_row(asked, "1") | {"barometer_kpa": None, "barometer_is": None} | changed
    return build_line(asked, "1", row, limit, BuildTime(FAILED, AS_OF, altitude_m))


@pytest.mark.parametrize("altitude_m", HEIGHTS_KPA)
@pytest.mark.parametrize("unit", ["inHg", "kPa", "mbar", "hPa", "mmHg", "torr"])
@pytest.mark.parametrize("told", ["pad", "altitude", "station", "weather"])
def test_a_good_port_passes_and_a_bad_one_does_not(altitude_m: float, unit: str, told: str) -> None:
    here = HEIGHTS_KPA[altitude_m]
    beside: dict[str, Any] = {
        "pad": {"reference_value": round(0.99 * here / KPA_PER[unit], 2)},
        "altitude": {},
        "station": {"barometer_kpa": round(here, 1), "barometer_is": "station"},
        "weather": {"barometer_kpa": 101.3, "barometer_is": "sea_level"},
    }[told]
    for holds, verdict in ((0.97, "pass"), (0.85, "out of limit")):
        read = line(
            "valve_vacuum",
            VACUUM,
            altitude_m,
            value=round(holds * here / KPA_PER[unit], 2),
            unit=unit,
            **beside,
        )
        assert read.verdict == verdict, (read.reason, holds)


@pytest.mark.parametrize("altitude_m", [1500.0, 3000.0])
def test_a_weather_reports_pressure_up_high_is_told_by_itself(altitude_m: float) -> None:
    """A weather report's pressure at 1,500 m made a good head fail."""
    here = HEIGHTS_KPA[altitude_m]
    for barometer in (101.3, round(here, 1)):
        good = line("valve_vacuum", VACUUM, altitude_m, value=0.97 * here, unit="kPa",
                    barometer_kpa=barometer)  # fmt: skip
        assert good.verdict == "pass", good.reason
        bad = line("valve_vacuum", VACUUM, altitude_m, value=0.85 * here, unit="kPa",
                   barometer_kpa=barometer)  # fmt: skip
        assert bad.verdict == "out of limit"


def test_where_station_and_weather_cannot_be_told_apart_it_is_asked() -> None:
    told = air_pressure(98.0, 500.0)
    assert told.kpa is None
    assert "write which" in str(told.question)
    unplaced = line("valve_vacuum", VACUUM, None, value=98.0, unit="kPa", barometer_kpa=101.3)
    assert unplaced.verdict == "cannot be judged"
    assert "Write the altitude" in unplaced.reason
    assert air_pressure(98.0, 500.0, "station").kpa == 98.0
    assert air_pressure(None, None).question is not None


def test_a_figure_that_is_no_air_at_all_is_asked_about() -> None:
    assert "neither" in str(air_pressure(60.0, 0.0).question)


def test_more_vacuum_than_there_is_air_cannot_be() -> None:
    read = line("valve_vacuum", VACUUM, 1500.0, value=29.5, unit="inHg")
    assert read.verdict == "cannot be"


@pytest.mark.parametrize("unit", ["psi", "kPa", "bar", "kg/cm2"])
@pytest.mark.parametrize("altitude_m", HEIGHTS_KPA)
def test_compression_in_any_unit_at_any_height(unit: str, altitude_m: float) -> None:
    """The maker's 160 psi at sea level: 165 psi of it pass anywhere, 150 nowhere."""
    book = Limit(160.0, None, "psi", "book, page 3", "R. Vane")
    share = HEIGHTS_KPA[altitude_m] / HEIGHTS_KPA[0.0]
    for psi, verdict in ((165.0, "pass"), (150.0, "out of limit")):
        value = psi * KPA_PER["psi"] * share / KPA_PER[unit]
        read = line("compression", book, altitude_m, value=value, unit=unit)
        assert read.verdict == verdict, read.reason


def test_a_compression_in_the_wrong_unit_cannot_be() -> None:
    book = Limit(160.0, None, "psi", "book, page 3", "R. Vane")
    assert line("compression", book, 0.0, value=165.0, unit="bar").verdict == "cannot be"
    assert line("compression", book, 0.0, value=165.0, unit="kPa").verdict == "out of limit"
    assert line("compression", book, 0.0, value=12.0, unit="kPa").verdict == "cannot be"


LEAK = Limit(None, 8.0, "%", "book, page 4", "R. Vane")


@pytest.mark.parametrize(
    ("supply", "unit"),
    [(80, "psi"), (100, "psi"), (45, "psi"), (5.5, "bar"), (700, "kPa"), (6.0, "kg/cm2")],
)
def test_a_leak_down_with_any_supply(supply: float, unit: str) -> None:
    """Supply less what is held, over supply (advisory circular 43.13-1B, chapter 8)."""
    for leak, verdict in ((0.05, "pass"), (0.12, "out of limit")):
        read = line("leak_down", LEAK, 0.0, value=supply * (1 - leak), unit=unit,
                    reference_value=supply)  # fmt: skip
        assert read.verdict == verdict, read.reason


def test_a_leak_down_of_nothing_passes_no_line() -> None:
    for value, unit, supply in ((0.0, "%", None), (80.0, "psi", 80.0)):
        read = line("leak_down", LEAK, 0.0, value=value, unit=unit, reference_value=supply)
        assert read.verdict == "cannot be", (value, unit)
        assert "every ring gap leaks a little" in read.reason


def test_a_leak_down_without_its_supply_is_asked_for_it() -> None:
    """It assumed a supply when none was written."""
    read = line("leak_down", LEAK, 0.0, value=76.0, unit="psi", reference_value=None)
    assert read.verdict == "cannot be judged"
    assert "write the supply gauge's reading" in read.reason
    for supply in (0.0, -80.0):
        dead = line("leak_down", LEAK, 0.0, value=0.0, unit="psi", reference_value=supply)
        assert dead.verdict == "cannot be"


def test_more_held_than_supplied_cannot_be() -> None:
    read = line("leak_down", LEAK, 0.0, value=90.0, unit="psi", reference_value=80.0)
    assert read.verdict == "cannot be"


def test_the_table_of_heights_is_the_units_rooms_own() -> None:
    for altitude_m, kpa in HEIGHTS_KPA.items():
        # the published table is given to five figures
        assert standard_pressure_kpa(altitude_m) == pytest.approx(kpa, rel=2e-5)
