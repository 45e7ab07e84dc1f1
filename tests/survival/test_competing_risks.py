"""Cumulative incidence against R survival, cmprsk and scikit-survival, by hand, by property."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.survival.lives.competing_risks import aalen_johansen
from ringland.survival.lives.life_data import LifeDataError
from ringland.survival.lives.life_tables import kaplan_meier

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
VALUES = json.loads((REFERENCE / "checks.json").read_text())["C1"]["values"]
PATIENTS = pl.read_csv(REFERENCE / "mgus2_competing.csv").with_columns(
    cause=pl.col("ev").replace_strict({0: None, 1: "pcm", 2: "death"})
)
EXACT = 1e-8  # stated with the reference; closed forms on both sides
TIMES = [60, 120, 240]


def test_incidence_and_jackknife_errors_agree_with_r_survival():
    """Check C1: mgus2 (Kyle et al. 2002), R survival 3.5-3 survfit."""
    got = aalen_johansen(PATIENTS["etime"], PATIENTS["cause"].to_list())
    for t, pcm, death in zip(TIMES, got.at("pcm", TIMES), got.at("death", TIMES), strict=True):
        assert pcm[0] == pytest.approx(VALUES[f"all.t={t}.pcm"], rel=EXACT)
        assert pcm[1] == pytest.approx(VALUES[f"all.t={t}.pcm_se_ij"], rel=EXACT)
        assert death[0] == pytest.approx(VALUES[f"all.t={t}.death"], rel=EXACT)
    assert "infinitesimal jackknife" in got.method


def test_aalen_variance_agrees_with_cmprsk():
    """Check C1: cmprsk 2.2-11 cuminc."""
    got = aalen_johansen(PATIENTS["etime"], PATIENTS["cause"].to_list(), variance="Aalen")
    for cause in ("pcm", "death"):
        errors = got.at(cause, TIMES)[:, 1]
        assert errors**2 == pytest.approx(VALUES[f"aalen_var_cmprsk.{cause}"], rel=EXACT)


@pytest.mark.parametrize("sex", ["F", "M"])
def test_incidence_by_sex_agrees_with_r_survival(sex):
    """Check C1, by sex."""
    rows = PATIENTS.filter(pl.col("sex") == sex)
    got = aalen_johansen(rows["etime"], rows["cause"].to_list())
    for cause in ("pcm", "death"):
        for t in (120, 240):
            expected = VALUES[f"sex={sex}.t={t}.{cause}"]
            assert got.at(cause, [t])[0, 0] == pytest.approx(expected, rel=EXACT)


def test_incidence_is_not_one_minus_kaplan_meier():
    """Check C1's wrong answer: one minus Kaplan-Meier, twice too high at 240 months."""
    wrong = VALUES["WRONG_one_minus_KM.pcm.t=240"]
    naive = kaplan_meier(PATIENTS["etime"], PATIENTS["ev"] == 1).at([240]).estimate[0]
    got = aalen_johansen(PATIENTS["etime"], PATIENTS["cause"].to_list()).at("pcm", [240])[0, 0]
    assert 1 - naive == pytest.approx(wrong, rel=EXACT)  # the wrong way, reproduced
    assert got < 0.5 * wrong


def test_incidence_agrees_with_scikit_survival():
    """scikit-survival 0.28, exact to ties (lifelines' AalenJohansenFitter moves them)."""
    from sksurv.nonparametric import cumulative_incidence_competing_risks  # noqa: PLC0415

    time, theirs = cumulative_incidence_competing_risks(
        PATIENTS["ev"].to_numpy(), PATIENTS["etime"].to_numpy().astype(float)
    )
    got = aalen_johansen(PATIENTS["etime"], PATIENTS["cause"].to_list())
    assert np.array_equal(got.time, time)
    assert got.incidence[got.of("pcm")] == pytest.approx(theirs[1], rel=1e-10)


def test_six_lives_by_hand():
    """Two causes tied with each other and with a censoring, and a late entry."""
    exit_ = [10.0, 20.0, 20.0, 20.0, 30.0, 30.0]
    cause = ["land", "land", "bearing", None, "land", None]
    entry = [0.0, 0.0, 0.0, 0.0, 0.0, 20.0]
    got = aalen_johansen(exit_, cause, entry=entry)
    # at 10: 5 at risk; at 20: 4, one failure each way; at 30: rows 5 and 6
    land = np.cumsum([1 / 5, 4 / 5 * 1 / 4, 4 / 5 * 1 / 2 * 1 / 2])
    bearing = np.cumsum([0, 4 / 5 * 1 / 4, 0])
    assert got.at_risk.tolist() == [5, 4, 2]
    assert got.incidence[got.of("land")] == pytest.approx(land, rel=1e-14)
    assert got.incidence[got.of("bearing")] == pytest.approx(bearing, rel=1e-14)


