import math
from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sklearn.naive_bayes import BernoulliNB

from ringland.causes.cause_chances import SettledCases, cause_shares, finding_weights
from ringland.causes.cause_chances import finding_chances as chances_of
from ringland.causes.cause_differential import (
    cause_chances,
    expected_information,
    rank_causes,
)
from ringland.causes.cause_findings import engine_findings
from ringland.causes.cause_learning import settled_failures
from ringland.causes.cause_table import UNDETERMINED, CauseTable, default_cause_table
from tests.causes.cause_rows import OPENED, teardown

TABLE = default_cause_table()
NONE = SettledCases.none(TABLE)


def finding_chances(table: CauseTable, cases: SettledCases) -> np.ndarray:
    return chances_of(table, cases).moved


STATES = st.lists(
    st.sampled_from(["seen", "not_seen", "not_looked_at"]),
    min_size=len(TABLE.findings),
    max_size=len(TABLE.findings),
)


def test_two_causes_and_two_findings_by_hand() -> None:
    shares = np.array([0.6, 0.4])
    chances = np.array([[0.8, 0.1], [0.2, 0.5]])
    # seen, not seen: 0.6 x 0.8 x 0.9 = 0.432 against 0.4 x 0.2 x 0.5 = 0.040
    got = cause_chances(shares, chances, ["seen", "not_seen"])
    assert got == pytest.approx([0.432 / 0.472, 0.040 / 0.472], rel=1e-12)


def test_information_of_a_perfect_and_of_a_useless_finding_by_hand() -> None:
    even = np.array([0.5, 0.5])
    nearly_perfect, useless = 1e-12, 0.3
    chances = np.array([[1 - nearly_perfect, useless], [nearly_perfect, useless]])
    # a perfect finding tells one bit of two even causes, a useless one nothing
    assert expected_information(even, chances) == pytest.approx([1.0, 0.0], abs=1e-9)


@settings(derandomize=True, deadline=None)
@given(STATES)
def test_chances_sum_to_one_and_none_is_zero(states: list[str]) -> None:
    got = cause_chances(cause_shares(TABLE, NONE), finding_chances(TABLE, NONE), states)
    assert got.sum() == pytest.approx(1.0, abs=1e-12)  # rounding of 19 terms
    assert (got > 0).all()


@settings(derandomize=True, deadline=None)
@given(STATES, st.integers(0, len(TABLE.findings) - 1))
def test_a_finding_for_a_cause_never_lowers_it_against_neutral(
    states: list[str], column: int
) -> None:
    finding = list(TABLE.findings.values())[column]
    shares, chances = cause_shares(TABLE, NONE), finding_chances(TABLE, NONE)
    states[column] = "not_looked_at"
    before = cause_chances(shares, chances, states)
    states[column] = "seen"
    after = cause_chances(shares, chances, states)
    for row, cause in enumerate(TABLE.causes):
        odds = math.log(after[row] / after[-1]) - math.log(before[row] / before[-1])
        # the sign of the weight is the sign of the change; 1e-9 is rounding
        assert odds * finding.weight(cause) >= -1e-9


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.lists(st.sampled_from(list(TABLE.findings)), unique=True, max_size=8))
def test_not_looked_at_changes_nothing(keys: list[str]) -> None:
    seen = ["1 | piston | second land broken down", "rod | rods straight"]
    rows = [f"{TABLE.findings[key].part} | {TABLE.findings[key].words}" for key in keys]
    bare = rank_causes(engine_findings(teardown(seen), TABLE, "E1", 3), TABLE)
    more = rank_causes(engine_findings(teardown(seen, [], rows), TABLE, "E1", 3), TABLE)
    assert more.chances.equals(bare.chances)


@settings(derandomize=True, deadline=None)
@given(STATES)
def test_information_is_never_negative_nor_more_than_the_cause_holds(states: list[str]) -> None:
    chances = finding_chances(TABLE, NONE)
    q = cause_chances(cause_shares(TABLE, NONE), chances, states)
    bits = expected_information(q, chances)
    assert (bits >= 0).all()
    assert (bits <= min(1.0, float(-(q * np.log2(q)).sum())) + 1e-9).all()


def test_evidence_is_listed_for_and_against() -> None:
    rows = teardown(["1 | piston | second land broken down"], ["1 | piston | edge pitting"])
    ranked = rank_causes(engine_findings(rows, TABLE, "E1", 3), TABLE)
    of_fuel = ranked.evidence.filter(pl.col("cause") == "knock_fuel")
    sides = dict(of_fuel.select("finding", "side").iter_rows())
    assert sides == {"second_land_down": "for", "edge_pitting": "against"}


