"""Litres burned per session, fitted to the fills, and what the fills leave unexplained.

A session burns what somebody measured, or else hours x (cruise share x cruise burn + full
throttle share x full burn), with the engine's rated figures and one factor each for the
hull.  The factors come from the litres filled between fills (robust least squares, held
to the rated figures by fuel.burn_factor_sd), because a hull that burns ten litres more an
hour shows it at the pump.

What was in those litres, and whether the tank could hold them, does not belong here.
"""

# ruff: noqa: PLR0917, PLR0915 - compiled functions take their arrays by position
from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numba import njit

from ringland.fuel.tank_kernel import FILL, OUT
from ringland.fuel.throttle_share import with_full_throttle_share
from ringland.settings.assumptions import Assumptions

_ROUNDS = 8  # of reweighting; the factors move less than 1e-4 after about five
_TUKEY = 4.685  # tuning constant of the biweight: 95 % efficient on normal noise (Huber 1981, M)
_MAD_TO_SD = 1.4826


def rated_litres(engine_sessions: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """Add cruise_l and full_l: litres at cruise and at full throttle by the rated figures.

    Hours are those of the hour meter where it speaks (engine_h_stop - engine_h_start).
    """
    sessions = with_full_throttle_share(engine_sessions, assumptions)
    hours = pl.col("engine_h_stop") - pl.col("engine_h_start")
    cruise = pl.col("cruise_burn_l_h").fill_null(assumptions.number("fuel.cruise_burn_l_h"))
    full = pl.col("full_burn_l_h").fill_null(assumptions.number("fuel.full_burn_l_h"))
    return sessions.with_columns(
        cruise_l=hours * (1 - pl.col("full_throttle_share")) * cruise,
        full_l=hours * pl.col("full_throttle_share") * full,
    )


def burn_factors(
    record: pl.DataFrame, names: Sequence[str], assumptions: Assumptions
) -> pl.DataFrame:
    """Per hull: factors on the rated burn, their standard errors, spread of the filled level.

    Between two fills a hull burns, on average, what the second one puts back.  Windows
    that hold a fill nobody wrote down burn far more than was put back, so they are down
    weighted (Tukey's biweight).  A hull with no fills keeps the rated figures and the error
    fuel.burn_factor_sd.  `fill_level_sd_l` says how steady the level after a fill is: what
    is put back differs from what was burned by two such levels.  Null with no window.
    A window in which the tank was emptied, of unknown litres, says nothing and is left out.

    Args:
        record: from `craft_record`.
        names: of the hulls, in the order of their numbers.
        assumptions: prior sd and limits of the factors.
    """
    tank = _array(record, "tank", np.int64)
    starts = np.searchsorted(tank, np.arange(len(names) + 1)).astype(np.int64)
    out = np.empty((len(names), 6))
    _factors(
        starts,
        _array(record, "kind", np.uint8),
        record.get_column("volume_l").cast(pl.Float64).fill_null(np.nan).to_numpy().copy(),
        _array(record, "is_drain", np.uint8),
        _array(record, "cruise_l", np.float64),
        _array(record, "full_l", np.float64),
        assumptions.number("fuel.burn_factor_sd"),
        assumptions.number("fuel.burn_factor_low"),
        assumptions.number("fuel.burn_factor_high"),
        out,
    )
    return pl.DataFrame(
        {
            "hull_id": pl.Series(names, dtype=pl.String),
            "windows": out[:, 0].astype(np.int64),
            "cruise_factor": out[:, 1],
            "full_factor": out[:, 2],
            "cruise_se": out[:, 3],
            "full_se": out[:, 4],
            "fill_level_sd_l": out[:, 5],
        }
    ).with_columns(pl.col("fill_level_sd_l").fill_nan(None))


def with_burns(record: pl.DataFrame, factors: pl.DataFrame) -> pl.DataFrame:
    """The record with the litres of each ride: measured, else rated litres times the factors."""
    tank = record.get_column("tank").to_numpy()
    cruise, full = (factors.get_column(f"{name}_factor").to_numpy()[tank]
                    for name in ("cruise", "full"))  # fmt: skip
    rated = pl.col("cruise_l") * pl.Series(cruise) + pl.col("full_l") * pl.Series(full)
    is_estimated = (pl.col("session_row") >= 0) & pl.col("volume_l").is_null()
    return record.with_columns(volume_l=pl.when(is_estimated).then(rated).otherwise("volume_l"))


def _array(frame: pl.DataFrame, column: str, kind: type) -> np.ndarray:
    return np.require(frame.get_column(column).to_numpy(), kind, ["C", "W"])


@njit("f8(f8[::1])", cache=True, nogil=True)
def _median(values):  # type: ignore[no-untyped-def]
    return np.median(values)


@njit("UniTuple(f8, 2)(f8,f8,f8,f8,f8,f8,f8)", cache=True, nogil=True)
def _least_in_box(a, b, d, p, q, low, high):  # type: ignore[no-untyped-def]
    """The point of a square [low, high] where a x^2 + 2 b x y + d y^2 - 2 p x - 2 q y is least."""
    whole = a * d - b * b
    x = (d * p - b * q) / whole
    y = (a * q - b * p) / whole
    if low <= x <= high and low <= y <= high:
        return x, y
    best = np.inf
    at_x = low
    at_y = low
    for edge in (low, high):
        for is_x in (True, False):
            if is_x:
                x = edge
                y = min(max((q - b * x) / d, low), high)
            else:
                y = edge
                x = min(max((p - b * y) / a, low), high)
            worth = a * x * x + 2 * b * x * y + d * y * y - 2 * p * x - 2 * q * y
            if worth < best:
                best = worth
                at_x = x
                at_y = y
    return at_x, at_y


@njit("void(i8[::1],u1[::1],f8[::1],u1[::1],f8[::1],f8[::1],f8,f8,f8,f8[:,::1])", cache=True,
      nogil=True)  # fmt: skip
def _factors(  # type: ignore[no-untyped-def]  # numba types it by the signature
    starts, kind, volume_l, is_drain, cruise_l, full_l, prior_sd, low, high, out
):
    for tank in range(len(starts) - 1):
        begin = starts[tank]
        stop = starts[tank + 1]
        most = 0
        for i in range(begin, stop):
            most += kind[i] == FILL
        x = np.empty(most)
        y = np.empty(most)
        back = np.empty(most)
        n = 0
        seen = 0
        cruise = 0.0
        full = 0.0
        gone = 0.0
        is_told = True
        for i in range(begin, stop):
            if kind[i] == FILL:
                if cruise + full > 0.0:
                    # The first window of a hull starts at an unknown level.
                    if seen > 0 and is_told:
                        x[n] = cruise
                        y[n] = full
                        back[n] = volume_l[i] - gone
                        n += 1
                    seen += 1
                cruise = 0.0
                full = 0.0
                gone = 0.0
                is_told = True
            elif kind[i] == OUT:
                cruise += cruise_l[i]
                full += full_l[i]
                if is_drain[i] and np.isnan(volume_l[i]):
                    is_told = False
                elif not np.isnan(volume_l[i]):
                    gone += volume_l[i]
        out[tank, 0] = n
        out[tank, 1] = 1.0
        out[tank, 2] = 1.0
        out[tank, 3] = prior_sd
        out[tank, 4] = prior_sd
        out[tank, 5] = np.nan
        if n == 0:
            continue
        x = x[:n]
        y = y[:n]
        back = back[:n]
        # A first common factor by the median ratio, so that the weights start near the truth.
        of_x = min(max(_median(back / (x + y)), low), high)
        of_y = of_x
        tight = 1.0 / (prior_sd * prior_sd)
        scale = 1e-3
        a = b = d = 0.0
        for _ in range(_ROUNDS):
            off = back - x * of_x - y * of_y
            scale = max(_MAD_TO_SD * _median(np.abs(off)), 1e-3)
            a = tight
            b = 0.0
            d = tight
            p = tight
            q = tight
            for k in range(n):
                root = max(1.0 - (off[k] / (_TUKEY * scale)) ** 2, 0.0)
                weight = (root / scale) ** 2
                a += weight * x[k] * x[k]
                b += weight * x[k] * y[k]
                d += weight * y[k] * y[k]
                p += weight * x[k] * back[k]
                q += weight * y[k] * back[k]
            of_x, of_y = _least_in_box(a, b, d, p, q, low, high)
        whole = a * d - b * b
        out[tank, 1] = of_x
        out[tank, 2] = of_y
        out[tank, 3] = np.sqrt(d / whole)
        out[tank, 4] = np.sqrt(a / whole)
        out[tank, 5] = scale / np.sqrt(2.0)