def test_jackknife_error_is_the_derivative_by_weight():
    """Two routes: influence of each life by changing its count a little."""
    rng = np.random.default_rng(5)
    entry = np.round(rng.uniform(0, 10, 20))
    exit_ = entry + np.round(rng.uniform(1, 20, 20))
    cause = [["a", "b", None][k] for k in rng.integers(0, 3, 20)]
    hull = [f"h{k}" for k in rng.integers(0, 6, 20)]
    got = aalen_johansen(exit_, cause, entry=entry, from_age=2.0)
    clustered = aalen_johansen(exit_, cause, entry=entry, from_age=2.0, cluster=hull)
    step = 1e-6
    influence = np.empty((20, got.time.size))
    for i in range(20):
        up, down = np.ones(20), np.ones(20)
        up[i], down[i] = 1 + step, 1 - step
        ends = [
            aalen_johansen(exit_, cause, entry=entry, from_age=2.0, count=c).incidence[got.of("a")]
            for c in (up, down)
        ]
        influence[i] = (ends[0] - ends[1]) / (2 * step)
    row = got.of("a")
    assert got.standard_error[row] == pytest.approx(
        np.sqrt((influence**2).sum(axis=0)), rel=1e-6, abs=1e-9
    )
    sums = np.array([influence[[h == name for h in hull]].sum(axis=0) for name in set(hull)])
    assert clustered.standard_error[row] == pytest.approx(
        np.sqrt((sums**2).sum(axis=0)), rel=1e-6, abs=1e-9
    )


@st.composite
def fleets(draw):
    size = draw(st.integers(2, 20))
    entry = np.array(draw(st.lists(st.integers(0, 8), min_size=size, max_size=size)), float)
    stay = np.array(draw(st.lists(st.integers(1, 9), min_size=size, max_size=size)), float)
    kinds = st.sampled_from(["land", "ring", "bearing", None])
    cause = draw(st.lists(kinds, min_size=size, max_size=size).filter(any))
    count = np.array(draw(st.lists(st.integers(1, 3), min_size=size, max_size=size)))
    return entry, entry + stay, cause, count


@settings(derandomize=True, deadline=None, max_examples=60)
@given(fleets(), st.sampled_from(["infinitesimal jackknife", "Aalen"]))
def test_incidences_and_survival_add_to_one(fleet, variance):
    entry, exit_, cause, count = fleet
    got = aalen_johansen(exit_, cause, entry=entry, count=count, variance=variance)
    assert got.incidence.sum(axis=0) + got.survival == pytest.approx(1.0, abs=1e-12)
    assert np.all(np.diff(got.incidence, axis=1) >= 0)
    naive = kaplan_meier(exit_, [c == got.causes[0] for c in cause], entry=entry, count=count)
    assert np.all(got.incidence[0] <= 1 - naive.estimate + 1e-12)
    known = ~np.isnan(got.low)
    assert np.all(got.low[known] <= got.incidence[known] + 1e-12)
    assert np.all(got.high[known] >= got.incidence[known] - 1e-12)


@settings(derandomize=True, deadline=None, max_examples=30)
@given(fleets(), st.randoms(use_true_random=False))
def test_order_does_not_matter_and_counts_are_replication(fleet, random):
    entry, exit_, cause, count = fleet
    one = aalen_johansen(exit_, cause, entry=entry, count=count)
    rows = [i for i in range(len(cause)) for _ in range(count[i])]
    random.shuffle(rows)
    other = aalen_johansen(exit_[rows], [cause[i] for i in rows], entry=entry[rows])
    assert other.incidence == pytest.approx(one.incidence, rel=1e-12)
    assert other.standard_error == pytest.approx(one.standard_error, rel=1e-9, abs=1e-12)


def test_single_cause_is_one_minus_kaplan_meier():
    exit_, failed = [3.0, 5, 5, 8, 9], [1, 1, 0, 1, 0]
    got = aalen_johansen(exit_, ["x" if f else None for f in failed])
    assert 1 - got.incidence[0] == pytest.approx(kaplan_meier(exit_, failed).estimate)


def test_unanswerable_requests_are_refused():
    with pytest.raises(LifeDataError, match="No life has ended"):
        aalen_johansen([1.0, 2.0], [None, None])
    with pytest.raises(ValueError, match="use the jackknife"):
        aalen_johansen([1.0, 2.0], ["a", None], cluster=["h", "h"], variance="Aalen")
    with pytest.raises(KeyError, match="causes: a"):
        aalen_johansen([1.0, 2.0], ["a", None]).of("b")
