"""What a piston set burned over trailing hours, trailing days and life, known against assumed.

Beside the hazard's own covariates (`exposure_spells`), which weigh octane by hard running:
here everything is weighed by litres.  A session's quantities are spread evenly over its
hours, so a window is a difference of two running totals, looked up by set hours or, for
days, by the hours the set had run by then.  Only the set's own past counts.
"""

from __future__ import annotations

import dataframely as dy
import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import ExposureWindows
from ringland.exposure.exposure_spells import session_totals, stretch_edges
from ringland.fuel.tank_kernel import Floats
from ringland.settings.assumptions import Assumptions

_US_PER_DAY = 86_400_000_000
_WINDOWS = ("25h", "28d", "life")
_PARTS = {"short": ("on", "litres"), "age": ("d", "aged_l"), "old": ("share", "aged_l")}
"""Each mean's unit and the litres it is a mean over."""


def exposure_windows(
    exposure: pl.DataFrame, lives: pl.DataFrame, assumptions: Assumptions
) -> dy.DataFrame[ExposureWindows]:
    """One row per edge of a set's stretches, its life's exit included.

    An edge is a `start_h` of the Spells frame, so the two join on set and hour; the row at
    the exit of a running life says how it stands now.  A set without a session on record
    gives none.

    Args:
        exposure: the SessionExposure frame.
        lives: the PistonLives frame.
        assumptions: exposure.spell_h, exposure.trailing_h, exposure.trailing_d and what
            stands in for no record.
    """
    rows = _amounts(exposure, assumptions)
    sets = rows.filter(
        pl.col("piston_set_id").is_not_null() & pl.col("set_h_start").is_not_null()
    ).sort("piston_set_id", "set_h_start", "started_at")
    of_set = sets.partition_by("piston_set_id", as_dict=True)
    step = assumptions.number("exposure.spell_h")
    parts = [pl.DataFrame(schema=ExposureWindows.create_empty().schema)]
    for life in lives.sort("piston_set_id").iter_rows(named=True):
        mine = of_set.get((life["piston_set_id"],))
        if mine is None:
            continue
        edges = stretch_edges(life["entry_h"], life["exit_h"], step)
        parts.append(_windows(mine, np.unique(edges), assumptions))
    return ExposureWindows.validate(pl.concat(parts, how="diagonal_relaxed"), cast=True)


def _amounts(exposure: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """Litres, and litres times each quantity, of known and of assumed octane."""
    totals = session_totals(exposure, assumptions)
    litres = pl.col("litres")
    known = pl.when(litres > 0).then(pl.col("known_l") / litres).otherwise(0.0)
    amounts = {
        "short": pl.col("short_on") * litres,
        "age": pl.col("age_ld"),
        "old": pl.col("old_l"),
    }
    return totals.with_columns(
        **{f"{name}_known": amount * known for name, amount in amounts.items()},
        **{f"{name}_assumed": amount * (1 - known) for name, amount in amounts.items()},
    )


def _windows(mine: pl.DataFrame, at_h: Floats, assumptions: Assumptions) -> pl.DataFrame:
    edge_h, edge_us = (
        np.maximum.accumulate(
            mine.select(first, second).to_numpy().astype(np.float64).reshape(-1)
        )
        for first, second in (
            (pl.col("set_h_start"), pl.col("set_h_stop")),
            (_micros("started_at"), _micros("ended_at")),
        )
    )  # fmt: skip
    # Turned round, so that an hour between two rides is the end of the first, not the next start.
    at_us = np.interp(-at_h, -edge_h[::-1], edge_us[::-1])
    days_ago_h = np.interp(
        at_us - assumptions.number("exposure.trailing_d") * _US_PER_DAY, edge_us, edge_h
    )
    since = {
        "25h": at_h - assumptions.number("exposure.trailing_h"),
        "28d": np.minimum(days_ago_h, at_h),
        "life": np.zeros(len(at_h)),
    }
    columns: dict[str, Floats | str | pl.Series] = {
        "piston_set_id": mine.get_column("piston_set_id")[0],
        "at_h": at_h,
        "at": pl.Series(at_us.astype(np.int64)).cast(pl.Datetime("us", "UTC")),
    }

    def between(name: str, window: str) -> Floats:
        after = np.cumsum(mine.get_column(name).to_numpy())
        course = np.column_stack([np.concatenate([[0.0], after[:-1]]), after]).reshape(-1)
        gained = np.interp(at_h, edge_h, course) - np.interp(since[window], edge_h, course)
        return np.asarray(np.maximum(gained, 0.0))

    for window in _WINDOWS:
        litres = between("litres", window)
        columns[f"burned_{window}_l"] = litres
        columns[f"known_{window}_share"] = _share(between("known_l", window), litres)
        for name, (unit, weight) in _PARTS.items():
            over = between(weight, window)
            for origin in ("known", "assumed"):
                part = between(f"{name}_{origin}", window)
                columns[f"{name}_{origin}_{window}_{unit}"] = _share(part, over)
    return pl.DataFrame(columns).with_columns(pl.selectors.float().fill_nan(None))


def _micros(column: str) -> pl.Expr:
    return pl.col(column).dt.timestamp("us")


def _share(part: Floats, whole: Floats) -> Floats:
    return np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), np.nan)
