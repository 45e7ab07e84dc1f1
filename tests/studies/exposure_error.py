"""What an error in what was written down does to the effect of a shortfall.

    python -m tests.studies.exposure_error OUT.jsonl [--hulls 48] [--seeds 1 40] [--error-on 1]
    python -m tests.studies.exposure_error OUT.jsonl --table

Fleets with a true effect of 0.5 per octane number.  Each engine's need is written down with an
error of its own; beside it stands the same fleet without.  The product is told the error's
spread where it has a setting for it (`exposure_error.written_on`).
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from ringland.decision.operator_week import operator_week
from ringland.risk.fleet_evidence import hazard_effects
from ringland.settings.assumptions import load_assumptions
from ringland.words.fixed_words import PRIOR_MODEL
from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.world_shapes import draw_error_world
from tests.studies.chances_of_worlds import SHORTFALL
from tests.studies.loaded_records import LoadedRecords
from tests.studies.study_file import read_lines, run_fleets

TRUE_PER_ON = 0.5
SETTING = "exposure_error.written_on"


def effect_of(hulls: int, seed: int, error_on: float) -> dict[str, float | None]:
    """The shown effect per octane number, with its limits, after two and a half seasons."""
    world = draw_error_world(hulls, seed, error_on)
    fleet, records = LivingFleet(world), LoadedRecords()
    day = world.opening(world.years[-1]) + 90
    fleet.live_to(day)
    records.load(fleet.hand_in(), "all")
    settings = load_assumptions()
    if SETTING in settings:
        settings = settings.changed(**{SETTING.replace(".", "__"): error_on})
    week = operator_week(records.frames, world.instant(day), settings)
    is_shown = (pl.col("factor") == SHORTFALL) & (pl.col("model") == PRIOR_MODEL)
    shown = hazard_effects(week.fits, settings).row(by_predicate=is_shown, named=True)
    step = shown["step"]
    return {
        "failures": week.fits.ring_land.n_failures,
        **{
            name: float(np.log(shown[column])) / step
            for name, column in (("per_on", "hazard_ratio"), ("low", "low"), ("high", "high"))
        },
    }


def as_markdown(lines: Sequence[dict[str, Any]]) -> str:
    """Means and coverage, with and without the error."""
    out = [
        "| error written down | fleets | failures a fleet | mean estimate per ON | "
        "range holds 0.5 | mean width |",
        "|---|--:|--:|--:|--:|--:|",
    ]
    means = {}
    for kind in ("without", "with"):
        found = [line[kind] for line in lines]
        per_on = np.array([f["per_on"] for f in found])
        means[kind] = per_on.mean()
        half = 1.96 * per_on.std(ddof=1) / np.sqrt(per_on.size) if per_on.size > 1 else np.nan
        holds = np.mean([f["low"] <= TRUE_PER_ON <= f["high"] for f in found])
        width = np.mean([f["high"] - f["low"] for f in found])
        error = 0.0 if kind == "without" else lines[0]["error_on"]
        seen = np.mean([f["failures"] for f in found])
        out.append(
            f"| {error:g} ON | {len(found)} | {seen:.1f} | {means[kind]:.3f} +- {half:.3f} | "
            f"{holds:.0%} | {width:.2f} |"
        )
    ratio = means["with"] / means["without"]
    out.append(f"\nMean estimate with the error over that without: {ratio:.2f}.")
    return "\n".join(out)


def main() -> None:
    """Run fleets, or print the table of those on file."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    ask.add_argument("file", type=Path)
    ask.add_argument("--hulls", type=int, default=48)
    ask.add_argument("--seeds", type=int, nargs=2, default=[1, 40], metavar=("FIRST", "LAST"))
    ask.add_argument("--error-on", type=float, default=1.0)
    ask.add_argument("--budget-s", type=float, default=3600.0)
    ask.add_argument("--table", action="store_true")
    told = ask.parse_args()
    if told.table:
        print(as_markdown(read_lines(told.file)))
        return

    def one_fleet(_shape: str, hulls: int, seed: int) -> dict[str, Any]:
        return {
            "error_on": told.error_on,
            "without": effect_of(hulls, seed, 0.0),
            "with": effect_of(hulls, seed, told.error_on),
        }

    wanted = [("log-linear", told.hulls, s) for s in range(told.seeds[0], told.seeds[1] + 1)]
    run_fleets(told.file, wanted, one_fleet, budget_s=told.budget_s)


if __name__ == "__main__":
    main()