def test_what_would_settle_fuel_against_calibration_is_fuel_and_calibration() -> None:
    rows = teardown(
        [f"{n} | piston | second land broken down" for n in (1, 2)]
        + ["1 | piston | edge pitting", "plug | plug specks"]
    )
    ranked = rank_causes(engine_findings(rows, TABLE, "E1", 3), TABLE)
    best = ranked.open_findings["finding"].head(2).to_list()
    assert best[0].startswith("fuel_sample")
    assert best[1].startswith("tune")


def test_what_is_ruled_out_or_worked_out_is_not_asked_for() -> None:
    rows = teardown(["rod | bent rod", "controller | calibration read out: stock"])
    ranked = rank_causes(engine_findings(rows, TABLE, "E1", 3), TABLE)
    asked = set(ranked.open_findings["finding"])
    assert not asked & {"rods_straight", "tune_raised", "several_cylinders", "one_cylinder_only"}
    assert len(asked & {"oil_normal", "oil_milky", "oil_thin"}) >= 1


def failures(*rows: tuple[str, str | None, bool]) -> pl.DataFrame:
    return pl.DataFrame(
        [
            {
                "engine_id": engine,
                "found_at": OPENED,
                "confirmed_cause": cause,
                "cause_confirmed_at": OPENED if is_dated else None,
            }
            for engine, cause, is_dated in rows
        ],
        schema={
            "engine_id": pl.String,
            "found_at": pl.Datetime("us", "UTC"),
            "confirmed_cause": pl.String,
            "cause_confirmed_at": pl.Datetime("us", "UTC"),
        },
    )


REBUILDS = pl.DataFrame(schema={"engine_id": pl.String, "rebuilt_at": pl.Datetime("us", "UTC")})
ENGINES = pl.DataFrame({"engine_id": ["A", "B", "C"], "cylinders": [3, 3, 3]})


def test_only_settled_causes_of_other_engines_count() -> None:
    opened = pl.concat(
        [teardown(["rod | bent rod"], ["oil | milky oil"], engine_id=e) for e in ("A", "B", "C")]
    )
    memory = settled_failures(
        failures(("A", "water", True), ("B", "water", False), ("C", "tea", True)),
        opened,
        REBUILDS,
        ENGINES,
        TABLE,
    )
    cases = memory.cases(TABLE)
    row, keys = TABLE.outcomes.index("water"), list(TABLE.findings)
    assert cases.by_cause.sum() == cases.by_cause[row] == 1
    assert cases.seen[row, keys.index("rod_bent")] == 1
    assert cases.not_seen[row, keys.index("oil_milky")] == 1
    assert len(memory.unused) == 1
    assert "'tea' is not in the cause table" in memory.unused[0]
    assert memory.cases(TABLE, ("A", OPENED)).by_cause.sum() == 0


def test_settled_cases_raise_their_mechanism_and_its_findings() -> None:
    row, column = TABLE.outcomes.index("overspeed"), list(TABLE.findings).index("valve_marks")
    cases = SettledCases.none(TABLE)
    cases.by_cause[row] = 10
    cases.seen[row, column] = 10
    assert finding_chances(TABLE, cases)[row, column] > finding_chances(TABLE, NONE)[row, column]
    # Dirichlet mean by hand among the named causes, 70 % of all: (60 x start + 10) / 70
    start = cause_shares(TABLE, NONE)[row] / 0.7
    assert cause_shares(TABLE, cases)[row] / 0.7 == pytest.approx((60 * start + 10) / 70, rel=1e-12)
    assert cause_shares(TABLE, cases).sum() == pytest.approx(1.0, rel=1e-12)


def test_learning_equals_scikit_learns_bernoulli_naive_bayes() -> None:
    """Second route: with even opinions worth two cases, the Beta update is BernoulliNB(alpha=1)."""
    rng = np.random.default_rng(7)
    findings, classes = rng.integers(0, 2, (60, 5)), rng.integers(0, 3, 60)
    model = BernoulliNB(alpha=1.0, force_alpha=True).fit(findings, classes)
    seen = np.array([findings[classes == c].sum(axis=0) for c in range(3)])
    number = np.bincount(classes)
    chances = (2 * 0.5 + seen) / (2 + number[:, None])
    for states in findings[:10]:
        got = cause_chances(
            number / number.sum(), chances, ["seen" if s else "not_seen" for s in states]
        )
        assert got == pytest.approx(model.predict_proba(states[None])[0], rel=1e-9)


