"""How far the season's turn was off, and whether its range held what was then run.

    python -m tests.studies.season_turns OUT.jsonl [--seeds 1 1] [--hulls 12] [--budget-s 1800]
    python -m tests.studies.season_turns OUT.jsonl --table

Fleets of every shape are lived through three seasons, and their rental sheets read as written,
faults and all.  Every second Monday of May to August the hours a day over those of late are
foretold from the sheets before it: by the product (`turn_ahead`), by the shop's own earlier
seasons alone, by the pooled guess alone, and as of late.
"""

from __future__ import annotations

import argparse
import io
import math
from collections.abc import Mapping, Sequence
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from ringland.risk.closed_season import season_end
from ringland.risk.season_turn import AHEAD_D, DAY_S, RanHours, own_turn, pooled_turn, turn_ahead
from ringland.settings.assumptions import load_assumptions
from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.world import SEASON_D
from synthetic_data.worlds.world_shapes import SHAPES
from tests.studies.chances_of_worlds import drawn_with_own_luck, monday_near
from tests.studies.study_file import read_lines, run_fleets

SETTINGS = load_assumptions()
AFTER_D = range(14, 120, 14)
LONGEST_H = 6.0
"""A sheet with more hours, or none, is one a loader sets aside."""


def one_fleet(shape: str, hulls: int, seed: int) -> dict[str, Any]:
    """Per Monday and span: the season, log of hours run over of late, and what was foretold."""
    world = drawn_with_own_luck(shape, hulls, seed)
    fleet = LivingFleet(world)
    fleet.live_to(world.opening(world.years[-1]) + SEASON_D)
    sheets = (
        pl.read_csv(io.StringIO(_sheets(fleet)), infer_schema_length=0)
        .select(
            "hull_id",
            pl.col("started_at").str.to_datetime(time_zone="UTC", strict=False),
            engine_h_start=pl.lit(0.0),
            engine_h_stop=pl.col("running_h").cast(pl.Float64, strict=False),
        )
        .drop_nulls()
        .unique(maintain_order=True)
        .filter(pl.col("engine_h_stop").is_between(0, LONGEST_H))
    )
    ran = RanHours.of(sheets)
    look_back_d = SETTINGS.number("record.recent_sessions_d")
    found = []
    for season, year in enumerate(world.years):
        for after_d in AFTER_D:
            as_of = world.instant(monday_near(world, world.opening(year) + after_d))
            known = RanHours.of(sheets.filter(pl.col("started_at") < as_of))
            rest_d = (season_end(as_of, SETTINGS) - as_of).total_seconds() / DAY_S
            of_late = known.between(as_of - timedelta(days=look_back_d), as_of) / look_back_d
            for name, until_d in (("30 days", float(AHEAD_D)), ("season's rest", rest_d)):
                span = (0.0, until_d)
                own = own_turn(known, as_of, SETTINGS, span)
                pooled = pooled_turn(known, as_of, SETTINGS, span)
                got = turn_ahead(known, as_of, SETTINGS, ahead_d=span)
                run = ran.between(as_of, as_of + timedelta(days=until_d)) / until_d
                if until_d < AHEAD_D or not pooled or not run:
                    continue
                found.append(
                    {
                        "span": name, "season": season, "month": as_of.month,
                        "run": math.log(run / of_late), "said": math.log(got.turn),
                        "sd": got.sd_log, "share": got.own_share,
                        "own": math.log(own) if own else None, "pooled": math.log(pooled),
                    }
                )  # fmt: skip
    return {"rows": found}


def _sheets(fleet: LivingFleet) -> str:
    return next(text for kind, text in fleet.hand_in().items() if "sessions" in kind)


def as_markdown(lines: Sequence[Mapping[str, Any]]) -> str:
    """Root mean square errors of the log, and the share held with limits over fleets."""
    rows = pl.concat(
        pl.DataFrame(line["rows"]).with_columns(fleet=pl.lit(n)) for n, line in enumerate(lines)
    ).with_columns(off=pl.col("run") - pl.col("said"), late=pl.lit(0.0))
    text = [
        "| ahead | earlier seasons | Mondays | said | own alone | guess alone | as of late "
        "| mean off | sd said | own share | range holds |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]

    def rms(name: str) -> str:
        off = (part["run"] - part[name]).drop_nulls().to_numpy()
        return f"{np.sqrt(np.mean(off**2)):.3f}" if off.size else "none"

    for (span, season), part in rows.sort("span", "season").group_by(
        "span", "season", maintain_order=True
    ):
        held = (
            part.group_by("fleet", maintain_order=True)
            .agg((pl.col("off").abs() <= 1.96 * pl.col("sd")).mean().alias("held"))["held"]
            .to_numpy()
        )
        half = 1.96 * float(np.std(held, ddof=1)) / math.sqrt(len(held))
        text.append(
            f"| {span} | {season} | {part.height} | {rms('said')} | {rms('own')} | {rms('pooled')} "
            f"| {rms('late')} | {part['off'].to_numpy().mean():+.3f} "
            f"| {part['sd'].to_numpy().mean():.3f} "
            f"| {part['share'].to_numpy().mean():.2f} | {held.mean():.1%} ± {half:.1%} |"
        )
    return "\n".join(text)


def main() -> None:
    """Run fleets, or print the table of those on file."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    ask.add_argument("file", type=Path)
    ask.add_argument("--hulls", type=int, default=12)
    ask.add_argument("--seeds", type=int, nargs=2, default=[1, 1], metavar=("FIRST", "LAST"))
    ask.add_argument("--budget-s", type=float, default=1800.0)
    ask.add_argument("--table", action="store_true")
    told = ask.parse_args()
    if told.table:
        print(as_markdown(read_lines(told.file)))
        return
    seeds = range(told.seeds[0], told.seeds[1] + 1)
    wanted = [(shape, told.hulls, seed) for seed in seeds for shape in SHAPES]
    run_fleets(told.file, wanted, one_fleet, budget_s=told.budget_s)


if __name__ == "__main__":
    main()
