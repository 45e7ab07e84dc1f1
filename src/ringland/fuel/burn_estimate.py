"""Litres burned per session, fitted to the fills, and what the fills leave unexplained.

A session burns what somebody measured, or else hours x (cruise share x cruise burn + full
throttle share x full burn), with the engine's rated figures and one factor each for the
hull.  The factors come from the litres filled between fills (robust least squares, held
to the rated figures by fuel.burn_factor_sd), because a hull that burns ten litres more an
hour shows it at the pump.  Then the level is walked through the record: a tank holds
neither less than nothing nor more than it can, so estimated burns are stretched a little,
and what cannot be explained becomes an explicit unrecorded fill or unexplained outflow.

What was in those litres does not belong here.
"""

# ruff: noqa: PLR0917, PLR0912, PLR0915 - compiled functions take their arrays by position,
# and a walk that carries five levels along reads best in one piece
from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import polars as pl
from numba import njit

from ringland.fuel.tank_kernel import Flags, Floats, Ints
from ringland.fuel.throttle_share import with_full_throttle_share
from ringland.settings.assumptions import Assumptions

_ROUNDS = 8  # of reweighting; the factors move less than 1e-4 after about five
_TUKEY = 4.685  # tuning constant of the biweight: 95 % efficient on normal noise (Huber 1981, M)
_MAD_TO_SD = 1.4826


@dataclass(frozen=True)
class Explained:
    """The events with burns stretched to fit, and what had to be added before each.

    `unrecorded_l` is a fill, `unexplained_l` an outflow, both just before the event.
    """

    volume_l: Floats
    unrecorded_l: Floats
    unexplained_l: Floats


@dataclass(frozen=True)
class TankHabits:
    """What is usual at each tank; one entry per tank.

    `filled_to_l` is the level it is usually filled to, NaN if that varies.  Litres short by
    more than `missing_from_l` mean a whole fill is missing.
    """

    capacity_l: Floats
    usual_fill_l: Floats
    first_level_l: Floats
    filled_to_l: Floats
    missing_from_l: Floats


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
    sessions: pl.DataFrame, fills: pl.DataFrame, drains: pl.DataFrame, assumptions: Assumptions
) -> pl.DataFrame:
    """Per hull: factors on the rated burn, their standard errors, spread of the filled level.

    Between two fills a hull burns, on average, what the second one puts back.  Windows
    that hold a fill nobody wrote down burn far more than was put back, so they are down
    weighted (Tukey's biweight).  A hull with no fills keeps the rated figures and the error
    fuel.burn_factor_sd.  `fill_level_sd_l` says how steady the level after a fill is: what
    is put back differs from what was burned by two such levels.  Null with no window.

    Args:
        sessions: from `rated_litres`.
        fills: hull_id, filled_at, volume_l.
        drains: hull_id, drained_at, volume_l; a window in which the tank was emptied, of
            unknown litres, says nothing and is left out.
        assumptions: prior sd and limits of the factors.
    """
    windows = _fill_windows(sessions, fills, drains)
    hulls = sessions.get_column("hull_id").unique().sort()
    rows = []
    by_hull = windows.partition_by("hull_id", as_dict=True)
    for hull in hulls:
        window = by_hull.get((hull,))
        if window is None:
            x, y = np.empty((0, 2)), np.empty(0)
        else:
            x = window.select("cruise_l", "full_l").to_numpy()
            y = window.get_column("put_back_l").to_numpy()
        rows.append((hull, len(y), *_fit_factors(x, y, assumptions)))
    names = ["hull_id", "windows", "cruise_factor", "full_factor", "cruise_se", "full_se",
             "fill_level_sd_l"]  # fmt: skip
    schema = {"hull_id": pl.String, "windows": pl.Int64} | dict.fromkeys(names[2:], pl.Float64)
    return pl.DataFrame(rows, schema=schema, orient="row")