def test_learning_of_the_mechanisms_is_that_of_scikit_learn() -> None:
    """Second route: with flat opinions worth two cases, it is BernoulliNB(alpha=1) by cell.

    A cell is a mechanism where the finding has a weight for it; all outcomes without one are
    one cell together, and so are the cases of nobody in particular.
    """
    rng = np.random.default_rng(8)
    findings = rng.integers(0, 2, (200, len(TABLE.findings)))
    classes = rng.integers(0, len(TABLE.outcomes), 200)
    cases = SettledCases.none(TABLE)
    for states, outcome in zip(findings, classes, strict=True):
        cases.by_cause[outcome] += 1
        cases.seen[outcome] += states
        cases.not_seen[outcome] += 1 - states
    flat = {"sound_share": 0.5, "usual_share": 0.5, "log_odds_per_point": 0.0, "opinion_cases": 2.0}
    plain = {k: replace(f, seen_if_cause=None, usual=None) for k, f in TABLE.findings.items()}
    table = CauseTable(TABLE.causes, plain, {**TABLE.model, **flat})
    got = finding_chances(table, cases)
    for column, finding in enumerate(table.findings.values()):
        without = [row for row, cause in enumerate(table.outcomes) if not finding.weight(cause)]
        model = BernoulliNB(alpha=1.0, force_alpha=True)
        model.fit(findings[:, [column]], np.isin(classes, without))
        assert got[-1, column] == pytest.approx(np.exp(model.feature_log_prob_)[1, 0], rel=1e-9)


def test_settled_cases_of_one_driver_teach_the_signs_of_all_and_the_tests_of_none() -> None:
    """Each cause learnt alone, so what all knock shares became evidence for the settled one."""
    rows = [TABLE.outcomes.index(cause) for cause in TABLE.mechanisms["knock"]]
    fuel, keys = TABLE.outcomes.index("knock_fuel"), list(TABLE.findings)
    cases = SettledCases.none(TABLE)
    cases.by_cause[fuel] = 40
    for key in ("second_land_down", "rods_straight", "tune_raised", "fuel_sample_low"):
        cases.seen[fuel, keys.index(key)] = 40
    before, after = finding_chances(TABLE, NONE), finding_chances(TABLE, cases)
    land, tune = keys.index("second_land_down"), keys.index("tune_raised")
    assert after[fuel, land] > before[fuel, land]
    assert np.ptp(after[rows, land]) < 1e-12  # alike for every driver
    # the calibration's own test: fuel and every other cause move alike, the owner not at all
    owner = TABLE.outcomes.index("knock_tune")
    assert after[owner, tune] == before[owner, tune]
    others = [row for row in rows if row != owner]
    assert np.ptp(after[others, tune]) < 1e-12
    sample = keys.index("fuel_sample_low")
    assert after[fuel, sample] > before[fuel, sample]


def test_settled_cases_leave_the_split_among_drivers_to_the_table() -> None:
    rows = [TABLE.outcomes.index(cause) for cause in TABLE.mechanisms["knock"]]
    cases = SettledCases.none(TABLE)
    cases.by_cause[rows[0]] = 40
    before, after = cause_shares(TABLE, NONE)[rows], cause_shares(TABLE, cases)[rows]
    assert after / after.sum() == pytest.approx(before / before.sum(), rel=1e-12)
    assert after.sum() > before.sum()
    assert cause_shares(TABLE, cases)[-1] == cause_shares(TABLE, NONE)[-1]


@settings(derandomize=True, deadline=None, max_examples=40)
@given(st.integers(0, 2**32 - 1), st.integers(0, 60))
def test_no_number_of_cases_turns_a_weight_to_its_other_side(seed: int, size: int) -> None:
    rng = np.random.default_rng(seed)
    cases = SettledCases.none(TABLE)
    for outcome in rng.integers(0, len(TABLE.outcomes), size):
        states = rng.integers(0, 3, len(TABLE.findings))
        cases.by_cause[outcome] += 1
        cases.seen[outcome] += states == 1
        cases.not_seen[outcome] += states == 2
    weights, chances = finding_weights(TABLE), finding_chances(TABLE, cases)
    assert ((chances > 0) & (chances < 1)).all()
    assert ((chances - chances[-1]) * weights >= 0).all()
    # a finding without a weight for a cause speaks neither for nor against it
    assert np.abs(np.where(weights == 0, chances - chances[-1], 0)).max() < 1e-12


def test_what_another_finding_implies_counts_once() -> None:
    whole = ["controller | calibration read out: stock"]
    twice = engine_findings(
        teardown(whole, ["controller | calibration read out: raised"]), TABLE, "E1", 3
    )
    once = engine_findings(teardown(whole), TABLE, "E1", 3)
    assert rank_causes(twice, TABLE).chances.equals(rank_causes(once, TABLE).chances)


def test_drivers_of_a_mechanism_differ_only_in_their_own_tests() -> None:
    for members in TABLE.mechanisms.values():
        tests = {test for cause in members for test in TABLE.causes[cause].own_tests}
        for key, finding in TABLE.findings.items():
            if key not in tests:
                assert len({finding.weight(cause) for cause in members}) == 1, (key, members)


def test_undetermined_is_an_outcome_every_finding_leaves_alone() -> None:
    chances = finding_chances(TABLE, NONE)[TABLE.outcomes.index(UNDETERMINED)]
    kinds = [finding.kind for finding in TABLE.findings.values()]
    assert dict(zip(kinds, chances, strict=True)) == pytest.approx({"damage": 0.10, "sound": 0.50})
