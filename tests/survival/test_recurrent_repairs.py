"""Mean cumulative number of repairs: valve seats, by hand, and by resampling hulls."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.survival.lives.life_data import LifeDataError
from ringland.survival.lives.life_tables import nelson_aalen
from ringland.survival.repairs.recurrent_repairs import mean_cumulative_function

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
VALUES = json.loads((REFERENCE / "checks.json").read_text())["E1"]["values"]
SEATS = pl.read_csv(REFERENCE / "valve_seat.csv")


def valve_seats():
    ends = SEATS.filter(pl.col("status") == 0)
    repairs = SEATS.filter(pl.col("status") == 1)
    return mean_cumulative_function(
        ends["id"].to_list(),
        np.zeros(ends.height),
        ends["time"],
        repairs["id"].to_list(),
        repairs["time"],
    )


def test_valve_seats_agree_with_nelson():
    """Check E1: Nelson (1995) valve seats of 41 engines, Lawless-Nadeau and Poisson errors."""
    got = valve_seats()
    assert (got.n_hulls, got.n_repairs) == (VALUES["n_units"], VALUES["n_events"])
    ages = sorted({int(key.split(".")[0][2:]) for key in VALUES if key.startswith("t=")})
    assert len(ages) == 10
    for age, row in zip(ages, got.at(ages), strict=True):
        for key, value in zip(("mcf", "se_lawless_nadeau", "se_poisson"), row[:3], strict=True):
            assert value == pytest.approx(VALUES[f"t={age}.{key}"], rel=1e-8)  # closed forms


def test_three_hulls_by_hand():
    """Hull b joins at 10 and its repair at 10 belongs to nobody at risk there but a and c."""
    got = mean_cumulative_function(
        ["a", "b", "c"], [0, 10, 0], [30, 40, 20], ["a", "b", "b", "a"], [10, 20, 40, 20]
    )
    # at 10: a, c; at 20: a, b, c with two repairs; at 40: b alone
    assert got.at_risk.tolist() == [2, 3, 1]
    assert got.mean == pytest.approx([1 / 2, 1 / 2 + 2 / 3, 1 / 2 + 2 / 3 + 1])
    # deviations at 20: a (1/2)/2 + (1/3)/3, b (1/3)/3, c -(1/2)/2 - (2/3)/3
    course = [1 / 4 + 1 / 9, 1 / 9, -1 / 4 - 2 / 9]
    assert got.robust_error[1] == pytest.approx(np.sqrt(np.sum(np.square(course))))


def test_one_repair_each_is_nelson_aalen():
    """Hulls that leave at their only repair: the mean number is the cumulative hazard."""
    exit_, failed = np.array([5.0, 8, 8, 12, 15]), np.array([1, 1, 0, 1, 0])
    got = mean_cumulative_function(
        range(5), np.zeros(5), exit_, np.flatnonzero(failed).tolist(), exit_[failed == 1]
    )
    expected = nelson_aalen(exit_, failed).at(got.age)
    assert got.mean == pytest.approx(expected.estimate)
    assert got.poisson_error == pytest.approx(expected.standard_error)


def test_robust_error_agrees_with_resampling_hulls():
    """Valve seats: bootstrap of engines at day 600, 2,000 draws (error of an error 1.6 %)."""
    rng = np.random.default_rng(12)
    ends = dict(SEATS.filter(pl.col("status") == 0).select("id", "time").iter_rows())
    repairs = SEATS.filter(pl.col("status") == 1).group_by("id").agg("time")
    by_id = dict(repairs.iter_rows())
    ids = list(ends)
    means = []
    for _ in range(2000):
        chosen = [ids[k] for k in rng.integers(0, len(ids), len(ids))]
        pairs = [(copy, t) for copy, name in enumerate(chosen) for t in by_id.get(name, [])]
        got = mean_cumulative_function(
            range(len(chosen)), np.zeros(len(chosen)), [ends[name] for name in chosen],
            [copy for copy, _ in pairs], [t for _, t in pairs],
        )  # fmt: skip
        means.append(got.at([600])[0, 0])
    assert np.std(means) == pytest.approx(valve_seats().at([600])[0, 1], rel=0.08)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.integers(0, 10_000))
def test_splitting_a_window_and_renaming_hulls_change_nothing(seed):
    rng = np.random.default_rng(seed)
    end = rng.integers(20, 60, 6).astype(float)
    hulls = [f"h{k}" for k in range(6)]
    who = rng.integers(0, 6, 12)
    when = np.ceil(rng.random(12) * end[who])
    one = mean_cumulative_function(hulls, np.zeros(6), end, [hulls[k] for k in who], when)
    cut = np.floor(end / 2)
    order = rng.permutation(12)
    split = mean_cumulative_function(
        [h.upper() for h in hulls] * 2,
        np.concatenate([cut, np.zeros(6)]),
        np.concatenate([end, cut]),
        [hulls[k].upper() for k in who[order]],
        when[order],
    )
    assert split.mean == pytest.approx(one.mean, rel=1e-12)
    assert split.robust_error == pytest.approx(one.robust_error, rel=1e-9)


@pytest.mark.parametrize(
    ("start", "end", "who", "when", "says"),
    [
        ([0, 5], [10, 5], ["a"], [3], "window row 2"),
        ([0, 0], [10, 10], ["a"], [11], "repair row 1"),
        ([0, 0], [10, 10], ["z"], [1], "repair row 1"),
        ([0, 0], [10, 10], [], [], "no repairs"),
    ],
)
def test_bad_row_is_named(start, end, who, when, says):
    with pytest.raises(LifeDataError, match=says):
        mean_cumulative_function(["a", "b"], start, end, who, when)


def test_overlapping_windows_are_refused():
    with pytest.raises(LifeDataError, match="overlaps"):
        mean_cumulative_function(["a", "a"], [0, 5], [10, 15], ["a"], [3])
