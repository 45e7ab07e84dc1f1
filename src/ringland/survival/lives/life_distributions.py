"""The two life distributions used here, on the log scale: Weibull and lognormal.

Log life is location + scale x a standard error term z.  For Weibull, z follows the
smallest extreme value distribution, shape = 1 / scale and characteristic life =
exp(location); for lognormal, z is normal.  Meeker and Escobar (1998), Statistical Methods
for Reliability Data, chapter 4.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtri

from ringland.survival.lives.life_data import Floats


@dataclass(frozen=True)
class LogLife:
    """The standard distribution of z: all that a likelihood and its two derivatives need.

    `log_failed` is the log of the chance to have failed by z, `quantile` the z by which a
    share have failed.
    """

    name: str
    log_density: Callable[[Floats], Floats]
    log_density_slope: Callable[[Floats], Floats]
    log_density_bend: Callable[[Floats], Floats]
    log_survival: Callable[[Floats], Floats]
    log_failed: Callable[[Floats], Floats]
    quantile: Callable[[float], float]


def _weibull_log_failed(z: Floats) -> Floats:
    with np.errstate(divide="ignore"):  # far left the chance is 0, its log minus infinity
        return np.asarray(np.log(-np.expm1(-np.exp(z))))


WEIBULL = LogLife(
    name="Weibull",
    log_density=lambda z: z - np.exp(z),
    log_density_slope=lambda z: 1.0 - np.exp(z),
    log_density_bend=lambda z: -np.exp(z),
    log_survival=lambda z: -np.exp(z),
    log_failed=_weibull_log_failed,
    quantile=lambda share_failed: float(np.log(-np.log1p(-share_failed))),
)

LOGNORMAL = LogLife(
    name="lognormal",
    log_density=lambda z: np.asarray(-0.5 * z * z - 0.5 * np.log(2.0 * np.pi)),
    log_density_slope=lambda z: -z,
    log_density_bend=lambda z: -np.ones_like(z),
    log_survival=lambda z: np.asarray(log_ndtr(-z)),
    log_failed=lambda z: np.asarray(log_ndtr(z)),
    quantile=lambda share_failed: float(ndtri(share_failed)),
)
