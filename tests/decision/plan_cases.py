"""Small fleets and prices for the tests of options and plans; all figures invented."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import polars as pl

from ringland.decision.actions.action_prices import Prices

COVARIATES = (
    "shortfall_25h_on",
    "fuel_age_25h_d",
    "full_throttle_25h",
    "is_raised_calibration",
    "is_forged",
)

PRICES = Prices(
    check=180.0,
    drain_refill=170.0,
    top_end_planned=3500.0,
    full_rebuild_unplanned=7000.0,
    lost_rental_day=400.0,
    days_lost_unplanned=10.0,
    days_lost_planned=3.0,
    currency="money",
    from_settings=(),
)
"""A failure costs 11,000, a planned renewal 4,700 with the rental lost."""


def running_hulls(n: int, seed: int = 1) -> pl.DataFrame:
    """Hulls with running sets, as `running_sets` returns them."""
    rng = np.random.default_rng(seed)
    return pl.DataFrame(
        {
            "hull_id": [f"H{i:03d}" for i in range(n)],
            "dock_id": rng.choice(["north", "south"], n),
            "why_not": pl.Series([None] * n, dtype=pl.String),
            "age_h": rng.uniform(0, 600, n),
            "use_h_d": rng.uniform(0.3, 2, n),
            "shortfall_25h_on": rng.choice([0.0, 0.0, 2.0, 4.0], n),
            "fuel_age_25h_d": rng.exponential(12, n),
            "full_throttle_25h": rng.uniform(0.1, 0.5, n),
            "is_raised_calibration": rng.random(n) < 0.25,
            "is_forged": rng.random(n) < 0.25,
            "build_number": [1] * n,
        }
    )


def weibull_hazard(
    n_draws: int = 200,
    seed: int = 2,
    effects: tuple[float, ...] = (0.45, 0.025, 2.0, 0.3, -0.4),
    scale_h: float = 1500.0,
) -> Callable[..., np.ndarray]:
    """A Weibull hazard with uncertain shape, scale and effects."""
    rng = np.random.default_rng(seed)
    shape = np.exp(rng.normal(0.4, 0.1, (n_draws, 1)))
    scale = np.exp(rng.normal(np.log(scale_h), 0.2, (n_draws, 1)))
    beta = np.array(effects) * rng.normal(1, 0.2, (n_draws, len(effects)))

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        x = np.column_stack([exposure[name].cast(pl.Float64).to_numpy() for name in COVARIATES])
        return ((stop_h / scale) ** shape - (start_h / scale) ** shape) * np.exp(beta @ x.T)

    return hazard


def constant_hazard(per_h: float) -> Callable[..., np.ndarray]:
    """The same hazard for everybody, known for certain."""

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return (per_h * (stop_h - start_h))[None, :]

    return hazard
