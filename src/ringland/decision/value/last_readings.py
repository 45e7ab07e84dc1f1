"""What the last compression or leak-down reading of each set tells of the days ahead.

A reading speaks of the days within the test's reach: by Bayes it moves the chance to fail in
what is left of them, a bad one up, a good one down, as far as the test's sensitivity and
specificity say.  A bad one that a further look bears out counts with what that look tells,
as the look was valued before it was asked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.action_terms import TESTED
from ringland.decision.value.last_tests import BAD_READINGS, BUILT_AT, MEASURES
from ringland.risk.expected_use import DAY_S

READ_AGO, READ_BAD = "read_d_ago", "read_badly"
"""Optional columns: days since the last reading of the set that still speaks, and whether it
was bad; null where none."""

ALL_BUT_SURE = 1 - 1e-12
"""A chance beyond which a draw's hazard has no digits left."""

Floats = NDArray[np.float64]


def with_last_reading(
    running: pl.DataFrame, standing: pl.DataFrame, as_of: datetime
) -> pl.DataFrame:
    """The running sets with the last compression or leak-down reading: `READ_AGO`, `READ_BAD`.

    A failed test that stands and was not released is bad; else the last complete pass is good.

    Args:
        running: as `with_days_since_test` returns it.
        standing: `StandingFailures`.
        as_of: the instant the plan speaks of.
    """
    bad = (
        standing.filter(pl.col("measure").is_in(list(MEASURES)) & pl.col("released_by").is_null())
        .group_by("engine_id", maintain_order=True)
        .agg(_failed_at=pl.col("failed_at").max())
    )
    failed_d = (pl.lit(as_of) - pl.col("_failed_at")).dt.total_seconds() / DAY_S
    joined = running.join(bad, on="engine_id", how="left", maintain_order="left")
    if BUILT_AT in running.columns:  # of another set it says nothing
        is_of_this = (pl.col("_failed_at") >= pl.col(BUILT_AT)).fill_null(value=True)
        failed_d = pl.when(is_of_this).then(failed_d)
    return joined.with_columns(
        pl.coalesce(failed_d, TESTED).alias(READ_AGO),
        (pl.when(pl.coalesce(failed_d, TESTED).is_not_null()).then(failed_d.is_not_null())).alias(
            READ_BAD
        ),
    ).drop("_failed_at")


@dataclass(frozen=True)
class LastReadings:
    """What the last readings of some sets say of the days ahead.

    `left_d` are the days of the test's reach still to come, 0 where nothing was read; `by_fate`
    the chances of such readings on a set that fails within the reach, and on one that does not.
    """

    reach_d: float
    left_d: Floats
    by_fate: tuple[Floats, Floats]

    @classmethod
    def of(cls, sets: pl.DataFrame, catalogue: Catalogue) -> LastReadings | None:
        """None where no set has a reading, or no test reads those measures."""
        tests = [
            action.test
            for action in catalogue.actions.values()
            if action.test is not None and set(action.test.measures) & set(MEASURES)
        ]
        if not tests or READ_AGO not in sets.columns or not sets[READ_AGO].count():
            return None
        test = max(tests, key=lambda test: test.sensitivity.value)
        reach, finds, clears = (
            test.reach_d.value, test.sensitivity.value, test.specificity.value,
        )  # fmt: skip
        ago = sets[READ_AGO].fill_null(np.inf).to_numpy().astype(float)
        bad = sets[READ_BAD].fill_null(value=False).to_numpy()
        fails, sound = np.where(bad, finds, 1 - finds), np.where(bad, 1 - clears, clears)
        further = [a.test for a in catalogue.actions.values() if a.test and a.after_failed]
        if further and BAD_READINGS in sets.columns:
            again = (sets[BAD_READINGS].to_numpy() - 1).clip(min=0) * bad
            fails = fails * further[0].sensitivity.value ** again
            sound = sound * (1 - further[0].specificity.value) ** again
        return cls(reach, np.clip(reach - ago, 0.0, reach), (fails, sound))

    def told(self, chance: Floats, days: float, near: Floats, near_d: float) -> Floats:
        """The chance to fail within the days ahead, given the readings.

        Args:
            chance: the same without them, shape (draws, sets).
            days: how far ahead.
            near: the chance within `near_d` days without them.
            near_d: days up to the reach.
        """
        covered_d = np.minimum(self.left_d, near_d)
        near = np.minimum(near, ALL_BUT_SURE)
        within = -np.expm1(np.log1p(-near) * covered_d / near_d)
        fails, sound = self.by_fate
        given = fails * within / (fails * within + sound * (1 - within))
        after = np.divide(chance - within, 1 - within, out=np.zeros_like(chance), where=within < 1)
        beyond = given + (1 - given) * after
        inside = given * np.divide(
            chance, within, out=np.zeros_like(chance), where=within > 0
        ).clip(0.0, 1.0)
        return np.where(covered_d > 0, np.where(days >= covered_d, beyond, inside), chance)