def _fill_windows(
    sessions: pl.DataFrame, fills: pl.DataFrame, drains: pl.DataFrame
) -> pl.DataFrame:
    """Rated litres between consecutive fills of a hull, against the litres that closed them."""
    fill_ends = fills.select(
        "hull_id", at="filled_at", close_at="filled_at", filled_l="volume_l"
    ).sort("at")
    drained = (
        drains.select("hull_id", "drained_at", drained_l="volume_l")
        .sort("drained_at")
        .join_asof(
            fill_ends,
            left_on="drained_at",
            right_on="at",
            by="hull_id",
            strategy="forward",
            check_sortedness=False,
        )
        .group_by("hull_id", "close_at")
        .agg(pl.col("drained_l").sum(), was_emptied=pl.col("drained_l").is_null().any())
    )
    return (
        sessions.sort("ended_at")
        .join_asof(
            fill_ends,
            left_on="ended_at",
            right_on="at",
            by="hull_id",
            strategy="forward",
            check_sortedness=False,
        )
        .filter(pl.col("close_at").is_not_null())
        .with_columns(is_measured=pl.col("burned_l").is_not_null())
        .group_by("hull_id", "close_at", maintain_order=True)
        .agg(
            cruise_l=pl.col("cruise_l").filter(~pl.col("is_measured")).sum(),
            full_l=pl.col("full_l").filter(~pl.col("is_measured")).sum(),
            put_back_l=pl.col("filled_l").first() - pl.col("burned_l").sum(),
        )
        .filter(pl.col("cruise_l") + pl.col("full_l") > 0)
        .sort("hull_id", "close_at")
        # The first window of a hull starts at an unknown level.
        .filter(pl.int_range(pl.len()).over("hull_id") > 0)
        .join(drained, on=["hull_id", "close_at"], how="left", maintain_order="left")
        .filter(~pl.col("was_emptied").fill_null(value=False))
        .with_columns(pl.col("put_back_l") - pl.col("drained_l").fill_null(0.0))
    )


def _fit_factors(
    x: Floats, y: Floats, assumptions: Assumptions
) -> tuple[float, float, float, float, float | None]:
    from scipy.optimize import lsq_linear  # noqa: PLC0415 - 0.2 s that not every caller needs

    prior_sd = assumptions.number("fuel.burn_factor_sd")
    limits = (
        assumptions.number("fuel.burn_factor_low"),
        assumptions.number("fuel.burn_factor_high"),
    )
    if len(y) == 0:
        return 1.0, 1.0, prior_sd, prior_sd, None
    factor = np.ones(2)
    # A first common factor by the median ratio, so that the weights start near the truth.
    factor *= np.clip(np.median(y / x.sum(axis=1)), *limits)
    prior = np.eye(2) / prior_sd
    for _ in range(_ROUNDS):
        residual = y - x @ factor
        scale = max(_MAD_TO_SD * float(np.median(np.abs(residual))), 1e-3)
        root_weight = np.clip(1 - (residual / (_TUKEY * scale)) ** 2, 0, None)
        design = np.vstack([x * (root_weight / scale)[:, None], prior])
        target = np.concatenate([y * root_weight / scale, np.ones(2) / prior_sd])
        factor = lsq_linear(design, target, bounds=limits, method="bvls").x
    error = np.sqrt(np.diag(np.linalg.inv(design.T @ design)))
    level_sd = scale / math.sqrt(2)
    return float(factor[0]), float(factor[1]), float(error[0]), float(error[1]), level_sd


def burned_litres(sessions: pl.DataFrame, factors: pl.DataFrame) -> pl.DataFrame:
    """Add burn_l and is_burn_estimated: measured litres, else rated litres times the factors."""
    return (
        sessions.join(factors, on="hull_id", how="left", maintain_order="left")
        .with_columns(
            is_burn_estimated=pl.col("burned_l").is_null(),
            burn_l=pl.coalesce(
                "burned_l",
                pl.col("cruise_l") * pl.col("cruise_factor")
                + pl.col("full_l") * pl.col("full_factor"),
            ),
        )
        .drop("windows")
    )


def explain_levels(
    starts: Ints,
    is_fill: Flags,
    stretch: Floats,
    volume_l: Floats,
    tanks: TankHabits,
    gain: float,
) -> Explained:
    """Make every tank's record possible: its level never below nothing, nor above what it holds.

    Between two fills the outflows are stretched together, each by at most its `stretch`.
    If the tank would still run dry, an unrecorded fill of what is short, or of the usual size
    if that is much, is put in as soon as there is room for it (early, so that the bounds
    cover every session it may have fed).  If a fill would still not fit, the litres in its
    way left unexplained before it.  A tank usually filled to a steady level tells more:
    litres far short of that level, and still short at the fill after (a fill that was
    merely small would be made good by then), mean a missing fill; of a smaller gap the part
    `gain` is put down to the burns.  Litres on hand before the first event count as unrecorded.

    Args:
        starts: first event of each tank and, last, the number of events.
        is_fill: per event.
        stretch: per event, by what share its volume may be off; 0 where it was measured.
        volume_l: per event; NaN for an outflow that empties the tank, whatever is in it.
        tanks: what is usual at each tank.
        gain: see above.
    """
    out = Explained(volume_l.copy(), np.zeros(len(volume_l)), np.zeros(len(volume_l)))
    _explain(
        starts,
        tanks.capacity_l,
        tanks.usual_fill_l,
        tanks.first_level_l,
        tanks.filled_to_l,
        tanks.missing_from_l,
        is_fill,
        stretch,
        gain,
        out.volume_l,
        out.unrecorded_l,
        out.unexplained_l,
    )
    return out


