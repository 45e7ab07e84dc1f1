from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import polars as pl
import pytest

from ringland.contracts.fuel_tables import Spells
from ringland.contracts.records import Rebuilds
from ringland.rebuilds.rebuild_comparison import (
    RebuildComparison,
    builds_after_rebuild,
    compare_rebuilds,
    poisson_limits,
)
from ringland.rebuilds.rebuild_lines import answer_lines
from ringland.settings.assumptions import load_assumptions
from tests.causes.cause_rows import lives

ASSUMPTIONS = load_assumptions().changed(survival__draws=200)
REBUILT = datetime(2025, 5, 1, 12, tzinfo=UTC)


def rebuild(
    engine: str,
    scope: str = "full",
    is_head_tested: bool | None = True,
    cost: float | None = 6000.0,
) -> dict[str, object]:
    return {
        "engine_id": engine,
        "rebuilt_at": REBUILT,
        "scope": scope,
        "is_head_tested": is_head_tested,
        "cost": cost,
    }


def rebuilds(*rows: dict[str, object]) -> pl.DataFrame:
    schema = {name: column.dtype for name, column in Rebuilds.columns().items()}
    return pl.DataFrame(list(rows), schema=schema)


def spells(builds: list[dict[str, object]], step_h: float = 10.0) -> pl.DataFrame:
    """Stretches of each build's life; `exit_h`, `mode` and `shortfall` from its row."""
    rows = []
    for build in builds:
        cuts = [*np.arange(0, build["exit_h"], step_h), build["exit_h"]]
        for start, stop in pairwise(cuts):
            rows.append(
                {
                    "piston_set_id": build["piston_set_id"],
                    "engine_id": build["engine_id"],
                    "hull_id": build["hull_id"],
                    "dock_id": "D",
                    "start_h": float(start),
                    "stop_h": float(stop),
                    "start_at": REBUILT,
                    "stop_at": REBUILT,
                    "mode": build["mode"] if stop == build["exit_h"] else None,
                    "shortfall_25h_on": build["shortfall"],
                    "fuel_age_25h_d": 5.0,
                    "full_throttle_25h": 0.25,
                    "is_raised_calibration": False,
                }
            )
    schema = {name: column.dtype for name, column in Spells.columns().items()}
    return pl.DataFrame(rows, schema=schema)


def test_exact_limits_of_few_failures_are_those_of_the_tables() -> None:
    # exact 95 % Poisson limits, standard tables: 3, 5 and 10 events
    assert poisson_limits(3, 0.95) == pytest.approx((0.6187, 8.7673), abs=1e-4)  # 4 decimals
    assert poisson_limits(5, 0.95) == pytest.approx((1.6235, 11.6683), abs=1e-4)
    assert poisson_limits(10, 0.95) == pytest.approx((4.7954, 18.3904), abs=1e-4)
    assert poisson_limits(0, 0.95) == pytest.approx((0.0, 3.6889), abs=1e-4)


def test_a_rebuild_is_joined_to_the_set_it_fitted_and_one_without_is_said() -> None:
    own = lives({"P1": 100.0, "P2": 50.0}).with_columns(
        fitted_at=pl.Series([REBUILT + timedelta(days=3), REBUILT + timedelta(days=200)])
    )
    builds, notes = builds_after_rebuild(
        own, rebuilds(rebuild("E-P1"), rebuild("E-P2"), rebuild("E-gone")), ASSUMPTIONS
    )
    assert builds["piston_set_id"].to_list() == ["P1"]
    assert notes == ("2 rebuild(s) fitted no piston set that is on record and are left out.",)


def test_an_unknown_head_test_is_a_group_of_its_own() -> None:
    own = lives({"P1": 100.0, "P2": 50.0, "P3": 10.0})
    builds, _ = builds_after_rebuild(
        own,
        rebuilds(rebuild("E-P1"), rebuild("E-P2", "top_end", False), rebuild("E-P3", "full", None)),
        ASSUMPTIONS,
    )
    assert set(builds["group"]) == {
        "full, head tested",
        "top end, head not tested",
        "full, head test not on record",
    }


def test_failures_per_1000_h_and_cost_per_hour_by_hand() -> None:
    own = lives({"P1": 300.0, "P2": 100.0}).with_columns(
        state=pl.Series(["failed", "running"]), mode=pl.Series(["ring_wear", None])
    )
    builds, _ = builds_after_rebuild(
        own, rebuilds(rebuild("E-P1"), rebuild("E-P2", cost=2000.0)), ASSUMPTIONS
    )
    row = compare_rebuilds(builds, spells([]), ASSUMPTIONS, np.random.default_rng(1)).groups.row(
        0, named=True
    )
    assert row["per_1000_h"] == pytest.approx(1 / 400 * 1000)
    assert row["cost_per_h"] == pytest.approx(8000 / 400)
    # two builds: every draw costs 20 per hour, so do the limits
    assert row["cost_low"] == pytest.approx(20.0)
    assert row["cost_high"] == pytest.approx(20.0)


