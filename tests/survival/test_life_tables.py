"""Life tables against published tables, against lifelines, by hand, and by their properties."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.survival.lives.life_data import LifeDataError, ended_lives, piston_life_columns
from ringland.survival.lives.life_tables import (
    kaplan_meier,
    nelson_aalen,
    quantile_life,
    risk_counts,
)

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
CHECKS = json.loads((REFERENCE / "checks.json").read_text())
REMISSION = pl.read_csv(REFERENCE / "leukemia_6mp.csv")
HEART = pl.read_csv(REFERENCE / "stanford_heart.csv")
EXACT = 1e-8  # the tolerance the reference states; both are closed forms


@pytest.mark.parametrize("scale", ["plain", "log", "log-log"])
def test_remission_table_agrees_with_klein_and_moeschberger(scale):
    """Check A1: Klein and Moeschberger (1997), section 1.2 data, recomputed with R survival."""
    values = CHECKS["A1"]["values"]
    name = scale.replace("-", "")
    table = kaplan_meier(REMISSION["time"], REMISSION["event"], limits=scale)
    times = [t for t in values["event_times"] if f"{name}.t={t:g}.surv" in values]
    assert times
    got = table.at(times)
    for row, t in enumerate(times):
        for key, column in [
            ("surv", got.estimate),
            ("se", got.standard_error),
            ("lo", got.low),
            ("hi", got.high),
            ("n_risk", got.at_risk),
        ]:
            expected = values[f"{name}.t={t:g}.{key}"]
            assert column[row] == pytest.approx(expected, rel=EXACT), (t, key)


def test_remission_hazard_and_median_agree_with_klein_and_moeschberger():
    """Check A1: Nelson-Aalen with Aalen's variance, and the median with its lower limit."""
    values = CHECKS["A1"]["values"]
    hazard = nelson_aalen(REMISSION["time"], REMISSION["event"]).at(values["event_times"])
    assert hazard.estimate == pytest.approx(values["na.H"], rel=EXACT)
    assert hazard.standard_error == pytest.approx(values["na.se"], rel=EXACT)
    median = quantile_life(kaplan_meier(REMISSION["time"], REMISSION["event"]))
    assert (median.value, median.low) == (values["median_loglog"], values["median_loglog_lo"])
    assert median.high == np.inf  # the upper limit never falls to one half


@pytest.mark.parametrize("transplant", [0, 1])
def test_delayed_entry_agrees_with_r_survival(transplant):
    """Check A3: Crowley and Hu (1977) heart transplants over (start, stop], R survival 3.5-3."""
    rows = HEART.filter(pl.col("transplant") == transplant)
    got = kaplan_meier(rows["stop"], rows["event"], entry=rows["start"]).at([50, 100, 200, 400])
    for row, t in enumerate([50, 100, 200, 400]):
        for key, column in [
            ("surv", got.estimate),
            ("se", got.standard_error),
            ("n_risk", got.at_risk),
        ]:
            expected = CHECKS["A3"]["values"][f"transplant={transplant}.t={t}.{key}"]
            assert column[row] == pytest.approx(expected, rel=EXACT), (t, key)


def test_six_lives_by_hand():
    """Unsorted, a failure tied with a censoring, an entry at the hour of a failure."""
    exit_ = [40.0, 10.0, 20.0, 20.0, 30.0, 40.0]
    failed = [1, 1, 1, 0, 1, 0]
    entry = [0.0, 0.0, 0.0, 5.0, 20.0, 10.0]
    # at 10: rows 1, 2, 3, 4 (row 5 enters at 20, row 6 at 10 itself); at 20: rows 1, 3, 4, 6;
    # at 30: rows 1, 5, 6; at 40: rows 1, 6
    table = kaplan_meier(exit_, failed, entry=entry)
    assert table.time.tolist() == [10, 20, 30, 40]
    assert table.at_risk.tolist() == [4, 4, 3, 2]
    assert table.failures.tolist() == [1, 1, 1, 1]
    assert table.censored.tolist() == [0, 1, 0, 1]
    survival = [3 / 4, 9 / 16, 3 / 8, 3 / 16]
    assert table.estimate == pytest.approx(survival, rel=1e-14)  # rounding only
    greenwood = np.cumsum([1 / 12, 1 / 12, 1 / 6, 1 / 2])
    assert table.standard_error == pytest.approx(survival * np.sqrt(greenwood), rel=1e-14)
    assert table.warnings == ()


