"""Would earlier lists' misses put this week's chances right?  A trial, on fleets of every shape.

    python -m tests.studies.recalibration OUT.jsonl [--seeds 0 7] [--shapes ...] [--budget-s 3600]
    python -m tests.studies.recalibration OUT.jsonl --table

Each fleet is worked out every fourth Monday of its second and third season, so that hardly a
failure stands in two forecasts.  At the last three Mondays the truth stands beside; there the
hazard said is multiplied by what the earlier Mondays' failures say of a common factor: gamma
with mean one and standard deviation `PRIORS` before, Poisson counts (so by (a + seen) /
(a + said) with a = 1 / sd**2: drawn to one as far as few failures leave it open).
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from ringland.decision.operator_week import operator_week
from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.failure_risk import chances_of, hazards_shown
from ringland.settings.assumptions import load_assumptions
from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.true_chances import true_chances
from synthetic_data.worlds.world_shapes import SHAPES
from tests.studies import chances_table
from tests.studies.chances_of_worlds import drawn_with_own_luck, monday_near
from tests.studies.loaded_records import LoadedRecords
from tests.studies.study_file import read_lines, run_fleets

SETTINGS = load_assumptions()
AFTER_D = (20, 48, 76, 104)
FIRST_TRUE = 5
"""First look at which the truth is worked out."""
PRIORS = (0.0, 0.15, 0.25, 0.35, 0.5)
"""Standard deviations of the common factor; none: as said."""
FOLLOWED_D = 28
AT_STAKE = 2
"""Modes below this are those a chance speaks of."""


def one_fleet(shape: str, hulls: int, seed: int) -> dict[str, Any]:
    """Said and true chances by hull and look, what then failed, and the level's own spread."""
    world = drawn_with_own_luck(shape, hulls, seed)
    fleet, records = LivingFleet(world), LoadedRecords()
    days = [monday_near(world, world.opening(y) + d) for y in world.years[1:] for d in AFTER_D]
    weeks = []
    for look, day in enumerate(days):
        fleet.live_to(day)
        records.load(fleet.hand_in(), str(day))
        week = operator_week(records.frames, world.instant(day), SETTINGS)
        running = week.tables.running.filter(pl.col("why_not").is_null())
        draws = np.empty((1, 0))
        if running.height:
            hours = running["use_h_d"].to_numpy() * 30.0
            draws = chances_of(hazards_shown(week.fits, running, hours, SETTINGS, days=30.0))
        fleet_sd = float(np.log(draws.sum(axis=1)).std()) if running.height else None
        chances = week.tables.chances.select(
            "hull_id", "age_h", "chance_7d", "chance_30d", "chance_30d_low", "chance_30d_high"
        )
        frame = chances.join(
            running.select("hull_id", "use_h_d", pl.selectors.contains(*COVARIATES)),
            on="hull_id", how="left",
        )  # fmt: skip
        if look >= FIRST_TRUE:
            true = true_chances(world, fleet.state, day, world.seed * 1000 + day)
            truth = pl.DataFrame(
                {
                    "hull_id": fleet.hull_ids, "true_7d": true.in_7d, "true_30d": true.in_30d,
                    "averaged_30d": true.averaged_30d, "true_hours": true.hours_30d,
                }
            )  # fmt: skip
            frame = frame.join(truth, on="hull_id", how="left")
        weeks.append(
            {
                "look": look, "day": day, "fleet_sd": fleet_sd,
                "seen": week.fits.ring_land.n_failures,
                "columns": frame.with_columns(
                    pl.col(pl.Float64).round(5)
                ).to_dict(as_series=False),
            }
        )  # fmt: skip
    fleet.live_to(days[-1] + 31)
    failures = [(day, fleet.hull_ids[at]) for day, at, mode in fleet.failures if mode < AT_STAKE]
    return {"weeks": weeks, "failures": failures}


