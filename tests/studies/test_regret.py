"""What the weekly plan saves of what an oracle saves, on the generator's truth.

    pytest -m study tests/studies/test_regret.py                      checks the owner's figures
    python tests/studies/test_regret.py [times] > tests/studies/regret.md   the whole table;
                                                  times 0.5 runs half as many fleets

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

from ringland.assumptions import load_assumptions
from ringland.fleet_risk.fleet_hazard import fit_fleet
from ringland.service_week.action_catalogue import NOTHING
from ringland.service_week.action_options import option_table
from ringland.service_week.action_prices import prices
from ringland.service_week.catalogue_file import default_catalogue
from ringland.service_week.hazard_ahead import CumulativeHazard, planning_hazard
from ringland.service_week.week_limits import WeekLimits
from ringland.service_week.week_planner import plan_week
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
FUEL_ACTIONS = {"fuel_rule", "drain_refill", "mild_calibration"}

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


SEASONS = {48: 8, 12: 6, 120: 1}
"""Fleets by number of hulls in each world, in the table of `regret.md`."""

POLICIES = ("run to failure", "new set at 400 h", "fuel-age rule", "this tool", "oracle")
SIMPLE = POLICIES[:3]


def season_rows(world: str, n_hulls: int, seed: int) -> list[dict[str, object]]:
    """The bill of each policy on one fleet, and whether its history shows an effect of fuel."""
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
    effects = [] if fits.ring_land.hazard is None else fits.ring_land.hazard.effects(0.95)
    shows_fuel = any(e.low > 1 for e in effects if e.name in ("shortfall_25h_on", "fuel_age_25h_d"))
    rows = []
    for policy in POLICIES:
        bill = regret_world.play(start, decide[policy], CATALOGUE, PRICES)
        rows.append(
            {
                "world": world, "hulls": n_hulls, "seed": seed, "policy": policy,
                "past_failures": fits.ring_land.n_failures, "shows_fuel": shows_fuel,
                "total": bill.total, "failures": bill.failures, "fuel": bill.fuel_cost,
                "fuel_hull_weeks": bill.fuel_hull_weeks, "top_ends": bill.top_ends,
            }
        )  # fmt: skip
    return rows


def summary(table: pl.DataFrame) -> pl.DataFrame:
    """Means over fleets: cost, share of the oracle's saving, cost over the best simple policy."""
    means = table.group_by("world", "hulls", "policy", maintain_order=True).agg(
        pl.len().alias("fleets"),
        pl.col("past_failures", "total", "failures", "fuel", "top_ends").mean(),
        shows_fuel=pl.col("shows_fuel").sum(),
        spends_on_fuel=(pl.col("fuel") > 0).sum(),
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
        "spent on fuel | top ends | of oracle's saving | over best simple |",
        "|---|--:|--:|--:|---|--:|--:|--:|--:|--:|--:|",
    ]
    for row in summary(table).iter_rows(named=True):
        share = row["share_of_oracle"]
        lines.append(
            f"| {row['world']} | {row['hulls']} | {row['fleets']} | {row['past_failures']:.1f} | "
            f"{row['policy']} | {row['total']:,.0f} | {row['failures']:.2f} | {row['fuel']:,.0f} | "
            f"{row['top_ends']:.1f} | {'none to save' if share is None else f'{share:.0%}'} | "
            f"{row['over_best_simple']:+.1%} |"
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


@pytest.mark.study
def test_the_plan_saves_most_of_what_an_oracle_saves_at_48_hulls() -> None:
    """Owner's figures: 60 % of the oracle's saving; 5 % over the best simple policy at most."""
    tool = summary(run({48: 3})).filter(pl.col("policy") == "this tool")

    shares = tool.filter(pl.col("share_of_oracle").is_not_null())["share_of_oracle"]
    assert shares.len() > 0
    assert shares.min() >= 0.60  # type: ignore[operator]
    assert tool["over_best_simple"].max() <= 0.05  # type: ignore[operator]


if __name__ == "__main__":
    times = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    wanted = {hulls: max(1, round(times * fleets)) for hulls, fleets in SEASONS.items()}
    found = run(wanted, say=lambda words: print(words, file=sys.stderr, flush=True))
    found.write_csv(sys.stderr) if "--rows" in sys.argv else None
    print(as_markdown(found))
    no_effect = found.filter(
        (pl.col("world") == "no fuel effect") & (pl.col("policy") == "this tool")
    )
    print(
        f"\nWithout a fuel effect: {no_effect['shows_fuel'].sum()} of {no_effect.height} histories "
        f"show one (lower 95 % limit of shortfall or fuel age above 1); the tool spends on fuel in "
        f"{(no_effect['fuel'] > 0).sum()} of them, {no_effect['fuel'].mean():,.0f} on average."
    )