def test_risk_set_that_empties_early_is_said_not_shown_as_zero():
    """With delayed entry the first life alone at risk takes survival to 0 for everyone."""
    table = kaplan_meier([2, 50, 60, 70], [1, 1, 0, 1], entry=[0, 30, 30, 30])
    assert table.estimate[0] == 0.0
    assert any("all lives at risk at 2 failed" in text for text in table.warnings)
    later = kaplan_meier([2, 50, 60, 70], [1, 1, 0, 1], entry=[0, 30, 30, 30], from_age=30)
    assert later.warnings == ()
    assert later.n_before == 1
    assert later.estimate == pytest.approx([2 / 3, 2 / 3, 0.0])


def test_limits_without_width_are_not_called_certain():
    table = kaplan_meier([10, 20], [0, 0])
    assert table.estimate.tolist() == [1, 1]
    assert "zero_failure_bound" in table.warnings[0]


def test_gap_without_lives_and_late_first_entry_are_said():
    table = kaplan_meier([20, 30, 60], [0, 0, 1], entry=[10, 15, 40])
    assert any("before 10" in text for text in table.warnings)
    assert any("from 30 to 40" in text for text in table.warnings)


def test_survival_beyond_the_last_running_life_is_not_known():
    table = kaplan_meier([10, 20], [1, 0])
    assert np.isnan(table.at([21]).estimate[0])
    assert table.at([5]).estimate[0] == 1.0
    assert kaplan_meier([10, 20], [1, 1]).at([21]).estimate[0] == 0.0


@pytest.mark.parametrize(
    ("exit_", "failed", "entry", "says"),
    [
        ([5, 3], [1, 1], [0, 3], "row 2: entry 3 is not before exit 3"),
        ([5, 0], [1, 1], None, "row 2: time 0 is not positive"),
        ([5, -1], [1, 0], None, "row 2: time -1 is negative"),
        ([5, np.nan], [1, 0], None, "row 2: exit is missing"),
        ([5, 6], [1, 2], None, "row 2: is_failure is 2"),
        ([5, 6], [1], None, "is_failure has 1 rows"),
        ([], [], None, "no lives"),
    ],
)
def test_bad_row_is_named(exit_, failed, entry, says):
    with pytest.raises(LifeDataError, match=says):
        kaplan_meier(exit_, failed, entry=entry)


@st.composite
def fleets(draw):
    """Small fleets with ties, delayed entry and counts."""
    size = draw(st.integers(2, 25))
    entry = np.array(draw(st.lists(st.integers(0, 12), min_size=size, max_size=size)))
    stay = np.array(draw(st.lists(st.integers(1, 12), min_size=size, max_size=size)))
    failed = np.array(draw(st.lists(st.booleans(), min_size=size, max_size=size)))
    count = np.array(draw(st.lists(st.integers(1, 4), min_size=size, max_size=size)))
    return entry.astype(float), (entry + stay).astype(float), failed, count


@settings(derandomize=True, deadline=None, max_examples=60)
@given(fleets())
def test_survival_starts_at_one_never_rises_and_stays_a_chance(fleet):
    entry, exit_, failed, count = fleet
    table = kaplan_meier(exit_, failed, entry=entry, count=count)
    path = np.concatenate(([1.0], table.estimate))
    assert np.all(np.diff(path) <= 0)
    assert np.all((path >= 0) & (path <= 1))
    assert np.all(table.at_risk >= table.failures)
    known = ~np.isnan(table.low)
    assert np.all(table.low[known] <= table.estimate[known])
    assert np.all(table.high[known] >= table.estimate[known])