def recalibrated(line: Mapping[str, Any], sd: float) -> pl.DataFrame:
    """Hull-weeks with the truth beside, `30d` as the earlier Mondays' failures would have it."""
    weeks = [_told(week) for week in line["weeks"]]
    days = [week["day"] for week in line["weeks"]]
    seen = [_seen(line, day, rows) for day, rows in zip(days, weeks, strict=True)]
    said = [float(rows["chance_30d"].sum()) * FOLLOWED_D / 30 for rows in weeks]
    found = []
    for at in range(FIRST_TRUE, len(weeks)):
        past = [k for k in range(at) if days[k] + FOLLOWED_D <= days[at]]
        events, expected = (sum(figures[k] for k in past) for figures in (seen, said))
        factor = (1 / sd**2 + events) / (1 / sd**2 + expected) if sd else 1.0
        hazard = -(1 - pl.col("chance_30d")).log()
        found.append(weeks[at].with_columns((1 - (-factor * hazard).exp()).alias("30d")))
    return pl.concat(found, how="diagonal")


def past_and_present(lines: Sequence[Mapping[str, Any]]) -> float:
    """Correlation of log seen over said before with log true over said at the last Monday."""
    before, now = [], []
    for line in lines:
        weeks = [_told(week) for week in line["weeks"]]
        past = list(zip(line["weeks"], weeks, strict=True))[:-1]
        events = sum(_seen(line, week["day"], rows) for week, rows in past)
        expected = sum(float(rows["chance_30d"].sum()) * FOLLOWED_D / 30 for _, rows in past)
        before.append(np.log((events + 0.5) / (expected + 0.5)))
        now.append(np.log(weeks[-1]["true_30d"].sum() / weeks[-1]["chance_30d"].sum()))
    return float(np.corrcoef(before, now)[0, 1])


def as_markdown(lines: Sequence[Mapping[str, Any]]) -> str:
    """What each prior would have brought, with limits of fleets drawn anew."""
    plain = [recalibrated(line, 0.0) for line in lines]
    out = [
        "| sd of the factor before | distance | nearer than as said by | said/true | slope |",
        "|---|--:|--:|--:|--:|",
    ]
    for sd in PRIORS:
        fleets = [
            recalibrated(line, sd).with_columns(as_said=rows["30d"])
            for line, rows in zip(lines, plain, strict=True)
        ]
        rows = pl.concat(fleets, how="diagonal")
        gain = chances_table.with_limits(fleets, chances_table.nearer_than("as_said"))
        out.append(
            f"| {f'{sd:g}' if sd else 'as said'} | {chances_table.distance(rows):.4f} | "
            f"{gain[0]:+.4f} ({gain[1]:+.4f} to {gain[2]:+.4f}) | "
            f"{chances_table.said_over_true(rows):.2f} | {chances_table.slope(rows):.2f} |"
        )
    out.append(
        f"\n{len(lines)} fleets.  Log of seen over said before, against log of true over said at "
        f"the last Monday: correlation {past_and_present(lines):+.2f}."
    )
    return "\n".join(out)


def _told(week: Mapping[str, Any]) -> pl.DataFrame:
    rows = pl.DataFrame(week["columns"], infer_schema_length=None, strict=False)
    return rows.filter(pl.col("chance_30d").is_not_null())


def _seen(line: Mapping[str, Any], day: int, rows: pl.DataFrame) -> int:
    """Hulls with a chance that failed in the days it was held against."""
    told = set(rows["hull_id"])
    return len(
        {hull for at, hull in line["failures"] if day <= at < day + FOLLOWED_D and hull in told}
    )


def main() -> None:
    """Run fleets, or print the table of those on file."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    ask.add_argument("file", type=Path)
    ask.add_argument("--hulls", type=int, default=48)
    ask.add_argument("--seeds", type=int, nargs=2, default=[0, 7], metavar=("FIRST", "LAST"))
    ask.add_argument("--shapes", nargs="+", choices=list(SHAPES), default=list(SHAPES))
    ask.add_argument("--budget-s", type=float, default=3600.0)
    ask.add_argument("--table", action="store_true")
    told = ask.parse_args()
    if told.table:
        print(as_markdown(read_lines(told.file)))
        return
    seeds = range(told.seeds[0], told.seeds[1] + 1)
    wanted = [(s, told.hulls, seed) for seed in seeds for s in told.shapes]
    run_fleets(told.file, wanted, one_fleet, budget_s=told.budget_s)


if __name__ == "__main__":
    np.seterr(over="ignore")
    main()
