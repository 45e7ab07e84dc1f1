"""A factor's course over its covariate, held to harm: more of it never breaks less.

What the record says of a course's far end rests on few failures, and a mean over draws lets
the wildest of them speak loudest.  A belief that holds a factor to harm therefore takes each
draw's course to the nearest one that never falls (posterior projection; Lin and Dunson 2014,
Biometrika 101:303-317; here the weighted least squares of Barlow and others 1972, by the
min-max formula), weighing what the fleet runs on most, so that its level there stays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numba import njit

from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.exposure_ahead import USUAL, Floats
from ringland.risk.fleet_hazard import ModeFit

LEAST_WEIGHT = 0.01
"""Of a node on which no hull of the fleet runs, as a share of all."""
LONG_H = 500.0
"""Hours over which factors are held against each other: they act alike at any age, but over a new
set's few hours a steep draw's hazard is nothing, and nothing over nothing is no ratio."""


@dataclass(frozen=True)
class HarmCourse:
    """By how much the log hazard of each draw is moved: `moved`, shape (draws, nodes)."""

    covariate: str
    nodes: Floats
    moved: Floats

    @classmethod
    def of(cls, fit: ModeFit, sets: pl.DataFrame, covariate: str) -> HarmCourse | None:
        """The course of one covariate of a fit; None where the fit has no such factor.

        Args:
            fit: the mode fuel is held to drive.
            sets: running sets with what is usual for them, and their hours a day.
            covariate: more of it is held to harm.
        """
        if fit.hazard is None or covariate not in fit.covariates:
            return None
        factor = next(f for f in fit.hazard.design.factors if f.name == covariate)
        usual = USUAL + covariate if USUAL + covariate in sets.columns else covariate
        runs_on = pl.coalesce(pl.col(usual), pl.col(covariate)).cast(pl.Float64).fill_null(0.0)
        values = sets.select(runs_on).to_series().to_numpy()
        inner = [0.0, *(knot for knot in factor.knots if knot > 0)]
        last = max(inner[-1] + factor.step, float(values.max(initial=0.0)))
        nodes = np.array([*inner, last])
        weight = _weights(nodes, values, sets["use_h_d"].cast(pl.Float64).to_numpy())
        course = _course(fit, sets, covariate, nodes)
        return cls(covariate, nodes, never_falling(course, weight) - course)

    def held_to_harm(self, summed: Floats, exposure: pl.DataFrame) -> Floats:
        """The hazard, shape (draws, rows), as the course moves it; written over what came in."""
        told = exposure[self.covariate].cast(pl.Float64).to_numpy().clip(0.0, self.nodes[-1])
        value, of_row = np.unique(told, return_inverse=True)  # many rows, few values
        low, part = _between(self.nodes, value)
        moved = np.exp(self.moved[:, low] * (1 - part) + self.moved[:, low + 1] * part)
        _multiply(summed, np.ascontiguousarray(moved), of_row.astype(np.int64))
        return summed


@njit("void(f8[:,::1],f8[:,::1],i8[::1])", cache=True, nogil=True)
def _multiply(summed, moved, of_row):  # type: ignore[no-untyped-def]
    for draw in range(summed.shape[0]):
        for row in range(summed.shape[1]):
            summed[draw, row] *= moved[draw, of_row[row]]


def never_falling(course: Floats, weight: Floats) -> Floats:
    """The nearest courses that never fall, in weighted squares; shape (draws, nodes) in and out."""
    n = course.shape[1]
    summed = np.cumsum(np.column_stack([np.zeros(len(course)), course * weight]), axis=1)
    weights = np.append(0.0, np.cumsum(weight))
    found = np.empty_like(course)
    for at in range(n):
        from_each = [
            np.min(
                [
                    (summed[:, end] - summed[:, start]) / (weights[end] - weights[start])
                    for end in range(at + 1, n + 1)
                ],
                axis=0,
            )
            for start in range(at + 1)
        ]
        found[:, at] = np.max(from_each, axis=0)
    return found


def _course(fit: ModeFit, sets: pl.DataFrame, covariate: str, nodes: Floats) -> Floats:
    """Log hazard at the nodes beside the first, by draw, at the middle set."""
    middle = sets.select(
        pl.col(name).cast(pl.Float64).median() for name in COVARIATES if name in sets.columns
    )
    rows = pl.concat([middle.with_columns(pl.lit(node).alias(covariate)) for node in nodes])
    summed = fit.cumulative_hazard(np.zeros(len(nodes)), np.full(len(nodes), LONG_H), rows)
    return np.asarray(np.log(summed / summed[:, :1]))


def _weights(nodes: Floats, values: Floats, hours: Floats) -> Floats:
    """Of each node, its share of the hours run about it."""
    low, part = _between(nodes, values)
    hours = np.nan_to_num(hours).clip(min=1e-6)
    n = len(nodes)
    total = np.bincount(low, hours * (1 - part), n) + np.bincount(low + 1, hours * part, n)
    return np.asarray(total / total.sum() + LEAST_WEIGHT)


def _between(nodes: Floats, value: Floats) -> tuple[np.ndarray, Floats]:
    low = np.clip(np.searchsorted(nodes, value, "right") - 1, 0, len(nodes) - 2)
    return low, (value - nodes[low]) / (nodes[low + 1] - nodes[low])
