"""What the weekly plan saves of what an oracle saves, on the generator's truth.

    pytest -m study tests/studies/test_regret.py      checks the owner's figures
    python tests/studies/test_regret.py 48 8          the table of `regret.md` for a fleet size
                                                      and number of fleets (seeds 1 up)
    python tests/studies/test_regret.py by-chance 201 224   how often a history without a fuel
                                                      effect shows one, over these seeds

Policies: run to failure; a new piston set at 400 h; the fuel-age rule of thumb (drain what is
older than 28 days); this tool's plan, fitted once to the two seasons of history; an oracle,
which plans with the same catalogue, limits and solver on the true hazards.  Worlds: the
generator's own, one with no fuel effect, and one in which sets wear out early.  See
`regret_world` for what a season is and how its cost is counted.
"""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from scipy.stats import binom

from ringland.decision.action_catalogue import NOTHING
from ringland.decision.action_options import option_table
from ringland.decision.action_prices import prices
from ringland.decision.catalogue_file import default_catalogue
from ringland.decision.hazard_ahead import CumulativeHazard, planning_hazard
from ringland.decision.week_limits import WeekLimits
from ringland.decision.week_planner import plan_week
from ringland.risk.fleet_hazard import fit_fleet
from ringland.settings.assumptions import load_assumptions
from synthetic_data.scenario import Scenario, no_fuel_effect

_FILE = Path(__file__).with_name("regret_world.py")
_SPEC = importlib.util.spec_from_file_location("regret_world", _FILE)
assert _SPEC is not None
regret_world = importlib.util.module_from_spec(_SPEC)
sys.modules["regret_world"] = regret_world
_SPEC.loader.exec_module(regret_world)  # type: ignore[union-attr]

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)
NO_COSTS = pl.DataFrame(
    schema={"item": pl.String, "season": pl.Int64, "amount": pl.Float64, "currency": pl.String}
)
PRICES = prices(NO_COSTS, 2026, SETTINGS)
FIXED_H = 400.0
OLD_D = SETTINGS.number("fuel.old_after_d")
FUEL_ACTIONS = ("fuel_rule", "drain_refill", "mild_calibration")
MID_SEASON_D, WEEK_D = 56, 7
BY_CHANCE = 0.05
"""Share of fleets without a fuel effect in which the plan may pay for an action on fuel: three
actions are looked at, each at one in a hundred, in weeks that differ; a twentieth is taken."""

WORLDS = {
    "generator's own": Scenario(),
    "no fuel effect": no_fuel_effect(),
    "early wear": replace(
        Scenario(),
        other_modes=tuple(
            replace(mode, scale_h=550.0, shape=3.5) if mode.mode == "ring_wear" else mode
            for mode in Scenario().other_modes
        ),
    ),
}


def limits_for(n_hulls: int) -> WeekLimits:
    """Two slots and forty hours for each 48 hulls; kits come within the week."""
    share = max(1, round(n_hulls / 48))
    lead = {"top_end_kit": 5.0, "bottom_end_kit": 5.0}
    return WeekLimits(2 * share, 40.0 * share, {"top_end_kit": 2, "bottom_end_kit": 0}, lead)


def run_to_failure(view: pl.DataFrame, days_left: float) -> Mapping[str, Sequence[str]]:
    return {}


def fixed_hours(view: pl.DataFrame, days_left: float) -> Mapping[str, Sequence[str]]:
    slots = limits_for(view.height).lift_slots
    due = view.filter(pl.col("age_h") >= FIXED_H).sort("age_h", descending=True).head(slots)
    return {hull: ["planned_top_end"] for hull in due["hull_id"]}


def fuel_age_rule(view: pl.DataFrame, days_left: float) -> Mapping[str, Sequence[str]]:
    return {
        hull: ["drain_refill"] for hull in view.filter(pl.col("fuel_age_25h_d") > OLD_D)["hull_id"]
    }


def planned(hazard: CumulativeHazard):  # type: ignore[no-untyped-def]
    """The weekly plan on some hazard, looking ahead to the end of the season."""
    bundles = CATALOGUE.bundles()

    def decide(view: pl.DataFrame, days_left: float) -> Mapping[str, Sequence[str]]:
        options = option_table(
            view,
            hazard,
            catalogue=CATALOGUE,
            prices=PRICES,
            horizon_d=days_left,
            assumptions=SETTINGS,
        )
        plan = plan_week(
            options, limits_for(view.height), spare_day_worth=0.0, assumptions=SETTINGS
        )
        return {
            hull: [action.name for action in bundles[option]]
            for hull, option in plan.rows.select("hull_id", "option").iter_rows()
            if option != NOTHING
        }

    return decide