@settings(derandomize=True, deadline=None, max_examples=40)
@given(fleets(), st.randoms(use_true_random=False))
def test_row_order_does_not_matter_and_counts_are_replication(fleet, random):
    entry, exit_, failed, count = fleet
    order = list(range(entry.size))
    random.shuffle(order)
    tables = [
        kaplan_meier(exit_, failed, entry=entry, count=count),
        kaplan_meier(exit_[order], failed[order], entry=entry[order], count=count[order]),
        kaplan_meier(
            np.repeat(exit_, count), np.repeat(failed, count), entry=np.repeat(entry, count)
        ),
    ]
    for other in tables[1:]:
        assert np.array_equal(tables[0].at_risk, other.at_risk)
        assert np.array_equal(tables[0].estimate, other.estimate)
        assert np.array_equal(tables[0].low, other.low, equal_nan=True)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(fleets())
def test_entry_at_zero_is_no_entry(fleet):
    _, exit_, failed, _ = fleet
    plain, entered = (
        kaplan_meier(exit_, failed),
        kaplan_meier(exit_, failed, entry=np.zeros_like(exit_)),
    )
    assert np.array_equal(plain.estimate, entered.estimate)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_estimates_agree_with_lifelines(seed):
    """lifelines 0.30.3, right for Kaplan-Meier and Nelson-Aalen with delayed entry."""
    from lifelines import KaplanMeierFitter, NelsonAalenFitter  # noqa: PLC0415 (1 s import)

    rng = np.random.default_rng(seed)
    entry = np.round(rng.uniform(0, 50, 80))
    exit_ = entry + np.round(rng.weibull(1.5, 80) * 100) + 1
    failed = rng.random(80) < 0.6
    theirs = KaplanMeierFitter().fit(exit_, failed, entry=entry)
    ours = kaplan_meier(exit_, failed, entry=entry, from_age=0)
    expected = theirs.survival_function_at_times(ours.time).to_numpy()
    assert ours.estimate == pytest.approx(expected, rel=1e-9, abs=1e-12)  # rounding only
    hazard = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(exit_, failed, entry=entry)
    expected = hazard.cumulative_hazard_at_times(ours.time).to_numpy()
    got = nelson_aalen(exit_, failed, entry=entry)
    assert got.estimate == pytest.approx(expected, rel=1e-9)


def test_lives_of_a_mode_keep_bounds_and_censor_the_rest():
    frame = pl.DataFrame(
        {
            "piston_set_id": ["a", "b", "c", "d"],
            "hull_id": ["h1", None, "h2", "h3"],
            "entry_h": [0.0, 50.0, 0.0, 0.0],
            "exit_h": [100.0, 200.0, 150.0, 0.0],
            "state": ["failed", "failed", "removed", "running"],
            "mode": ["ring_land", "bearing", None, None],
            "last_good_h": [80.0, None, None, None],
        }
    )
    columns = piston_life_columns(frame)
    assert columns.n_without_hours == 1
    assert columns.cause == ["ring_land", "bearing", "removed"]
    lives = columns.of_mode("ring_land")
    assert lives.lower.tolist() == [80, 200, 150]
    assert lives.upper.tolist() == [100, np.inf, np.inf]
    assert lives.entry.tolist() == [0, 50, 0]
    assert columns.of_mode("ring_land", use_bounds=False).lower.tolist() == [100, 200, 150]
    with pytest.raises(LifeDataError, match="row 1: the failure lies between 80 and 100"):
        risk_counts(lives)


def test_boolean_and_integer_failures_mean_the_same():
    assert ended_lives([1, 2], [True, False]).n_failures == ended_lives([1, 2], [1, 0]).n_failures
