"""Is the treatment of a written error right?  Held against SIMEX on the same records.

    python -m tests.studies.exposure_simex OUT.jsonl [--hulls 48] [--seeds 1 12] [--error-on 1]
    python -m tests.studies.exposure_simex OUT.jsonl --table

Of `exposure_error`'s fleets, whose needs are written down with an error of known spread, the
effect per octane number by Cox regression (no prior, none of the joint fit): as written; with
each set believed as the product believes it (`risk.exposure_error`, regression calibration);
by SIMEX, where error is added to the written needs in rising measure and the estimates are
carried back to none (Cook & Stefanski 1994; quadratic in the measure); and on the same fleet
written down without error.  SIMEX shares nothing with the product's treatment but the spread.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from ringland.exposure.exposure_spells import spells
from ringland.exposure.factor_registry import COVARIATES
from ringland.exposure.week_record import WeekRecord, week_record
from ringland.risk.exposure_error import exposure_error
from ringland.risk.fleet_hazard import usable_covariates
from ringland.risk.hazard_inputs import covariate_matrix
from ringland.settings.assumptions import load_assumptions
from ringland.survival.cox.cox_regression import fit_cox
from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.world_shapes import draw_error_world
from tests.studies.chances_of_worlds import SHORTFALL
from tests.studies.exposure_error import SETTING
from tests.studies.loaded_records import LoadedRecords
from tests.studies.study_file import read_lines, run_fleets

SETTINGS = load_assumptions()
MEASURES = (0.5, 1.0, 1.5, 2.0)
"""Variances of the error added, in parts of that written."""
TIMES = 8
"""Draws of the added error at each."""
WAYS = ("as written", "believed", "SIMEX", "without error")


def effects_of(hulls: int, seed: int, error_on: float) -> dict[str, float]:
    """The effect per octane number of one fleet, by each way."""
    record = _record(hulls, seed, error_on)
    told = SETTINGS.changed(**{SETTING.replace(".", "__"): error_on})
    believed = exposure_error(record.spells, told).believed(record.spells)
    without = _record(hulls, seed, 0.0)
    return {
        "failures": float(_fails(record.spells).sum()),
        "as written": per_on(record.spells),
        "believed": per_on(believed),
        "SIMEX": simex(record, error_on, np.random.default_rng(seed)),
        "without error": per_on(without.spells),
    }


def simex(record: WeekRecord, error_on: float, rng: np.random.Generator) -> float:
    """Estimates under added error, carried back to none by a parabola."""
    measures, found = [0.0], [per_on(record.spells)]
    for measure in MEASURES:
        drawn = [
            per_on(spells(_worse(record.exposure, np.sqrt(measure) * error_on, rng),
                          record.lives, SETTINGS))
            for _ in range(TIMES)
        ]  # fmt: skip
        measures.append(measure)
        found.append(float(np.mean(drawn)))
    return float(np.polyval(np.polyfit(measures, found, 2), -1.0))


def per_on(rows: pl.DataFrame) -> float:
    """The effect of the shortfall per octane number by Cox regression on all factors."""
    names, _ = usable_covariates(rows, COVARIATES)
    fit = fit_cox(
        rows["start_h"].to_numpy(), rows["stop_h"].to_numpy(), _fails(rows),
        covariate_matrix(rows, names), names=names,
    )  # fmt: skip
    return float(fit.coef[names.index(SHORTFALL)])


def _fails(rows: pl.DataFrame) -> np.ndarray:
    return (rows["mode"] == "ring_land_fracture").fill_null(False).to_numpy()


def _worse(exposure: pl.DataFrame, sd: float, rng: np.random.Generator) -> pl.DataFrame:
    """The sessions with a further error in each need that was written down."""
    whose = exposure.select(pl.struct("engine_id", "octane_need_aki").rank("dense")).to_series()
    off = sd * rng.standard_normal(int(whose.max() or 0) + 1)  # type: ignore[call-overload]
    need = pl.col("octane_need_aki") + pl.Series(off[whose.to_numpy().astype(int)])
    short = (need - pl.col("octane_aki")).clip(lower_bound=0.0)
    names = ("shortfall_on", "shortfall_low_on", "shortfall_high_on")  # no bound enters a Cox fit
    return exposure.with_columns(octane_need_aki=need, **dict.fromkeys(names, short))


def _record(hulls: int, seed: int, error_on: float) -> WeekRecord:
    world = draw_error_world(hulls, seed, error_on)
    fleet, records = LivingFleet(world), LoadedRecords()
    day = world.opening(world.years[-1]) + 90
    fleet.live_to(day)
    records.load(fleet.hand_in(), "all")
    return week_record(records.frames, world.instant(day), SETTINGS)


def as_markdown(lines: Sequence[Mapping[str, Any]]) -> str:
    """Means over the fleets, and the paired differences of the product's way."""
    by = {way: np.array([line[way] for line in lines]) for way in WAYS}
    out = ["| way | mean per ON | product's way less this, fleet by fleet |", "|---|--:|--:|"]
    for way, found in by.items():
        apart = by["believed"] - found
        mean, half = _mean_and_half(found)
        less, less_half = _mean_and_half(apart)
        beside = "" if way == "believed" else f"{less:+.3f} +- {less_half:.3f}"
        out.append(f"| {way} | {mean:.3f} +- {half:.3f} | {beside} |")
    fails = np.mean([line["failures"] for line in lines])
    out.append(f"\n{len(lines)} fleets with {fails:.1f} failures each; true effect 0.5 per ON.")
    return "\n".join(out)


def _mean_and_half(found: np.ndarray) -> tuple[float, float]:
    return float(found.mean()), float(1.96 * found.std(ddof=1) / np.sqrt(found.size))


def main() -> None:
    """Run fleets, or print the table of those on file."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    ask.add_argument("file", type=Path)
    ask.add_argument("--hulls", type=int, default=48)
    ask.add_argument("--seeds", type=int, nargs=2, default=[1, 12], metavar=("FIRST", "LAST"))
    ask.add_argument("--error-on", type=float, default=1.0)
    ask.add_argument("--budget-s", type=float, default=3600.0)
    ask.add_argument("--table", action="store_true")
    told = ask.parse_args()
    if told.table:
        print(as_markdown(read_lines(told.file)))
        return
    one = partial(_one_fleet, error_on=told.error_on)
    wanted = [("log-linear", told.hulls, s) for s in range(told.seeds[0], told.seeds[1] + 1)]
    run_fleets(told.file, wanted, one, budget_s=told.budget_s)


def _one_fleet(_shape: str, hulls: int, seed: int, *, error_on: float) -> dict[str, float]:
    return effects_of(hulls, seed, error_on)


if __name__ == "__main__":
    main()
