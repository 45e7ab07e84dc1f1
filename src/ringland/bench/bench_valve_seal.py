"""The valve-seal vacuum test: how much of the vacuum a port holds.

The most a gauge can show is the pressure of the day, so a good head at altitude shows
less than at sea level.  What is judged is therefore a ratio, never the reading itself.
"""

from __future__ import annotations

from ringland.bench.air_pressure import pad_question
from ringland.bench.bench_possible import is_number
from ringland.bench.bench_verdicts import (
    CANNOT_BE,
    FAIL,
    LAP_AND_RETEST,
    PASS,
    Reading,
    Verdict,
    cannot_judge,
    held_against,
)
from ringland.settings.assumptions import Assumption, Assumptions
from ringland.units import STANDARD_PRESSURE_KPA, in_unit
from ringland.words.number_words import number_text


def judge_valve_seal(reading: Reading, limits: Assumptions) -> Verdict:
    """Vacuum as seal ratio: over the same day's blanked pad, else over station pressure.

    Common practice speaks of sea-level figures; they are turned
    into ratios by the sea-level pressure.
    """
    value, pad, station = (
        reading["standard_value"],
        reading["standard_reference"],
        reading["station_kpa"],
    )
    if station is not None and not is_number(reading, "station_kpa"):
        return Verdict(CANNOT_BE, "no air has this pressure: check the barometer's reading")
    is_measured = reading["station_source"] == "measured"
    slack = limits.number(
        "valve_seal_vacuum.over_barometer" if is_measured else "valve_seal_vacuum.over_standard"
    )
    for name, vacuum in (("reading", value), ("blanked-pad reading", pad)):
        if vacuum is not None and station is not None and vacuum > station * (1 + slack):
            return Verdict(
                CANNOT_BE,
                f"{name} of {number_text(_inhg(vacuum), 2)} inHg is above the barometer "
                f"({number_text(_inhg(station), 2)} inHg, {reading['station_source']})",
                vacuum / station,
                "seal ratio",
            )
    if pad is not None and (refused := _refused_pad(reading, limits)):
        return refused
    ceiling = pad if pad is not None else station
    if ceiling is None:
        return cannot_judge("no blanked-pad reading, no barometer and no altitude")
    return _seal_verdict(reading, value / ceiling, ceiling, limits)


def _refused_pad(reading: Reading, limits: Assumptions) -> Verdict | None:
    """Why a port cannot be held against this blanked pad; None: it can."""
    value, pad = reading["standard_value"], reading["standard_reference"]
    if not is_number(reading, "standard_reference"):
        return Verdict(CANNOT_BE, "a blanked pad without vacuum cannot be: check pump and gauge")
    if value > pad * (1 + limits.number("valve_seal_vacuum.over_pad")):
        return Verdict(
            CANNOT_BE,
            f"the port reads {number_text(_inhg(value), 2)} inHg, more than the blanked "
            f"pad's {number_text(_inhg(pad), 2)}",
            value / pad,
            "seal ratio",
        )
    asked = pad_question(pad, reading["station_kpa"])
    return cannot_judge(asked) if asked else None


def _seal_verdict(reading: Reading, ratio: float, ceiling: float, limits: Assumptions) -> Verdict:
    accept, retest = limits["valve_seal_vacuum.accept"], limits["valve_seal_vacuum.retest"]
    mark = limits["valve_seal_vacuum.not_enough_to_inhg"]
    shop = Assumption(
        mark.name, mark.value / _inhg(STANDARD_PRESSURE_KPA), "ratio", mark.mark, mark.source
    )
    against = (
        f"the blanked pad's {number_text(_inhg(ceiling), 2)} inHg"
        if reading["standard_reference"] is not None
        else f"a ceiling of {number_text(_inhg(ceiling), 2)} inHg ({reading['station_source']})"
    )
    said = (
        f"seal ratio {number_text(ratio, 3)} against {against}; as at sea level "
        f"{number_text(ratio * _inhg(STANDARD_PRESSURE_KPA))} inHg"
    )
    line = max(accept, shop, key=lambda limit: limit.value)
    # a reading of exactly the shop's 28 is "not enough"; 1e-9 is the rounding of the units
    if ratio >= line.value and ratio > shop.value * (1 + 1e-9):
        return held_against(PASS, said, ratio, "seal ratio", line)
    if ratio < retest.value:
        return held_against(FAIL, said, ratio, "seal ratio", retest)
    if ratio >= accept.value:
        said += (
            f"; reaches the {number_text(accept.value, 2)} limit but not the shop's good mark: "
            f"25 to {number_text(mark.value, 0)} at sea level is not enough (common practice)"
        )
        return held_against(LAP_AND_RETEST, said, ratio, "seal ratio", shop)
    return held_against(LAP_AND_RETEST, said, ratio, "seal ratio", accept)


def _inhg(kpa: float) -> float:
    return in_unit(kpa, "kPa", "inHg")