@njit("f8(i8,i8,u1[::1],f8[::1],f8,f8)", cache=True)
def _gap_at_fill_after(  # type: ignore[no-untyped-def]
    fill, stop, is_fill, volume_l, level, filled_to
):
    """Litres short of the usual level at the fill after this one; none if there is no other."""
    level += volume_l[fill]
    i = fill + 1
    while i < stop and not is_fill[i]:
        level = 0.0 if np.isnan(volume_l[i]) else level - volume_l[i]
        i += 1
    if i == stop:
        return -np.inf
    return max(filled_to - volume_l[i], 0.0) - level


@njit(
    "void(i8[::1],f8[::1],f8[::1],f8[::1],f8[::1],f8[::1],u1[::1],f8[::1],f8,f8[::1],"
    "f8[::1],f8[::1])",
    cache=True,
)
def _explain(  # type: ignore[no-untyped-def]  # numba types it by the signature
    starts,
    capacity_l,
    usual_fill_l,
    first_level_l,
    filled_to_l,
    missing_from_l,
    is_fill,
    stretch,
    gain,
    volume_l,
    unrecorded_l,
    unexplained_l,
):
    for tank in range(len(starts) - 1):
        holds = capacity_l[tank]
        usual = usual_fill_l[tank]
        level = min(first_level_l[tank], holds)
        i = starts[tank]
        if i < starts[tank + 1]:
            unrecorded_l[i] = level
        while i < starts[tank + 1]:
            end = i
            burned = 0.0
            give = 0.0
            while end < starts[tank + 1] and not is_fill[end] and not np.isnan(volume_l[end]):
                burned += volume_l[end]
                give += stretch[end] * volume_l[end]
                end += 1
            has_fill = end < starts[tank + 1] and is_fill[end] == 1
            next_fill = min(volume_l[end], holds) if has_fill else 0.0
            change = 0.0
            missing = 0.0
            if has_fill and not np.isnan(filled_to_l[tank]):
                gap = max(filled_to_l[tank] - next_fill, 0.0) - (level - burned)
                still = _gap_at_fill_after(
                    end, starts[tank + 1], is_fill, volume_l, level - burned, filled_to_l[tank]
                )
                if min(gap, still) > max(missing_from_l[tank], give):
                    missing = gap
                else:
                    change = -min(max(gain * gap, -give), give)
            short = burned + change - level - missing
            if short > 0.0:
                if burned - give <= level + missing:
                    change -= short
                else:
                    wanted = usual if short > missing_from_l[tank] else 0.0
                    missing = max(min(wanted, holds - next_fill + short), missing + short)
            over = level + missing - burned - change + next_fill - holds
            if has_fill and over > 0.0:
                change += min(over, max(give - change, 0.0))
            used = change / give if give > 0.0 else 0.0
            while i < end:
                volume_l[i] *= 1.0 + used * stretch[i]
                room = holds - level
                if missing > 0.0 and (room >= min(missing, usual) or level < volume_l[i]):
                    poured = min(missing, room)
                    unrecorded_l[i] += poured
                    missing -= poured
                    level += poured
                level = max(level - volume_l[i], 0.0)
                i += 1
            if has_fill:
                if missing > 0.0:
                    poured = max(min(missing, holds - level - next_fill), 0.0)
                    unrecorded_l[end] += poured
                    level += poured
                cut = max(level + next_fill - holds, 0.0)
                if cut > 1e-9:  # litres; less is rounding
                    unexplained_l[end] = cut
                    level -= cut
                level = min(level + next_fill, holds)
                i = end + 1
            elif end < starts[tank + 1]:
                volume_l[end] = level
                level = 0.0
                i = end + 1
