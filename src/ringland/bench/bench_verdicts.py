"""What one bench reading is worth against its limit, measure by measure.

Each function takes one reading in the measure's standard unit with what its judgement
needs beside it, and returns a verdict.  Nothing here reads a table of records: that is
`bench_tests`.  A limit always travels with its mark.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ringland.bench.bench_possible import is_number
from ringland.settings.assumptions import Assumption, Assumptions
from ringland.units import STANDARD_PRESSURE_KPA
from ringland.words.number_words import (
    exact_text,
    figure_text,
    number_text,
    quantity_text,
    share_text,
)

PASS = "pass"  # noqa: S105  # a verdict, not a password
FAIL = "fail"
LAP_AND_RETEST = "lap and retest"
CANNOT_BE = "cannot be"
"""No engine gives it and no instrument shows it: neither good nor bad is known by it."""
CANNOT_JUDGE = "cannot judge"

Reading = Mapping[str, Any]
_LEAST_UNITS = {"of highest", "of maker's figure", "seal ratio", "mm"}
"""Judged units whose limit is the least, unless the judge says otherwise."""


@dataclass(frozen=True)
class Verdict:
    """A judged value with its unit, the limit it was held against, and the outcome."""

    verdict: str
    reason: str
    judged_value: float | None = None
    judged_unit: str | None = None
    limit: float | None = None
    is_limit_least: bool | None = None
    """True: the judged value must reach the limit; False: it must not pass it."""
    mark: str | None = None
    asks: str | None = None
    """What has to be written before it is sure; None: nothing."""


def cannot_judge(reason: str) -> Verdict:
    """No verdict, and why."""
    return Verdict(CANNOT_JUDGE, reason)


def leak_percent(reading_kpa: float, supply_kpa: float) -> float:
    """Leak in percent from a differential tester: (supply - reading) / supply x 100.

    Aircraft practice (advisory circular 43.13-1B, chapter 8) writes it as reading over
    supply, e.g. 60/80 psi, which is a leak of 25 %.
    """
    return 100 * (1 - reading_kpa / supply_kpa)


def judge_compression(reading: Reading, limits: Assumptions) -> Verdict:
    """Compression against the highest cylinder, and against the maker's figure if known.

    Altitude: expected = sea-level figure x station pressure / sea-level pressure (the
    pressure ratio; the density ratio that some tables use gives a little more).
    """
    value, highest = reading["standard_value"], reading["group_highest"]
    expected = reading["book_compression_kpa"]
    if expected and is_number(reading, "station_kpa"):
        factor = reading["station_kpa"] / STANDARD_PRESSURE_KPA
        least = limits["compression.least_of_maker"]
        share = value / (expected * factor)
        if share < least.value:
            return held_against(
                FAIL,
                f"{share_text(share)} of the maker's {quantity_text(expected, 'kPa')} times "
                f"{number_text(factor, 3)} "
                f"(station over sea-level pressure), below {share_text(least.value)}",
                share,
                "of maker's figure",
                least,
            )
    if reading["group_size"] < 2:
        return cannot_judge("one cylinder only: nothing to compare it with")
    least = limits["compression.least_highest"]
    if highest < least.value:
        return held_against(
            FAIL,
            f"even the highest cylinder shows {quantity_text(highest, 'kPa')}, below "
            f"{quantity_text(least.value, 'kPa')}; {_compression_care(reading)}",
            highest,
            "kPa",
            least,
            is_least=True,
        )
    spread = limits["compression.spread"]
    share = value / highest
    line = Assumption(spread.name, 1 - spread.value, "share", spread.mark, spread.source)
    if share >= line.value:
        return held_against(
            PASS,
            f"{share_text(share)} of the highest cylinder; {_compression_care(reading)}",
            share,
            "of highest",
            line,
        )
    return held_against(
        FAIL,
        f"{share_text(share)} of the highest cylinder, general practice asks "
        f"{share_text(line.value)}; "
        f"{_book_rule(value, share, limits)}; {_compression_care(reading)}",
        share,
        "of highest",
        line,
    )


def _book_rule(value: float, share: float, limits: Assumptions) -> str:
    number = limits.number
    if share >= number("compression.book_lowest"):
        return (
            f"inside the book's {share_text(number('compression.book_lowest'))}: retest "
            f"before opening"
        )
    if share >= number("compression.book_lowest_if_strong") and value >= number(
        "compression.book_strong_kpa"
    ):
        return (
            f"below one book's {share_text(number('compression.book_lowest'))}, inside another's "
            f"{share_text(number('compression.book_lowest_if_strong'))} with 100 psi"
        )
    return f"below the book's {share_text(number('compression.book_lowest'))} too"


def _compression_care(reading: Reading) -> str:
    warm = {True: "tested warm", False: "tested cold", None: "warm or cold not noted"}
    return f"{warm[reading['is_warm']]}; good compression does not clear a cracked land"


def differential_orifice_in(bore_mm: float, limits: Assumptions) -> float:
    """Orifice of the differential tester in inches, by bore, as aircraft practice has it."""
    is_small = bore_mm < limits.number("leak_down.orifice_bore")
    return limits.number("leak_down.orifice_below" if is_small else "leak_down.orifice_from")


def _tester(reading: Reading, limits: Assumptions) -> str:
    if not is_number(reading, "bore_mm"):
        return "compare only readings of one tester"
    orifice = differential_orifice_in(reading["bore_mm"], limits)
    return (
        f"compare only readings of one tester (orifice {number_text(orifice, 3)} in for this bore)"
    )


def judge_leak_down(reading: Reading, limits: Assumptions) -> Verdict:
    """Leak in percent against the general bands and against the best cylinder."""
    value, best = reading["standard_value"], reading["group_lowest"]
    weak, worn = limits["leak_down.weak_from"], limits["leak_down.worn_from"]
    apart = limits["leak_down.within_points"]
    if value >= worn.value:
        said = f"{number_text(value)} % leak: worn out"
        if value > limits.number("leak_down.aircraft_floor"):
            said += ", below 60 over 80 as well (aircraft practice, a convention to borrow)"
        return held_against(FAIL, f"{said}; {_tester(reading, limits)}", value, "%", worn)
    if value > weak.value:
        return held_against(
            FAIL,
            f"{number_text(value)} % leak: weak; another text accepts 10 to 15 %",
            value,
            "%",
            weak,
        )
    if value - best > apart.value:
        return held_against(
            FAIL,
            f"{number_text(value)} % leak, {number_text(value - best)} points over the best "
            f"cylinder",
            value - best,
            "points over best",
            apart,
        )
    good = "good" if value <= limits.number("leak_down.good_to") else "between good and weak"
    return held_against(PASS, f"{number_text(value)} % leak: {good}", value, "%", weak)


def judge_ring_gap(reading: Reading, limits: Assumptions) -> Verdict:
    """Ring end gap between the least for the induction and the widest for wear."""
    if not is_number(reading, "bore_mm"):
        return cannot_judge("bore of the engine not on record")
    boosted = reading["induction"] != "naturally_aspirated"
    least = limits["ring_end_gap.boosted_share" if boosted else "ring_end_gap.plain_share"]
    return _between(
        reading["standard_value"],
        _scaled(least, reading["bore_mm"]),
        _scaled(limits["ring_end_gap.widest_share"], reading["bore_mm"]),
        "ends may butt when hot",
        "worn ring or bore",
    )


def judge_bearing(reading: Reading, limits: Assumptions) -> Verdict:
    """Bearing clearance between half and one and a half times the usual."""
    if not is_number(reading, "journal_mm"):
        return cannot_judge("journal of the engine not on record")
    return _between(
        reading["standard_value"],
        _scaled(limits["bearing_clearance.least_share"], reading["journal_mm"]),
        _scaled(limits["bearing_clearance.widest_share"], reading["journal_mm"]),
        "too tight",
        "worn",
    )


def _between(value: float, low: Assumption, high: Assumption, tight: str, wide: str) -> Verdict:
    if value < low.value:
        return held_against(
            FAIL,
            f"{quantity_text(value, 'mm', 3)}, less than "
            f"{quantity_text(low.value, 'mm', 3)}: {tight}",
            value,
            "mm",
            low,
        )
    if value > high.value:
        return held_against(
            FAIL,
            f"{quantity_text(value, 'mm', 3)}, more than "
            f"{quantity_text(high.value, 'mm', 3)}: {wide}",
            value,
            "mm",
            high,
            is_least=False,
        )
    return held_against(
        PASS,
        f"{quantity_text(value, 'mm', 3)}, between {figure_text(low.value, 'mm', 3)} and "
        f"{quantity_text(high.value, 'mm', 3)}",
        value,
        "mm",
        low,
    )


def _scaled(limit: Assumption, size: float) -> Assumption:
    return Assumption(limit.name, limit.value * size, "mm", limit.mark, limit.source)


def judge_deck(reading: Reading, limits: Assumptions) -> Verdict:
    """Deck flatness against the limit for the induction."""
    boosted = reading["induction"] != "naturally_aspirated"
    name = "deck_flatness.boosted_limit" if boosted else "deck_flatness.plain_limit"
    return _at_most(reading, limits[name], "mm")


def judge_at_most(reading: Reading, limits: Assumptions) -> Verdict:
    """A measure with one upper limit: bore taper, out of round, oil in the hull."""
    limit = limits[f"{reading['measure']}.limit"]
    return _at_most(reading, limit, limit.unit)


def _at_most(reading: Reading, limit: Assumption, unit: str) -> Verdict:
    value = reading["standard_value"]
    outcome = PASS if value <= limit.value else FAIL
    return held_against(
        outcome,
        f"{exact_text(value, unit)}, limit {exact_text(limit.value, unit)}",
        value,
        unit,
        limit,
        is_least=False,
    )


def held_against(
    outcome: str,
    reason: str,
    judged: float,
    unit: str,
    limit: Assumption,
    *,
    is_least: bool | None = None,
) -> Verdict:
    """The verdict of a value held against a limit, with the limit's mark."""
    least = is_least if is_least is not None else unit in _LEAST_UNITS
    return Verdict(outcome, reason, judged, unit, limit.value, least, limit.mark)