def test_without_a_failure_there_is_a_limit_but_no_ratio() -> None:
    own = lives({"P1": 300.0, "P2": 100.0})
    builds, _ = builds_after_rebuild(
        own, rebuilds(rebuild("E-P1"), rebuild("E-P2", "top_end")), ASSUMPTIONS
    )
    made = compare_rebuilds(
        builds,
        spells([row | {"shortfall": 0.0} for row in builds.iter_rows(named=True)]),
        ASSUMPTIONS,
        np.random.default_rng(1),
    )
    assert made.ratios.is_empty()
    assert made.groups["failures"].sum() == 0
    assert (made.groups["high"] > 0).all()
    assert any("no failure after a rebuild" in note for note in made.notes)


def test_the_exact_rate_ratio_by_hand_and_with_no_failure_in_one_arm() -> None:
    own = lives({"P1": 100.0, "P2": 200.0, "P3": 100.0}).with_columns(
        state=pl.Series(["failed", "running", "failed"]),
        mode=pl.Series(["ring_wear", None, "other"]),
    )
    jobs = rebuilds(rebuild("E-P1"), rebuild("E-P2"), rebuild("E-P3", "top_end"))
    builds, _ = builds_after_rebuild(own, jobs, ASSUMPTIONS)
    rng = np.random.default_rng(1)
    row = compare_rebuilds(builds, spells([]), ASSUMPTIONS, rng).ratios.row(0, named=True)
    # one failure in 300 h against one in 100 h; Clopper-Pearson of 1 in 2 is 0.01258 to 0.98742
    assert row["hazard_ratio"] == pytest.approx(1 / 3)
    assert row["low"] == pytest.approx(0.01258 / 0.98742 / 3, rel=1e-3)  # 4 digits
    assert row["high"] == pytest.approx(0.98742 / 0.01258 / 3, rel=1e-3)
    only_top = compare_rebuilds(builds, spells([]), ASSUMPTIONS, rng, ["other"]).ratios
    assert only_top["hazard_ratio"][0] == 0.0
    assert only_top["low"][0] == 0.0
    assert np.isfinite(only_top["high"][0])


def planted(seed: int, log_ratio: float) -> RebuildComparison:
    """160 builds with constant hazard; full rebuilds run on the worse fuel (confounded)."""
    rng = np.random.default_rng(seed)
    builds, jobs = [], []
    for n in range(160):
        is_full = rng.random() < 0.5
        shortfall = float(rng.gamma(2.0, 1.0) + is_full)
        hazard = 0.002 * np.exp(log_ratio * is_full + 0.4 * shortfall)
        fails_at, seen_until = rng.exponential(1 / hazard), rng.uniform(100, 300)
        builds.append(
            {
                "piston_set_id": f"P{n}",
                "engine_id": f"E-P{n}",
                "hull_id": f"H{n % 40}",
                "exit_h": float(min(fails_at, seen_until)),
                "mode": "ring_land_fracture" if fails_at < seen_until else None,
                "shortfall": shortfall,
            }
        )
        jobs.append(rebuild(f"E-P{n}", "full" if is_full else "top_end"))
    own = lives({str(b["piston_set_id"]): float(str(b["exit_h"])) for b in builds}).with_columns(
        state=pl.Series(["failed" if b["mode"] else "running" for b in builds]),
        mode=pl.Series([b["mode"] for b in builds]),
    )
    joined, _ = builds_after_rebuild(own, rebuilds(*jobs), ASSUMPTIONS)
    return compare_rebuilds(joined, spells(builds, 50.0), ASSUMPTIONS, rng)


@pytest.mark.parametrize("true_ratio", [0.4, 1.0])
def test_the_planted_ratio_lies_in_its_interval_as_often_as_claimed(true_ratio: float) -> None:
    hits, biased_hits, runs = 0, 0, 12
    for seed in range(runs):
        ratios = planted(seed, float(np.log(true_ratio))).ratios.filter(pl.col("arm") == "is_full")
        adjusted = ratios.filter("adjusted").row(0, named=True)
        plain = ratios.filter(~pl.col("adjusted")).row(0, named=True)
        hits += adjusted["low"] <= true_ratio <= adjusted["high"]
        biased_hits += plain["low"] <= true_ratio <= plain["high"]
    # at 95 % a run of 12 holds fewer than 10 with a chance of 2 %
    assert hits >= 10
    # the fuel that goes with full rebuilds pulls the unadjusted ratio away
    assert biased_hits < hits


def test_a_ratio_on_too_few_failures_names_no_direction() -> None:
    """'It goes with more failures' stood above 'rests on 4 failures for 5 factors: doubtful'."""
    made = planted(0, 0.0)
    adjusted = made.ratios.filter("adjusted").head(1)
    sure, doubted = (
        answer_lines(
            replace(
                made,
                ratios=adjusted.with_columns(
                    low=pl.lit(1.2), is_doubtful=pl.lit(is_doubtful), failures=pl.lit(4)
                ),
            )
        )[0]
        for is_doubtful in (False, True)
    )
    assert "goes with more failures" in sure
    assert "doubtful: 4 failures" in doubted
    assert "more failures" not in doubted
