"""Each bench reading judged against its limit: raw value kept, judged value beside it.

A state is never turned into a number: "stated ok" and "not looked at" stay what they are
and give "cannot judge".  Readings in a unit the measure cannot have are not guessed at.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import polars as pl

from ringland.bench import bench_rises as rises
from ringland.bench import bench_verdicts as verdicts
from ringland.bench.bench_limits import default_bench_limits
from ringland.bench.bench_possible import why_it_cannot_be, with_dead_gauges
from ringland.bench.bench_valve_seal import judge_valve_seal
from ringland.bench.bench_verdicts import Reading, Verdict, cannot_judge
from ringland.settings.assumptions import Assumptions
from ringland.units import UnitError, in_unit

STANDARD_UNITS = {
    "compression": "kPa",
    "leak_down": "%",
    "valve_seal_vacuum": "kPa",
    "ring_end_gap": "mm",
    "bore_taper": "mm",
    "bore_out_of_round": "mm",
    "bearing_clearance": "mm",
    "deck_flatness": "mm",
    "oil_iron": "ppm",
    "oil_aluminium": "ppm",
    "oil_silicon": "ppm",
    "crankcase_pressure": "kPa",
    "hull_oil": "ml",
}
"""The unit each measure is judged in."""

_JUDGES: dict[str, Callable[[Reading, Assumptions], Verdict]] = {
    "compression": verdicts.judge_compression,
    "leak_down": verdicts.judge_leak_down,
    "valve_seal_vacuum": judge_valve_seal,
    "ring_end_gap": verdicts.judge_ring_gap,
    "bore_taper": verdicts.judge_at_most,
    "bore_out_of_round": verdicts.judge_at_most,
    "bearing_clearance": verdicts.judge_bearing,
    "deck_flatness": verdicts.judge_deck,
    "oil_iron": rises.judge_oil_metal,
    "oil_aluminium": rises.judge_oil_metal,
    "oil_silicon": rises.judge_oil_metal,
    "crankcase_pressure": rises.judge_crankcase,
    "hull_oil": verdicts.judge_at_most,
}

NO_SUPPLY = (
    "the pressure held without the supply it was fed with: write the supply gauge's reading "
    "beside it, or the leak in %"
)

_RANKED = ["oil_iron", "oil_aluminium", "oil_silicon", "crankcase_pressure"]
_KEY = ["engine_id", "inspected_at", "measure", "cylinder", "port"]


def judge_bench_tests(
    inspections: pl.DataFrame,
    engines: pl.DataFrame,
    station: pl.DataFrame,
    limits: Assumptions | None = None,
) -> pl.DataFrame:
    """One row per inspection row, judged: the frame of `tables.BenchVerdicts`.

    Args:
        inspections: rows of the Inspections contract.
        engines: rows of the Engines contract: induction, bore, journal, maker's figure.
            An engine not among them is judged without what they would tell.
        station: from `bench_station.station_pressures`.
        limits: default: the project's own, `default_bench_limits()`.
    """
    limits = limits or default_bench_limits()
    rows = _with_neighbours(with_dead_gauges(_in_standard_units(inspections, limits)), limits)
    rows = rows.join(
        engines.select("engine_id", "induction", "bore_mm", "journal_mm", "book_compression_kpa"),
        on="engine_id",
        how="left",
    ).join(station, on=["engine_id", "inspected_at"], how="left")
    judged = [_judge(row, limits) for row in rows.iter_rows(named=True)]
    frame = pl.DataFrame(
        [vars(verdict) for verdict in judged],
        schema={
            "verdict": pl.String,
            "reason": pl.String,
            "judged_value": pl.Float64,
            "judged_unit": pl.String,
            "limit": pl.Float64,
            "is_limit_least": pl.Boolean,
            "mark": pl.String,
            "asks": pl.String,
        },
    )
    return (
        rows.select(
            *_KEY,
            "state",
            "value",
            "unit",
            "standard_value",
            "standard_unit",
            "station_kpa",
            "station_source",
            "rebuilt_at",
            "signed_by",
            "accepted_because",
        )
        .hstack(frame)
        .sort(_KEY, nulls_last=True)
    )


def _judge(row: Reading, limits: Assumptions) -> Verdict:
    """The verdict, with what has to be asked about its air."""
    verdict = _judged(row, limits)
    question = row["station_question"]
    is_sealed = row["measure"] == "valve_seal_vacuum" and row["reference_value"] is None
    is_against_air = is_sealed or verdict.judged_unit == "of maker's figure"
    if question is None or not is_against_air or row["state"] != "measured":
        return verdict
    return replace(verdict, reason=f"{verdict.reason}; {question}", asks=question)


def _judged(row: Reading, limits: Assumptions) -> Verdict:
    if row["state"] == "not_looked_at":
        return cannot_judge("not looked at")
    if row["state"] == "stated_ok":
        return cannot_judge("stated ok, without a number")
    if row["cannot_be"] is not None:
        return Verdict(verdicts.CANNOT_BE, row["cannot_be"])
    if row["asks"] is not None:
        return replace(cannot_judge(row["asks"]), asks=row["asks"])
    if row["standard_value"] is None:
        return cannot_judge(
            f"unit '{row['unit']}' is no unit of {row['measure'].replace('_', ' ')}"
        )
    return _JUDGES[row["measure"]](row, limits)


def _in_standard_units(inspections: pl.DataFrame, limits: Assumptions) -> pl.DataFrame:
    """Add standard_value, standard_reference, cannot_be and standard_unit; null where none is."""
    converted = [_converted(row, limits) for row in inspections.iter_rows(named=True)]
    return inspections.with_columns(
        pl.Series("standard_value", [row[0] for row in converted], pl.Float64),
        pl.Series("standard_reference", [row[1] for row in converted], pl.Float64),
        pl.Series("cannot_be", [row[2] for row in converted], pl.String),
        pl.Series("asks", [row[3] for row in converted], pl.String),
        standard_unit=pl.col("measure").replace_strict(STANDARD_UNITS, return_dtype=pl.String),
    )


_Converted = tuple[float | None, float | None, str | None, str | None]


def _converted(row: Reading, limits: Assumptions) -> _Converted:
    """Value and reference in the standard unit, why the reading cannot be, and what it asks.

    A leak-down in pressure becomes percent, of the supply that was written beside it: testers
    are fed with 45 to 100 psi, so none is assumed.
    """
    if row["state"] != "measured":
        return None, None, None, None
    measure, unit, reference = row["measure"], row["unit"], row["reference_value"]
    wanted, supply = STANDARD_UNITS[measure], None
    try:
        if measure == "leak_down" and unit not in ("%", "percent"):
            reading = in_unit(row["value"], unit, "kPa")
            if reference is None:
                return None, None, None, NO_SUPPLY
            supply = in_unit(reference, unit, "kPa")
            value = verdicts.leak_percent(reading, supply) if supply > 0 else None
            reference = supply
        else:
            value = in_unit(row["value"], unit, wanted)
            reference = None if reference is None else in_unit(reference, unit, wanted)
    except UnitError:
        return None, None, None, None
    why = why_it_cannot_be(measure, 0.0 if value is None else value, supply, limits)
    if value is None or not math.isfinite(value):
        value = None
    return value, reference, why, None


def _with_neighbours(rows: pl.DataFrame, limits: Assumptions) -> pl.DataFrame:
    """Add the other cylinders of the test, the engine's own past, the fleet's past."""
    test = ["engine_id", "inspected_at", "measure"]
    value = pl.when(pl.col("cannot_be").is_null()).then(pl.col("standard_value"))
    rows = rows.with_columns(
        group_highest=value.max().over(test),
        group_lowest=value.min().over(test),
        group_size=value.count().over(test),
    )
    ranked = rows.filter(pl.col("measure").is_in(_RANKED) & value.is_not_null())
    least_fleet = limits.number("oil_metals.least_fleet")
    pasts = []
    for part in ranked.sort("inspected_at").partition_by("measure", maintain_order=True):
        at, values = part["inspected_at"].to_numpy(), part["standard_value"].to_numpy()
        engine, is_usual = part["engine_id"].to_numpy(), np.ones(part.height, dtype=bool)
        for row, key in enumerate(part.select(test).iter_rows(named=True)):
            before = at < at[row]
            own = values[before & (engine == engine[row]) & is_usual]
            others = values[before & (engine != engine[row])]
            middle = float(np.median(own)) if len(own) else 0.0
            past = {
                "own_rise": float(values[row]) / middle if middle else None,
                "fleet_rank": float((others < values[row]).mean())
                if len(others) >= least_fleet
                else None,
            }
            # a reading that failed is not what the next one is to be usual beside
            is_usual[row] = not rises.has_risen(
                {"measure": key["measure"], "standard_value": values[row], **past}, limits
            )
            pasts.append(key | past)
    past_frame = pl.DataFrame(
        pasts,
        schema={
            **{key: rows.schema[key] for key in test},
            "own_rise": pl.Float64,
            "fleet_rank": pl.Float64,
        },
    ).unique(test, keep="first", maintain_order=True)
    return rows.join(past_frame, on=test, how="left", maintain_order="left")
