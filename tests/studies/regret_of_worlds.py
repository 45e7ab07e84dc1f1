"""What a season costs under the tool, under every simple rule, and under oracles.

    python -m tests.studies.regret_of_worlds OUT.jsonl [--hulls 48] [--seeds 1 10]
        [--shapes ...] [--policies ...] [--prompt] [--decide-every 1] [--budget-s 3600]
    python -m tests.studies.regret_of_worlds OUT.jsonl [MORE.jsonl ...] --table

Two seasons are lived and written down with faults; then the third is played once under each
policy, with the same renters, weathers, loads and fates.  The tool reads only the record
files, loads them every Monday and does what `decide_week` says (the function the weekly
command's asset is held to).  Fleets are added to OUT; a stopped run goes on where it was.
Policies played in several runs lie in a file each; the table joins the bills of a fleet.
"""

from __future__ import annotations

import argparse
from functools import partial
from pathlib import Path
from typing import Any

from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.world_shapes import SHAPES
from tests.studies.chances_of_worlds import drawn_with_own_luck, monday_near
from tests.studies.loaded_records import LoadedRecords
from tests.studies.season_play import play_season
from tests.studies.season_policies import POLICIES, TOOL, Tool
from tests.studies.study_file import read_lines, run_fleets


def one_fleet(
    shape: str, hulls: int, seed: int, *, policies: tuple[str, ...] = tuple(POLICIES),
    is_slack: bool = True, decide_every: int = 1,
) -> dict[str, Any]:  # fmt: skip
    """The bill of each policy on one fleet."""
    world = drawn_with_own_luck(shape, hulls, seed)
    fleet, records = LivingFleet(world), LoadedRecords()
    fleet.live_to(monday_near(world, world.opening(world.years[-1])))
    records.load(fleet.hand_in(), "before")
    past = sum(mode < 2 for _, _, mode in fleet.failures)
    bills = {}
    for name in policies:
        policy = Tool(decide_every=decide_every) if name == TOOL else POLICIES[name]()
        bills[name] = play_season(fleet, records, policy, is_slack=is_slack)
    return {"past_failures": past, "slack": is_slack, "decide_every": decide_every, "bills": bills}


def main() -> None:
    """Run fleets, or print the table of those on file."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    ask.add_argument("file", type=Path, nargs="+")
    ask.add_argument("--hulls", type=int, nargs="+", default=[48])
    ask.add_argument("--seeds", type=int, nargs=2, default=[1, 10], metavar=("FIRST", "LAST"))
    ask.add_argument("--shapes", nargs="+", choices=list(SHAPES), default=list(SHAPES))
    ask.add_argument("--policies", nargs="+", choices=list(POLICIES), default=list(POLICIES))
    ask.add_argument("--prompt", action="store_true", help="no job comes late or is forgotten")
    ask.add_argument("--decide-every", type=int, default=1, metavar="WEEKS")
    ask.add_argument("--budget-s", type=float, default=3600.0)
    ask.add_argument("--table", action="store_true")
    told = ask.parse_args()
    if told.table:
        from tests.studies.regret_table import as_markdown, joined  # noqa: PLC0415

        print(as_markdown(joined([line for file in told.file for line in read_lines(file)])))
        return
    if len(told.file) > 1:
        ask.error("fleets are played into one file; several are for --table.")
    seeds = range(told.seeds[0], told.seeds[1] + 1)
    wanted = [(s, h, seed) for seed in seeds for h in told.hulls for s in told.shapes]
    fleet = partial(
        one_fleet,
        policies=tuple(told.policies),
        is_slack=not told.prompt,
        decide_every=told.decide_every,
    )
    run_fleets(told.file[0], wanted, fleet, budget_s=told.budget_s)


if __name__ == "__main__":
    main()