def true_hazard_of(scenario: Scenario) -> CumulativeHazard:
    """The scenario's own hazard, one draw: what the oracle knows."""
    truth = scenario.ring_land
    wear = next((m for m in scenario.other_modes if m.mode == "ring_wear"), None)

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        x = {name: exposure[name].cast(pl.Float64).to_numpy() for name in (
            "shortfall_25h_on", "fuel_age_25h_d", "full_throttle_25h", "is_raised_calibration",
            "is_forged", "engine_effect",
        )}  # fmt: skip
        log_ratio = (
            truth.beta_shortfall * x["shortfall_25h_on"]
            + truth.beta_age * x["fuel_age_25h_d"]
            + truth.beta_wot * x["full_throttle_25h"]
            + truth.beta_raised * x["is_raised_calibration"]
            + truth.beta_forged * x["is_forged"]
            + x["engine_effect"]
        )
        rise = (stop_h / truth.scale_h) ** truth.shape - (start_h / truth.scale_h) ** truth.shape
        total = rise * np.exp(log_ratio)
        if wear is not None:
            total = total + np.exp(wear.beta_age * x["fuel_age_25h_d"]) * (
                (stop_h / wear.scale_h) ** wear.shape - (start_h / wear.scale_h) ** wear.shape
            )
        return total[None, :]

    return hazard


POLICIES = ("run to failure", "new set at 400 h", "fuel-age rule", "this tool", "oracle")
SIMPLE = POLICIES[:3]


def season_rows(world: str, n_hulls: int, seed: int) -> list[dict[str, object]]:
    """The bill of each policy on one fleet."""
    scenario = replace(WORLDS[world], hulls=n_hulls)
    start = regret_world.make_world(scenario, seed)
    fits = fit_fleet(start.spells, SETTINGS, np.random.default_rng(seed))
    decide = {
        "run to failure": run_to_failure,
        "new set at 400 h": fixed_hours,
        "fuel-age rule": fuel_age_rule,
        "this tool": planned(planning_hazard(fits, SETTINGS)),
        "oracle": planned(true_hazard_of(scenario)),
    }
    rows = []
    for policy in POLICIES:
        bill = regret_world.play(start, decide[policy], CATALOGUE, PRICES)
        rows.append(
            {
                "world": world, "hulls": n_hulls, "seed": seed, "policy": policy,
                "past_failures": fits.ring_land.n_failures,
                "total": bill.total, "failures": bill.failures, "fuel": bill.fuel_cost,
                "fuel_hull_weeks": bill.fuel_hull_weeks, "top_ends": bill.top_ends,
            }
        )  # fmt: skip
    return rows


def summary(table: pl.DataFrame) -> pl.DataFrame:
    """Means over fleets: cost, share of the oracle's saving, cost over the best simple policy."""
    cheapest = pl.col("total").filter(pl.col("policy").is_in(SIMPLE)).min()
    fleets = table.with_columns(over=pl.col("total") / cheapest.over("world", "hulls", "seed") - 1)
    means = fleets.group_by("world", "hulls", "policy", maintain_order=True).agg(
        pl.len().alias("fleets"),
        pl.col("past_failures", "total", "failures", "fuel", "top_ends").mean(),
        spends_on_fuel=(pl.col("fuel") > 0).sum(),
        worst_over=pl.col("over").max(),
    )
    group = ["world", "hulls"]
    policy = pl.col("policy")
    base = pl.col("total").filter(policy == "run to failure").first().over(group)
    best = pl.col("total").filter(policy == "oracle").first().over(group)
    simple = pl.col("total").filter(policy.is_in(SIMPLE)).min().over(group)
    return means.with_columns(
        # Where the oracle saves next to nothing there is nothing to have a share of.
        share_of_oracle=pl.when(base - best > 0.01 * base).then(
            (base - pl.col("total")) / (base - best)
        ),
        over_best_simple=pl.col("total") / simple - 1,
    )


