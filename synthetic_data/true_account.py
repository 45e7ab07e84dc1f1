"""The truth about a simulated fleet, laid out for the tests and for nobody else."""

from __future__ import annotations

from dataclasses import asdict
from math import exp

import polars as pl

from synthetic_data.data_faults import Planted
from synthetic_data.engine_failures import Exposure
from synthetic_data.scenario import Scenario

TRUTH_SCHEMA: dict[str, type[pl.DataType]] = {
    "hull_id": pl.String,
    "started_at": pl.Int64,  # minutes; made an instant when the frame is finished
    "engine_id": pl.String,
    "piston_set_id": pl.String,
    "octane_aki": pl.Float64,
    "fuel_age_d": pl.Float64,
    "share_over_28d": pl.Float64,
    "shortfall": pl.Float64,
    "octane_need_aki": pl.Float64,
    "running_h": pl.Float64,
    "full_throttle_share": pl.Float64,
    "burn_l": pl.Float64,
    "tank_before_l": pl.Float64,
    "set_h_start": pl.Float64,  # null once a failure has struck that is not yet found
    "set_h_stop": pl.Float64,
    "shortfall_25h_on": pl.Float64,  # the three as the hazard saw them before the session
    "fuel_age_25h_d": pl.Float64,
    "full_throttle_25h": pl.Float64,
    "is_raised_calibration": pl.Boolean,
    "is_forged": pl.Boolean,
    "struck": pl.String,  # the mode that struck in this session
}
"""Columns of `Fleet.truth_sessions`: the fuel each rental burned and what its hazard saw."""


def causes_of(
    scenario: Scenario, mode: str, seen: Exposure, is_raised: bool, is_forged: bool
) -> dict[str, object]:
    """What drove the hazard when it struck: parts of the log hazard and the true cause.

    The true cause of a broken ring land is the largest of three parts: octane below need,
    fuel age, raised calibration; it is 'background' where together they raise the hazard
    by less than a half.  Other modes are independent of octane: cause 'background'.
    """
    truth = scenario.ring_land
    parts = {
        "octane_below_need": truth.beta_shortfall * seen.shortfall_on,
        "fuel_age": truth.beta_age * seen.fuel_age_d,
        "raised_calibration": truth.beta_raised * is_raised,
    }
    is_driven = mode == "ring_land_fracture" and exp(sum(parts.values())) > 1.5
    return {
        "shortfall_25h_on": round(seen.shortfall_on, 3),
        "fuel_age_25h_d": round(seen.fuel_age_d, 2),
        "full_throttle_25h": round(seen.full_throttle, 3),
        "is_raised_calibration": is_raised,
        "is_forged": is_forged,
        "log_hazard_parts": {name: round(part, 3) for name, part in parts.items()},
        "true_cause": max(parts, key=lambda name: parts[name]) if is_driven else "background",
    }


def account_of_truth(
    scenario: Scenario,
    rng_seed: int,
    failures: list[dict[str, object]],
    litres: dict[str, float],
    planted: Planted | None,
) -> dict[str, object]:
    """Everything true that is not in `truth_sessions`, ready to be written as JSON."""
    return {
        "about": "Invented demo data. Only tests may read this file.",
        "rng_seed": rng_seed,
        "scenario": asdict(scenario),
        "litres": {name: round(value, 3) for name, value in litres.items()},
        "failures": [_with_instants(scenario, failure) for failure in failures],
        "unrecorded_fills": [] if planted is None else planted.unrecorded_fills,
        "faults": [] if planted is None else planted.faults,
    }


def _with_instants(scenario: Scenario, failure: dict[str, object]) -> dict[str, object]:
    named = dict(failure)
    for name in ("struck", "found"):
        minute = named.pop(f"{name}_minute")
        named[f"{name}_at"] = (
            scenario.instant(minute).strftime("%Y-%m-%dT%H:%M:%SZ")
            if isinstance(minute, int)
            else None
        )
    return named
