"""What the weekly chain says of fleets of every shape, beside what is true of them.

    python -m tests.studies.chances_of_worlds OUT.jsonl [--hulls 12 48] [--seeds 1 8]
        [--shapes ...] [--looks 48 104] [--budget-s 3600]
    python -m tests.studies.chances_of_worlds OUT.jsonl --table

Two seasons and a part of the third are lived, written down with faults, loaded, and worked
out by `operator_week` on two Mondays of the third season, or on those asked for.  Each hull's
shown chance and range stand beside the true chance (`synthetic_data.worlds.true_chances`) and
the chances of the simple rules.  Fleets are added to OUT; a stopped run goes on where it was.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np
import polars as pl

from ringland.decision.actions.horizons import page_horizons
from ringland.decision.operator_week import OperatorWeek, operator_week
from ringland.risk.closed_season import season_end
from ringland.risk.failure_risk import HORIZONS_D
from ringland.risk.fleet_evidence import hazard_effects
from ringland.risk.fleet_hazard import MODES_AT_STAKE, clear_factors
from ringland.score.rival_forecasts import rival_chances
from ringland.settings.assumptions import load_assumptions
from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.true_chances import true_chances
from synthetic_data.worlds.world import World
from synthetic_data.worlds.world_shapes import SHAPES, draw_world
from tests.studies.loaded_records import LoadedRecords
from tests.studies.study_file import read_lines, run_fleets

SETTINGS = load_assumptions()
LOOKS = (48, 104)
"""Days after the opening near whose Monday the fleet is looked at."""
SHORTFALL = "shortfall_25h_on"
HORIZONS = ("7d", "30d", "25h", "season")


def monday_near(world: World, day: int) -> int:
    """The Monday on or before a day."""
    return day - (world.epoch.weekday() + day) % 7


def one_fleet(shape: str, hulls: int, seed: int, looks: tuple[int, ...] = LOOKS) -> dict[str, Any]:
    """Rows of one fleet drawn by shape, size and seed."""
    return rows_of(drawn_with_own_luck(shape, hulls, seed), looks)


def drawn_with_own_luck(shape: str, hulls: int, seed: int) -> World:
    """The world of a shape, size and seed, with luck that is its own.

    Of two shapes with one seed the same sets would else break early, and fleets drawn anew as
    if apart would put the limits too near.
    """
    luck = crc32(f"{shape} {hulls} {seed}".encode())
    return replace(draw_world(shape, hulls, seed), seed=luck)


def rows_of(world: World, looks: tuple[int, ...] = LOOKS) -> dict[str, Any]:
    """What was said and what is true, hull by hull and Monday by Monday, and of the effect."""
    fleet, records = LivingFleet(world), LoadedRecords()
    weeks, found = [], {}
    for look, after in enumerate(looks):
        day = monday_near(world, world.opening(world.years[-1]) + after)
        fleet.live_to(day)
        records.load(fleet.hand_in(), str(day))
        as_of = world.instant(day)
        week = operator_week(records.frames, as_of, SETTINGS)
        said = _said(week, as_of).with_columns(look=pl.lit(look))
        weeks.append(said.join(_true(world, fleet, day), on="hull_id", how="left"))
        found = _found(week)
    table = pl.concat(weeks, how="diagonal")
    floats = [name for name, dtype in table.schema.items() if dtype == pl.Float64]
    table = table.with_columns(pl.col(floats).round(5))
    return found | {
        "true_failures": sum(mode < 2 for _, _, mode in fleet.failures),
        "set_aside": records.rows_set_aside,
        "rows_in": records.rows_in,
        "columns": table.to_dict(as_series=False),
    }


def _found(week: OperatorWeek) -> dict[str, Any]:
    """What the fit says of the shortfall, as the evidence page does."""
    effects = hazard_effects(week.fits, SETTINGS).filter(pl.col("factor") == SHORTFALL)
    shown = effects.row(0, named=True) if effects.height else {}
    return {
        "failures_seen": week.fits.ring_land.n_failures,
        "clear": clear_factors(week.fits, SETTINGS),
        "cannot_separate": list(week.fits.cannot_separate),
        "cannot_tell": week.fits.cannot_tell,
        "per_on": {name: shown.get(name) for name in ("hazard_ratio", "low", "high", "step")},
    }


def _said(week: OperatorWeek, as_of: datetime) -> pl.DataFrame:
    """Shown chances and ranges over every horizon, and the rules' for 30 days."""
    tables = week.tables
    shown = page_horizons(
        fits=week.fits, running=tables.running, chances=tables.chances, as_of=as_of,
        season_ends_at=season_end(as_of, SETTINGS), assumptions=SETTINGS,
    )  # fmt: skip
    frame = tables.chances.select(
        "hull_id", "dock_id", "age_h", "expected_h_30d", "why_not"
    )  # fmt: skip
    for name, horizon in zip(HORIZONS, shown, strict=False):
        triples = horizon.chances
        frame = frame.join(
            pl.DataFrame(
                {
                    "hull_id": list(triples),
                    **{
                        f"{name}{end}": [triple[k] for triple in triples.values()]
                        for k, end in enumerate(("", "_low", "_high"))
                    },
                },
                schema_overrides={"hull_id": pl.String},
            ),
            on="hull_id", how="left",
        )  # fmt: skip
    told = frame.filter(pl.col("why_not").is_null()) if shown else frame.clear()
    return frame.join(_rules(week, told, as_of), on="hull_id", how="left")


