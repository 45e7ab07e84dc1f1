"""Do shown chances hold on worlds whose shape the model does not assume?

    pytest -m study tests/studies/test_world_chances.py        the owner's figures, few fleets
    python -m tests.studies.chances_of_worlds OUT.jsonl ...    all fleets, resumable

The tests without the mark run one tiny fleet, so that the study cannot rot.
"""

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from synthetic_data.worlds.world_shapes import HARMLESS, SHAPES
from tests.studies import chances_table
from tests.studies.chances_of_worlds import one_fleet
from tests.studies.study_file import read_lines, run_fleets

FEW = 3
"""Fleets a world in the marked tests; the study's own command takes a hundred."""


@cache
def tiny() -> dict[str, Any]:
    return {"shape": "log-linear", "hulls": 8, "seed": 1, "commit": "x"} | one_fleet(
        "log-linear", 8, 1
    )


@cache
def few() -> tuple[dict[str, Any], ...]:
    return tuple(
        {"shape": shape, "hulls": 48, "seed": seed, "commit": "x"} | one_fleet(shape, 48, seed)
        for shape in SHAPES
        for seed in range(101, 101 + FEW)
    )


def test_a_fleet_is_judged_from_its_faulty_record_files() -> None:
    found = tiny()
    rows = pl.DataFrame(found["columns"], strict=False, infer_schema_length=None)

    assert found["rows_in"] > 3000
    assert found["set_aside"] > 0
    assert rows["30d"].drop_nulls().is_between(0, 1).all()
    assert (rows["true_30d"] > 0).all()
    both = rows.filter(pl.col("30d").is_not_null())
    assert ((both["age_h"] - both["true_age_h"]).abs() < 40).mean() > 0.8


def test_a_stopped_run_goes_on_where_it_was(tmp_path: Path) -> None:
    file, asked = tmp_path / "out.jsonl", []

    def fleet(shape: str, hulls: int, seed: int) -> dict[str, int]:
        asked.append(seed)
        return {"value": hulls}

    run_fleets(file, [("a", 8, 1)], fleet, budget_s=60)
    run_fleets(file, [("a", 8, 1), ("a", 8, 2)], fleet, budget_s=60)

    assert asked == [1, 2]
    assert [row["seed"] for row in read_lines(file)] == [1, 2]


def test_the_tables_tell_a_forecast_that_is_half_the_truth() -> None:
    """Slope stays 1 on odds moved by a factor; said over true is near that factor."""
    line = json.loads(json.dumps(tiny()))
    line["columns"]["30d"] = [
        None if said is None else true / 2 / (1 - true / 2)
        for said, true in zip(line["columns"]["30d"], line["columns"]["true_30d"], strict=True)
    ]

    (rows,) = chances_table.fleets_of([line])

    assert chances_table.said_over_true(rows) == pytest.approx(0.5, abs=0.06)
    assert chances_table.slope(rows) == pytest.approx(1.0, abs=0.1)
    assert "8 hulls" in chances_table.as_markdown([line])


def test_fleets_whose_level_is_missed_lower_the_slope_but_not_that_within_fleets() -> None:
    rng = np.random.default_rng(1)
    odds = rng.normal(-3, 0.7, 4000)
    fleet = np.arange(odds.size) % 40
    missed = rng.normal(0, 0.5, 40)[fleet]
    chance = {"true_30d": 1 / (1 + np.exp(-odds)), "30d": 1 / (1 + np.exp(-odds - missed))}
    rows = pl.DataFrame(chance | {"fleet": fleet})

    assert chances_table.slope(rows) < 0.85
    assert chances_table.slope(rows, within=True) == pytest.approx(1.0, abs=1e-6)


def test_a_level_learned_from_more_failures_costs_less_of_the_slope() -> None:
    rng = np.random.default_rng(1)
    fleets = []
    for _ in range(60):
        true = 1 / (1 + np.exp(-rng.normal(-3, 0.7, 48)))
        fleets.append(pl.DataFrame({"true_30d": true, "averaged_30d": true}))

    few, many = (chances_table.but_for_level(fleets, [n] * 60) for n in (5, 500))

    assert few < 0.85
    assert many == pytest.approx(1.0, abs=0.02)


@pytest.mark.study
def test_the_shown_range_holds_the_true_chance_of_48_hulls() -> None:
    """Owner's figures: 93 %, in the riskiest tenth 90 %, less sampling error."""
    fleets = chances_table.fleets_of(few())
    share, low, high = chances_table.with_limits(fleets, chances_table.held)
    tenth = [chances_table.riskiest(fleet) for fleet in fleets]
    risky, risky_low, risky_high = chances_table.with_limits(tenth, chances_table.held)

    assert share >= 0.93 - (high - low) / 2
    assert risky >= 0.90 - (risky_high - risky_low) / 2


@pytest.mark.study
def test_failures_said_are_those_of_the_truth_in_each_age_band() -> None:
    """Owner's figures: 0.85 to 1.2 in each band; slope 0.85 to 1.15."""
    rows = pl.concat(chances_table.fleets_of(few()), how="diagonal")
    for low, high in zip(chances_table.AGES[:-1], chances_table.AGES[1:], strict=True):
        band = rows.filter(pl.col("age_h").is_between(low, high, closed="left"))
        assert 0.85 <= chances_table.said_over_true(band) <= 1.2, (low, high)
    assert 0.85 <= chances_table.slope(rows) <= 1.15


@pytest.mark.study
def test_the_tool_is_nearer_the_truth_than_every_rule() -> None:
    """Owner's figure: with the limits of the paired difference."""
    fleets = chances_table.fleets_of(few())
    for rule in chances_table.RULES:
        gain, low, _ = chances_table.with_limits(fleets, chances_table.nearer_than(rule))
        assert gain > low > 0, rule


@pytest.mark.study
def test_where_the_hazard_jumps_the_hulls_called_worst_are_as_bad_as_that() -> None:
    """Owner's figure: the worst tenth's chance within 25 % of the truth on the mean."""
    lines = [line for line in few() if line["shape"] in chances_table.JUMPS]
    jumps = chances_table.fleets_of(lines)
    worst = [chances_table.riskiest(fleet, "30d") for fleet in jumps]

    assert 0.75 <= chances_table.said_over_true(pl.concat(worst, how="diagonal")) <= 1.25


@pytest.mark.study
def test_harmless_fuel_is_seldom_called_harmful() -> None:
    """Owner's figure: at most 5 % of 100 fleets; of these few, no more than chance allows."""
    harmless = [line for line in few() if line["shape"] in HARMLESS]
    claimed = sum("shortfall_25h_on" in line["clear"] for line in harmless)

    assert claimed <= 1 + 0.05 * len(harmless)
