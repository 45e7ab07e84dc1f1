"""The fit held against its own record: quiet where it follows it, loud where it cannot."""

import numpy as np
import polars as pl

from ringland.risk.fit_against_record import against_record
from ringland.risk.fleet_hazard import fit_fleet
from ringland.settings.assumptions import load_assumptions
from ringland.words.record_check_words import against_record_line
from tests.risk.made_spells import made_spells, weibull_truth

SETTINGS = load_assumptions().changed(survival__draws=300)
MODE = "ring_land_fracture"


def test_a_fit_of_its_own_world_misses_nothing_and_adds_up() -> None:
    spells = made_spells(weibull_truth(), n_sets=120)

    rows = fit_fleet(spells, SETTINGS, np.random.default_rng(1)).against_record

    assert not rows["misses"].any()
    seen = rows.filter(pl.col("mode") == MODE).group_by("kind").agg(pl.col("seen").sum())
    assert set(seen["seen"]) == {spells["mode"].eq(MODE).sum()}
    assert set(seen["kind"]) == {"age", "shortfall", "dock", "season"}


def test_a_part_with_twice_the_failures_expected_is_a_miss_and_is_told() -> None:
    """Twelve failures from 100 to 200 h where the hazard gives two: beyond any Poisson limit."""
    spells = made_spells(weibull_truth(), n_sets=120)
    at = spells["start_h"].is_between(100, 200, closed="left").to_numpy()
    failed = spells["mode"].eq(MODE).fill_null(False).to_numpy()
    hazard = np.where(at, 2.0 / at.sum(), 60.0 / (~at).sum())[None, :]

    rows = against_record(spells, hazard, MODE, SETTINGS)

    (row,) = rows.filter((pl.col("kind") == "age") & (pl.col("part") == "100 to 200 h")).to_dicts()
    assert row["seen"] == (failed & at).sum() > row["high"]
    assert row["misses"]
    line = against_record_line(row)
    assert line.startswith("Doubt: ring-land fracture, piston sets of 100 to 200 h")
    assert "too low" in line


def test_limits_of_a_part_are_those_of_a_poisson_count() -> None:
    """Five parts of age at 95 %: 0.5 % either side; of a mean of 10 that is 3 and 19."""
    spells = made_spells(weibull_truth(), n_sets=120)
    at = spells["start_h"].is_between(25, 100, closed="left").to_numpy()
    hazard = np.where(at, 10.0 / at.sum(), 0.1 / (~at).sum())[None, :]

    rows = against_record(spells, hazard, MODE, SETTINGS)

    row = rows.filter((pl.col("kind") == "age") & (pl.col("part") == "25 to 100 h")).row(
        0, named=True
    )
    # R: qpois(c(0.005, 0.995), 10) gives 3 and 19
    assert (row["low"], row["high"]) == (3.0, 19.0)
