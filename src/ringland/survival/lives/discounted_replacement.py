"""The best age to renew on plan when money later is worth less than money now.

Renewed at age T or at failure for ever, at discount rate r per hour, the present worth of all
costs is (planned e^(-rT) S(T) + failure x integral of e^(-rt) f(t)) / (r x integral of
e^(-rt) S(t)), both integrals to T (Fox 1966, Operations Research 14:533-537; Barlow and Proschan
1965, chapter 4).  As r goes to none, r times it is the cost rate without discounting.
"""

from __future__ import annotations

import numpy as np
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

REACH = 6.0
"""Ages up to this many times the scale are looked at: hardly a Weibull life lasts longer."""


def discounted_cost(
    age: float, shape: float, scale: float, costs: tuple[float, float], rate: float
) -> float:
    """Present worth of renewing at an age or at failure for ever.

    Args:
        age: planned age, h; infinite: run to failure.
        shape: Weibull shape.
        scale: Weibull scale, h.
        costs: of a planned job and of a failure.
        rate: discount rate per hour, above zero.
    """
    planned, failure = costs
    stop = min(age, scale * 745.0 ** (1.0 / shape))  # beyond it survival is zero to a computer
    used, _ = quad(
        lambda t: np.exp(-rate * t - (t / scale) ** shape), 0.0, stop, limit=400, epsabs=0.0
    )
    at_end = np.exp(-rate * stop - (stop / scale) ** shape)
    failed = 1.0 - at_end - rate * used  # by parts
    return float((planned * at_end + failure * failed) / (rate * used))


def discounted_replacement_age(
    shape: float, scale: float, planned_cost: float, failure_cost: float, rate: float
) -> float | None:
    """The age of least present worth, or None where running to failure costs no more.

    Raises:
        ValueError: a number is not positive.
    """
    for name, value in (
        ("shape", shape), ("scale", scale), ("planned_cost", planned_cost),
        ("failure_cost", failure_cost), ("rate", rate),
    ):  # fmt: skip
        if not value > 0:
            raise ValueError(f"{name} is {value}; give a positive number.")
    costs = (planned_cost, failure_cost)
    grid = scale * np.geomspace(1e-3, REACH, 200)
    worth = [discounted_cost(age, shape, scale, costs, rate) for age in grid]
    best = int(np.argmin(worth))
    never = discounted_cost(np.inf, shape, scale, costs, rate)
    if best == len(grid) - 1 or worth[best] >= never * (1 - 1e-9):
        return None
    found = minimize_scalar(
        lambda age: discounted_cost(age, shape, scale, costs, rate),
        bounds=(grid[max(best - 1, 0)], grid[best + 1]), method="bounded",
        options={"xatol": 1e-8 * scale},
    )  # fmt: skip
    return float(found.x)