def _rules(week: OperatorWeek, told: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """The simple rules' 30-day chances, learned from every past week whose 30 days are over."""
    now = told.select("hull_id", "age_h", expected_h="expected_h_30d").join(
        week.tables.running.select("hull_id", fuel_age_d="fuel_age_25h_d"), on="hull_id"
    )
    past = _past_weeks(week, as_of)
    both = pl.concat(
        [past, now.with_columns(as_of=pl.lit(as_of), failed=pl.lit(value=False))],
        how="diagonal_relaxed",
    )
    rules = rival_chances(both, HORIZONS_D["30d"], SETTINGS).tail(now.height)
    return now.select("hull_id").hstack(rules.get_columns())


def _past_weeks(week: OperatorWeek, as_of: datetime) -> pl.DataFrame:
    """One row per hull and past Monday: age, hours then run in 30 days, fuel age, failed."""
    exposure, lives = week.record.exposure, week.record.lives
    lost = lives.filter(
        (pl.col("state") == "failed") & pl.col("mode").is_in(list(MODES_AT_STAKE))
    ).select("piston_set_id", lost_at="ended_at")
    rides = exposure.filter(pl.col("set_h_stop").is_not_null()).sort("ended_at")
    rows = []
    horizon = timedelta(days=HORIZONS_D["30d"])
    monday = as_of - horizon
    first = rides["ended_at"].min()
    while rides.height and monday > first:  # type: ignore[operator]
        lately = rides.filter(
            (pl.col("ended_at") <= monday) & (pl.col("ended_at") > monday - timedelta(days=60))
        )
        ahead = rides.filter(
            (pl.col("ended_at") > monday) & (pl.col("ended_at") <= monday + horizon)
        ).group_by("hull_id").agg(
            expected_h=(pl.col("engine_h_stop") - pl.col("engine_h_start")).sum()
        )  # fmt: skip
        last = lately.group_by("hull_id", maintain_order=True).last()
        rows.append(
            last.select("hull_id", "piston_set_id", age_h="set_h_stop", fuel_age_d="fuel_age_d")
            .join(ahead, on="hull_id", how="inner")
            .join(lost, on="piston_set_id", how="left")
            .filter(pl.col("lost_at").is_null() | (pl.col("lost_at") > monday))
            .select(
                "hull_id", "age_h", "expected_h", "fuel_age_d", as_of=pl.lit(monday),
                failed=(pl.col("lost_at") <= monday + horizon).fill_null(value=False),
            )
        )  # fmt: skip
        monday -= timedelta(days=7)
    empty = {
        "hull_id": pl.String, "age_h": pl.Float64, "expected_h": pl.Float64,
        "fuel_age_d": pl.Float64, "as_of": pl.Datetime("us", "UTC"), "failed": pl.Boolean,
    }  # fmt: skip
    return pl.concat(rows[::-1]) if rows else pl.DataFrame(schema=empty)


def _true(world: World, fleet: LivingFleet, day: int) -> pl.DataFrame:
    """True chances by hull, own factors known and averaged over what is left open of them."""
    true = true_chances(world, fleet.state, day, world.seed * 1000 + day)
    return pl.DataFrame(
        {
            "hull_id": fleet.hull_ids,
            "true_7d": true.in_7d, "true_30d": true.in_30d, "true_25h": true.in_25h,
            "true_season": true.in_season, "true_age_h": fleet.state.age_h,
            "true_hours_30d": true.hours_30d, "averaged_30d": true.averaged_30d,
        }
    )  # fmt: skip


def main() -> None:
    """Run fleets, or print the table of those on file."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    ask.add_argument("file", type=Path)
    ask.add_argument("--hulls", type=int, nargs="+", default=[48, 12])
    ask.add_argument("--seeds", type=int, nargs=2, default=[1, 8], metavar=("FIRST", "LAST"))
    ask.add_argument("--shapes", nargs="+", choices=list(SHAPES), default=list(SHAPES))
    ask.add_argument("--looks", type=int, nargs="+", default=list(LOOKS))
    ask.add_argument("--budget-s", type=float, default=3600.0)
    ask.add_argument("--table", action="store_true")
    told = ask.parse_args()
    if told.table:
        from tests.studies.chances_table import as_markdown  # noqa: PLC0415

        print(as_markdown(read_lines(told.file)))
        return
    seeds = range(told.seeds[0], told.seeds[1] + 1)
    wanted = [(s, h, seed) for seed in seeds for h in told.hulls for s in told.shapes]
    looked_at = partial(one_fleet, looks=tuple(told.looks))
    run_fleets(told.file, wanted, looked_at, budget_s=told.budget_s)


if __name__ == "__main__":
    np.seterr(over="ignore")
    main()