def as_markdown(table: pl.DataFrame) -> str:
    """The summary as a table, one line a policy."""
    lines = [
        "| world | hulls | fleets | past failures | policy | expected cost | failures | "
        "spent on fuel | in fleets | top ends | of oracle's saving | over best simple | "
        "in the worst fleet |",
        "|---|--:|--:|--:|---|--:|--:|--:|--:|--:|--:|--:|--:|",
    ]
    for row in summary(table).iter_rows(named=True):
        share = row["share_of_oracle"]
        lines.append(
            f"| {row['world']} | {row['hulls']} | {row['fleets']} | {row['past_failures']:.1f} | "
            f"{row['policy']} | {row['total']:,.0f} | {row['failures']:.2f} | {row['fuel']:,.0f} | "
            f"{row['spends_on_fuel']} | "
            f"{row['top_ends']:.1f} | {'none to save' if share is None else f'{share:.0%}'} | "
            f"{row['over_best_simple']:+.1%} | {row['worst_over']:+.1%} |"
        )
    return "\n".join(lines)


def run(seasons: Mapping[int, int], say=lambda words: None) -> pl.DataFrame:  # type: ignore[no-untyped-def]
    """All worlds at the fleet sizes and numbers of fleets given."""
    rows = []
    for n_hulls, fleets in seasons.items():
        for world in WORLDS:
            for seed in range(1, fleets + 1):
                rows += season_rows(world, n_hulls, seed)
                say(f"{world}, {n_hulls} hulls, fleet {seed}")
    return pl.DataFrame(rows)


def pays_by_chance(seed: int, n_hulls: int = 48) -> dict[str, float]:
    """By a history without a fuel effect: the chance that each action on fuel helps.

    Looked at in the middle of the season to come, the hulls as usual until then.
    """
    start = regret_world.make_world(replace(WORLDS["no fuel effect"], hulls=n_hulls), seed)
    fits = fit_fleet(start.spells, SETTINGS, np.random.default_rng(seed))
    hulls, bill = regret_world.at_opening(start), regret_world.Bill()
    for until in range(WEEK_D, MID_SEASON_D + WEEK_D, WEEK_D):
        for hull in hulls:
            regret_world.run_week(hull, (), until, world=start, catalogue=CATALOGUE, bill=bill)
    options = option_table(
        regret_world.view(hulls, MID_SEASON_D),
        planning_hazard(fits, SETTINGS),
        catalogue=CATALOGUE,
        prices=PRICES,
        horizon_d=30.0,
        assumptions=SETTINGS,
    )
    shown = options.filter(pl.col("option").is_in(FUEL_ACTIONS)).unique("option")
    return dict(shown.select("option", "shown_chance").sort("option").iter_rows())


def most_by_chance(n_fleets: int) -> int:
    """More fleets than this would pay for fuel by chance in less than one study of a hundred."""
    return int(binom.ppf(0.99, n_fleets, BY_CHANCE))


@pytest.mark.study
def test_the_plan_saves_most_of_what_an_oracle_saves_at_48_hulls() -> None:
    """Owner's figures: 60 % of the oracle's saving; 5 % over the best simple policy at most."""
    tool = summary(run({48: 3})).filter(pl.col("policy") == "this tool")

    shares = tool.filter(pl.col("share_of_oracle").is_not_null())["share_of_oracle"]
    assert shares.len() > 0
    assert shares.min() >= 0.60  # type: ignore[operator]
    assert tool["over_best_simple"].max() <= 0.05  # type: ignore[operator]


@pytest.mark.study
def test_fuel_is_paid_for_by_chance_alone_where_it_has_no_effect() -> None:
    """Owner's figure: in the no-effect world no fuel spending beyond chance."""
    least = SETTINGS.number("planning.least_chance_shown")
    seeds = range(201, 213)
    paid = sum(max(pays_by_chance(seed).values()) >= least for seed in seeds)

    assert paid <= most_by_chance(len(seeds))


if __name__ == "__main__":
    if sys.argv[1] == "by-chance":
        first, last = int(sys.argv[2]), int(sys.argv[3])
        level = SETTINGS.number("planning.least_chance_shown")
        found = {seed: pays_by_chance(seed) for seed in range(first, last + 1)}
        paying = [seed for seed, shown in found.items() if max(shown.values()) >= level]
        print(
            f"Of {len(found)} histories without a fuel effect (seeds {first} to {last}), "
            f"{len(paying)} make the plan pay for an action on fuel{f': {paying}' * bool(paying)}; "
            f"chance alone leaves up to {most_by_chance(len(found))}."
        )
        sys.exit()
    table = run(
        {int(sys.argv[1]): int(sys.argv[2])},
        say=lambda words: print(words, file=sys.stderr, flush=True),
    )
    print(as_markdown(table))
