"""What the record says of a failure: exposure before it, beside the rest of the fleet.

The failed piston set's last engine hours are held against what the other sets had been
through at the same hours of their lives, by the time it failed: a report on an old failure
does not turn because other engines ran on.  That is the second line of evidence.  It is set
beside the findings, never mixed into their chances; where the two disagree, it is said.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from ringland.causes.fleet_record import FleetRecord
from ringland.exposure.exposure_spells import covariates_now
from ringland.settings.assumptions import Assumptions
from ringland.survival.hazard.hazard_effects import FactorEffect
from ringland.words.number_words import number_text, share_text

FACTORS = (
    "shortfall_25h_on",
    "fuel_age_25h_d",
    "full_throttle_25h",
    "is_raised_calibration",
    "is_forged",
    "age_h",
)
"""What the record is asked, in the order shown; `age_h` is the set's own hours."""

_COMPARED = [factor for factor in FACTORS if factor != "age_h"]

_BOUNDS = {"shortfall_25h_on": ("shortfall_25h_low_on", "shortfall_25h_high_on")}


@dataclass(frozen=True)
class CalibrationThen:
    """What calibration was in force over the last hours before a failure."""

    at_end: str | None
    """class of the calibration at the failure; None: not on record"""
    raised_share: float
    """share of these hours with a raised one on record"""
    unknown_share: float
    """share of these hours with none on record"""
    short_of_stock_on: tuple[float, float] | None
    """by how much the fuel then burned fell short of the stock need, at its best and at its worst;
    None: no raised calibration ran, or the fuel is not on record"""
    stock_need_aki: float


@dataclass(frozen=True)
class CauseRecord:
    """The record before one failure."""

    piston_set_id: str | None
    failed_h: float | None
    """Engine hours of the set at the failure."""
    compared: int
    """Other sets seen at the same hours."""
    factors: pl.DataFrame
    """factor, value, low, high, fleet_middle, percentile, hazard_ratio, hazard_low, hazard_high,
    share: value with its bounds over what the fuel record leaves open; percentile (0 to 1)
    among the others, ties in half; hazard ratio against the fleet's middle with its
    interval; share of the sum of absolute log hazard ratios"""
    known_share: float | None
    """Share of the litres burned in these hours whose octane is on record."""
    gaps: tuple[str, ...]
    calibration: CalibrationThen | None = None
    """None: no rental on record."""


def record_before_failure(
    life: Mapping[str, Any] | None,
    fleet: FleetRecord,
    effects: Sequence[FactorEffect],
    assumptions: Assumptions,
) -> CauseRecord:
    """The exposure of one failed piston set over its last hours, against the fleet.

    Args:
        life: its `PistonLives` row; None where the failure belongs to no set on record.
        fleet: the lives and rentals of all.
        effects: hazard ratios per step of each factor; empty where no fit exists.
        assumptions: exposure.trailing_h, record.compared_sets.
    """
    if life is None:
        return _nothing("The failure belongs to no piston set on record.")
    set_id, hour = str(life["piston_set_id"]), float(life["exit_h"])
    own = fleet.of_set(set_id)
    if own.is_empty():
        return _nothing("No rental of this piston set is on record.", set_id, hour)
    trailing_h, until = assumptions.number("exposure.trailing_h"), _last(own["ended_at"])
    by_then = (
        fleet.lives.filter(pl.col("piston_set_id") != set_id)
        .join(fleet.running.reached(until), on="piston_set_id", how="inner", maintain_order="left")
        .with_columns(reached_h=pl.min_horizontal("exit_h", "reached_h"))
    )
    others = by_then.filter(
        (pl.col("entry_h") <= max(0.0, hour - trailing_h))  # seen over all of these hours
        & (pl.col("reached_h") >= hour)
    )
    seen = fleet.running.at_hour(hour, until).join(
        others.select("piston_set_id", is_forged=pl.col("piston_type") == "forged"),
        on="piston_set_id",
    )
    # the failed set, with its bounds, and the sets that ran nothing in these hours
    rest_ids = set(others["piston_set_id"]) - set(seen["piston_set_id"])
    one_by_one = fleet.lives.filter(
        pl.col("piston_set_id").is_in([set_id, *rest_ids])
    ).with_columns(state=pl.lit("running"), exit_h=pl.lit(hour))
    rentals = fleet.of_their_hulls(one_by_one["piston_set_id"], until)
    covariates = covariates_now(rentals, one_by_one, assumptions)
    mine = covariates.filter(pl.col("piston_set_id") == set_id).row(0, named=True)
    rest = pl.concat(
        [
            seen.select(_COMPARED),
            covariates.filter(pl.col("piston_set_id") != set_id).select(_COMPARED),
        ],
        how="vertical_relaxed",
    ).cast(pl.Float64)
    mine |= {name: float(mine[name]) for name in _COMPARED}
    mine["age_h"] = hour
    last = own.filter(pl.col("set_h_stop") > hour - trailing_h)
    calibration = _calibration_then(own, last, assumptions)
    if calibration.at_end is None:
        mine["is_raised_calibration"] = None
    mine["shortfall_25h_low_on"] *= _known_need_share(last)
    ages = by_then["reached_h"].drop_nulls().to_numpy()
    enough = rest.height >= assumptions.number("record.compared_sets")
    rows = [
        _factor_row(
            factor, mine, ages if factor == "age_h" else rest[factor].to_numpy(), enough, effects
        )
        for factor in FACTORS
    ]
    total = sum(abs(row["log_hazard"] or 0.0) for row in rows)
    for row in rows:
        log_hazard = row.pop("log_hazard")
        row["share"] = abs(log_hazard) / total if log_hazard is not None and total else None
    return CauseRecord(
        set_id,
        hour,
        rest.height,
        pl.DataFrame(rows, schema=_SCHEMA),
        mine["known_share_25h"],
        (*_gaps(last, mine, hour, trailing_h), *([] if enough else [_too_few(rest.height, hour)])),
        calibration,
    )


