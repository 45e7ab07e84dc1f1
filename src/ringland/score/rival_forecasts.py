"""The simple rules a forecast must beat: base rate, hours only, the fuel-age rule of thumb.

Each is learned week by week from what had come true by then, so that no rule knows more
than the tool did.  Half a failure is added to each count (Jeffreys), so that a rule
without a failure yet does not claim that there will be none.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.risk.expected_use import DAY_S
from ringland.settings.assumptions import Assumptions

BASE_RATE = "base rate"
HOURS_ONLY = "hours-only rule"
FUEL_AGE_RULE = "fuel-age rule of thumb"

Floats = NDArray[np.float64]


def rival_chances(told: pl.DataFrame, horizon_d: float, assumptions: Assumptions) -> pl.DataFrame:
    """Each rule's chance for each hull and week, from weeks whose horizon had ended by then.

    Base rate: the share that failed.  Hours only: a Weibull life of the set's hours with the
    prior's shape, its scale from the failures and hours so far.  Fuel-age rule: the share
    that failed among those with fuel as old (`fuel.old_after_d` or not).

    Args:
        told: as_of, age_h, expected_h, fuel_age_d, failed (within the horizon).
        horizon_d: days the chances speak of.
        assumptions: settings.

    Returns:
        One column per rule, in the order of `told`; null where no week had ended by then,
        and under the fuel-age rule where the age is not on record.
    """
    as_of = told["as_of"].dt.epoch("s").to_numpy() / DAY_S
    failed = told["failed"].to_numpy().astype(float)
    shape = np.exp(assumptions.number("prior.log_shape_mean"))
    age, ahead = told["age_h"].to_numpy(), told["expected_h"].to_numpy()
    powered = (age + ahead) ** shape - age**shape
    is_old = told["fuel_age_d"].to_numpy() >= assumptions.number("fuel.old_after_d")
    has_age = told["fuel_age_d"].is_not_null().to_numpy()
    out = {name: np.full(told.height, np.nan) for name in (BASE_RATE, HOURS_ONLY, FUEL_AGE_RULE)}
    for week in np.unique(as_of):
        now, past = as_of == week, as_of + horizon_d <= week
        if not past.any():
            continue
        out[BASE_RATE][now] = _share(failed[past])
        rate = (failed[past].sum() + 0.5) / powered[past].sum()
        out[HOURS_ONLY][now] = -np.expm1(-rate * powered[now])
        for old in (True, False):
            alike = has_age & (is_old == old)
            out[FUEL_AGE_RULE][now & alike] = _share(failed[past & alike])
    return pl.DataFrame(out).with_columns(pl.all().fill_nan(None))


def _share(failed: Floats) -> float:
    return float((failed.sum() + 0.5) / (failed.size + 1))
