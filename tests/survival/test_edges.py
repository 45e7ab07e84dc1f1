"""Records at the edge of what an estimator can use: the right answer or a clear error."""

from contextlib import suppress
from itertools import product

import numpy as np
import pytest

from ringland.survival.cox.cox_prediction import predict_survival
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.forecasts.forecast_ranking import (
    concordance,
    spell_concordance,
    time_dependent_auc,
)
from ringland.survival.lives.competing_risks import aalen_johansen
from ringland.survival.lives.few_failures import zero_failure_bound
from ringland.survival.lives.life_data import LifeDataError
from ringland.survival.lives.life_tables import kaplan_meier
from ringland.survival.repairs.power_law_trend import fleet_trend
from ringland.survival.spell_checks import SpellError

RNG = np.random.default_rng(1)
STOP = RNG.uniform(10, 100, 40)
EVENT = RNG.random(40) < 0.5
X = RNG.normal(size=(40, 1))


def cox(start=None, x=X, **more):  # type: ignore[no-untyped-def]
    return fit_cox(np.zeros(40) if start is None else start, STOP, EVENT, x, names=["x"], **more)


def test_a_failure_row_shorter_than_the_time_tolerance_is_refused() -> None:
    """Seen: 0.1 h added 250 times left a row of 8.5e-14 h, missing from its own risk set."""
    start = np.zeros(40)
    row = int(EVENT.argmax())
    start[row] = STOP[row] - 8.5e-14

    with pytest.raises(SpellError, match=rf"Row {row}: the failure .* counts as no time"):
        cox(start)


def test_one_hull_alone_has_no_clustered_error() -> None:
    """Seen: an error of 3e-16, a range without width."""
    with pytest.raises(SpellError, match="all rows are one cluster"):
        cox(cluster=["H1"] * 40)


def test_a_covariate_no_computer_can_square_is_named() -> None:
    with pytest.raises(SpellError, match=r"x is .* too large"):
        cox(x=X * 1e200)


def test_lives_and_cox_know_the_same_time_alike() -> None:
    """0.1 + 0.2 is not 0.3 to a computer; two failures at it are one step."""
    table = kaplan_meier([0.1 + 0.2, 0.3, 1.0], [1, 1, 0])

    assert table.time.tolist() == [0.3, 1.0]
    assert table.failures.tolist() == [2.0, 0.0]


@pytest.mark.parametrize("level", [0.0, 1.0, 1.2])
def test_a_level_that_is_none_is_refused(level: float) -> None:
    for asked in (
        lambda: predict_survival(cox(), [0], [20], [[0.0]], confidence=level),
        lambda: zero_failure_bound([100.0, 50.0], 2.0, confidence=level),
    ):
        with pytest.raises(ValueError, match="give a share between 0 and 1"):
            asked()


def test_causes_and_clusters_that_do_not_fit_are_named() -> None:
    causes = ["a" if failed else None for failed in EVENT]
    with pytest.raises(LifeDataError, match="cluster has 39 rows, cause has 40"):
        aalen_johansen(STOP, causes, cluster=["h"] * 39)
    with pytest.raises(LifeDataError, match="the cause is an empty text"):
        aalen_johansen(STOP, ["" if failed else None for failed in EVENT])
    with pytest.raises(LifeDataError, match="row 1: the cause is nan"):
        aalen_johansen([1.0, 2.0], [np.nan, "a"])  # type: ignore[list-item]


@pytest.mark.parametrize(
    ("start", "end", "failures", "message"),
    [
        ([0, np.nan], [100, 100], [10, 20], "row 2: start is missing"),
        ([0, 30], [100, 30], [10, 20], r"row 2: window \(30, 30\]"),
        ([], [], [10, 20], "There is no hull"),
        ([0], [100], ["ten", "20"], "failure age is not a column of numbers"),
        ([50, 60], [100, 100], [10, 70], "failure 1: age 10 lies in no hull"),
        ([0], [100], [100, 100], "no finite shape"),
        ([0, 0], [100], [10, 20], "start has 2 rows, end has 1"),
    ],
)
def test_a_trend_that_cannot_be_told_says_why(start, end, failures, message) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(LifeDataError, match=message):
        fleet_trend(start, end, failures)


ODD_TIMES = (
    [], [1.0], [1, 2, 3], [0.1 + 0.2, 0.3, 1.0], [3, 3, 3], [np.nan, 2, 3], [np.inf, 2, 3],
    [-1, 2, 3], [0, 2, 3], [[1, 2], [3, 4]], [1e200, 1, 2], None, ["a", "b", "c"],
)  # fmt: skip
ODD_FLAGS = ([], [1], [1, 0, 1], [0, 0, 0], [np.nan, 0, 1], [2, 0, 1], [1, 0], None, ["x"] * 3)
ODD_RISKS = ([], [1.0], [1, 2, 3], [1, 1, 1], [np.nan, 1, 2], [np.inf, 1, 2], [1, 2], None, ["x"])


def test_no_concordance_ends_in_a_librarys_bare_error() -> None:
    """Seen: in 65 of 220 cases, and later for every text in place of a number."""
    answered = 0
    for time, flags, risks in product(ODD_TIMES, ODD_FLAGS, ODD_RISKS):
        start = [0.0] * len(time or [])
        for asked in (
            lambda t=time, f=flags, r=risks: concordance(t, f, r),
            lambda s=start, t=time, f=flags, r=risks: spell_concordance(s, t, f, r),
            lambda t=time, f=flags, r=risks: time_dependent_auc(t, f, r, [1.5, 2.5]),
        ):
            with suppress(LifeDataError):  # any other error fails
                asked()
                answered += 1

    assert answered > 20


@pytest.mark.parametrize("flag", [np.nan, None, 2, "yes"])
def test_a_spell_whose_end_is_not_told_is_no_failure(flag: object) -> None:
    """Seen: a missing flag counted as a failure."""
    with pytest.raises(LifeDataError, match="row 1: is_failure is"):
        spell_concordance([0, 0, 0], [1, 2, 3], [flag, 0, 1], [1, 2, 3])  # type: ignore[list-item]


def test_a_horizon_that_is_missing_is_refused() -> None:
    with pytest.raises(LifeDataError, match="horizon is missing"):
        time_dependent_auc([1, 2, 3], [1, 0, 1], [1, 2, 3], [np.nan])
