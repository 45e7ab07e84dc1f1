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
from ringland.exposure.exposure_spells import group_of, session_totals, set_course
from ringland.exposure.running_course import Course, looked_up, stretch_edges
from ringland.fuel.tank_kernel import Floats, Ints
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
    course, sets = set_course(_amounts(exposure, assumptions))
    lives = lives.sort("piston_set_id")
    lives = lives.filter(pl.Series(group_of(sets, lives.get_column("piston_set_id")) >= 0))
    if lives.is_empty():
        return ExposureWindows.create_empty()
    entry, exit_h = (lives.get_column(name).to_numpy() for name in ("entry_h", "exit_h"))
    life, at_h = stretch_edges(entry, exit_h, assumptions.number("exposure.spell_h"))
    twice = np.append(False, (life[1:] == life[:-1]) & (at_h[1:] == at_h[:-1]))
    life, at_h = life[~twice], at_h[~twice]
    names = lives.get_column("piston_set_id")[life]
    group = group_of(sets, lives.get_column("piston_set_id"))[life]
    table = _windows(course, group, at_h, assumptions).with_columns(piston_set_id=names)
    return ExposureWindows.validate(table.select(ExposureWindows.column_names()), cast=True)


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


def _windows(course: Course, group: Ints, at_h: Floats, assumptions: Assumptions) -> pl.DataFrame:
    edge_h = course.edge_h
    begun, over = (
        course.rows.select(_micros(name)).to_series().to_numpy()
        for name in ("started_at", "ended_at")
    )
    edge_us = course.edges(begun, over)
    at_us = _instant_of(course, edge_h, edge_us, group, at_h)
    days_us = assumptions.number("exposure.trailing_d") * _US_PER_DAY
    days_ago_h = looked_up(course.starts, edge_us, edge_h, group, at_us - days_us)
    since = {
        "25h": at_h - assumptions.number("exposure.trailing_h"),
        "28d": np.minimum(days_ago_h, at_h),
        "life": np.zeros(len(at_h)),
    }
    columns: dict[str, Floats | pl.Series] = {
        "at_h": at_h,
        "at": pl.Series(at_us.astype(np.int64)).cast(pl.Datetime("us", "UTC")),
    }

    def between(name: str, window: str) -> Floats:
        return np.maximum(course.gained(name, group, since[window], at_h), 0.0)

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


def _instant_of(
    course: Course, edge_h: Floats, edge_us: Floats, group: Ints, at_h: Floats
) -> Floats:
    """When each hour was reached; an hour between two rides is the end of the first."""
    inside = course.session_reaching(group, at_h)
    final = course.starts[group + 1] - 1
    row = np.minimum(inside, final)
    begin_h, end_h = edge_h[2 * row], edge_h[2 * row + 1]
    part = np.clip((at_h - begin_h) / np.maximum(end_h - begin_h, 1e-12), 0.0, 1.0)
    at_us = edge_us[2 * row] + part * (edge_us[2 * row + 1] - edge_us[2 * row])
    before = np.maximum(2 * row - 1, 0)
    waits = (at_h <= begin_h) & (row > course.starts[group])
    return np.asarray(np.where(waits, edge_us[before], at_us))


def _micros(column: str) -> pl.Expr:
    return pl.col(column).dt.timestamp("us")


def _share(part: Floats, whole: Floats) -> Floats:
    return np.where(whole > 0, part / np.where(whole > 0, whole, 1.0), np.nan)