def _calibration_then(
    own: pl.DataFrame, last: pl.DataFrame, assumptions: Assumptions
) -> CalibrationThen:
    """Of a set's rentals, `own` all of them and `last` those of its last hours."""
    hours = _hours(last)
    raised = last.filter(pl.col("calibration") == "raised")
    stock = own.filter(pl.col("calibration") == "stock")["octane_need_aki"].drop_nulls()
    need = stock[-1] if len(stock) else assumptions.number("octane.need_stock_aki")
    ends = ("shortfall_low_on", "shortfall_high_on")
    hard = raised.filter(pl.col("hard_running_h") > 0)
    short = None
    if hard.height and hard.select(*ends, "octane_need_aki").drop_nulls().height == hard.height:
        of_raised = pl.col("octane_need_aki") - need
        weight = pl.col("hard_running_h")
        best, worst = hard.select(
            ((pl.col(end) - of_raised).clip(lower_bound=0.0) * weight).sum() / weight.sum()
            for end in ends
        ).row(0)
        short = (float(best), float(worst))
    return CalibrationThen(
        last.sort("set_h_stop")["calibration"][-1] if last.height else None,
        _hours(raised) / hours if hours else 0.0,
        _hours(last.filter(pl.col("calibration").is_null())) / hours if hours else 1.0,
        short,
        float(need),
    )


def _known_need_share(last: pl.DataFrame) -> float:
    """Share of the hard running whose shortfall the record bounds; the rest may have met its need.

    Where the need itself is not on record a usual shortfall stands in for the fit; it is no
    evidence on this engine.
    """
    hard = float(last["hard_running_h"].sum())
    bounded = last.filter(pl.col("shortfall_low_on").is_not_null())
    return float(bounded["hard_running_h"].sum()) / hard if hard else 1.0


_SCHEMA = {
    "factor": pl.String,
    **dict.fromkeys(
        (
            "value",
            "low",
            "high",
            "fleet_middle",
            "percentile",
            "hazard_ratio",
            "hazard_low",
            "hazard_high",
            "share",
        ),
        pl.Float64,
    ),
}


def _last(instants: pl.Series) -> datetime:
    last = instants.max()
    assert isinstance(last, datetime)
    return last


def _nothing(why: str, set_id: str | None = None, hour: float | None = None) -> CauseRecord:
    return CauseRecord(set_id, hour, 0, pl.DataFrame(schema=_SCHEMA), None, (why,))


def _too_few(number: int, hour: float) -> str:
    return (
        f"Only {number} other piston sets had reached {number_text(hour, 0)} engine hours by then: "
        f"too few to compare with."
    )


def _factor_row(
    factor: str,
    mine: Mapping[str, Any],
    others: np.ndarray[tuple[int], np.dtype[np.float64]],
    enough: bool,
    effects: Sequence[FactorEffect],
) -> dict[str, Any]:
    if mine[factor] is None:
        return dict.fromkeys((*_SCHEMA, "log_hazard")) | {"factor": factor}
    value = float(mine[factor])
    low, high = (float(mine[name]) for name in _BOUNDS.get(factor, (factor, factor)))
    middle = float(np.median(others)) if enough else None
    effect = next((effect for effect in effects if effect.name == factor), None)
    row = {
        "factor": factor,
        "value": value,
        "low": low,
        "high": high,
        "fleet_middle": middle,
        "percentile": float(((others < value) + (others == value) / 2).mean()) if enough else None,
        "hazard_ratio": None,
        "hazard_low": None,
        "hazard_high": None,
        "log_hazard": None,
    }
    if effect is None or middle is None:
        return row
    steps = (value - middle) / effect.step
    ends = sorted((effect.low**steps, effect.high**steps))
    return row | {
        "hazard_ratio": effect.hazard_ratio**steps,
        "hazard_low": ends[0],
        "hazard_high": ends[1],
        "log_hazard": steps * float(np.log(effect.hazard_ratio)),
    }


def _gaps(
    last: pl.DataFrame, mine: Mapping[str, Any], hour: float, trailing_h: float
) -> tuple[str, ...]:
    """What the record of the last hours leaves open."""
    hours = _hours(last)
    gaps = []
    known = float(mine["known_share_25h"])
    if known < 0.995:  # less would be said as 0 %
        gaps.append(
            f"{share_text(1 - known)} of the fuel burned in the last "
            f"{number_text(trailing_h, 0)} engine hours "
            f"have no octane on record; the bounds say what they may have been."
        )
    assumed = last.filter(pl.col("is_throttle_assumed"))
    assumed_h = _hours(assumed)
    if hours and assumed_h:
        gaps.append(
            f"The share of full throttle is not on record for "
            f"{share_text(assumed_h / hours)} of these "
            f"hours; that of a typical hull here stands in."
        )
    if last["calibration"].null_count():
        gaps.append("For part of these hours no calibration is on record.")
    if hour < trailing_h:
        gaps.append(
            f"The set ran only {number_text(hour, 0)} engine hours: the hours before are of "
            f"the set before it."
        )
    return tuple(gaps)


def _hours(rows: pl.DataFrame) -> float:
    return float((rows["engine_h_stop"] - rows["engine_h_start"]).to_numpy().sum())
