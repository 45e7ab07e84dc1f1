"""How what is burned turns with the season: the age of the fuel in these weeks of earlier years.

Fuel that stood over the winter is burned in spring, and a busy summer turns the tanks over:
what is usual over a year (`usual_exposure`) is too young for May and too old for August.  So the
usual is held beside what earlier years burned in these days, dock by dock, as hours are
(`expected_use`).  Grades are bought as they come and do not turn: for a shortfall one year's
season says little of the next, and `usual_exposure`'s year stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import polars as pl

from ringland.exposure.exposure_spells import session_totals
from ringland.exposure.factor_registry import TURNING
from ringland.risk.expected_use import years_back
from ringland.risk.exposure_ahead import LATER_TURN, NEAR_H, TURN
from ringland.risk.season_turn import AHEAD_D, YEAR_D, RanHours
from ringland.settings.assumptions import Assumptions


def with_season(
    running: pl.DataFrame,
    exposure: pl.DataFrame,
    as_of: datetime,
    until: datetime,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """The running sets with how the days ahead stand to what is usual for them.

    Args:
        running: as `running_sets` returns it: dock_id, use_h_d.
        exposure: `SessionExposure` as known at `as_of`.
        as_of: the instant looked ahead from.
        until: the season's end.
        assumptions: settings.

    Returns:
        The sets with turn_<factor> (of the next `AHEAD_D` days), later_turn_<factor> (of those
        after them, to the season's end) for each of `TURNING`, and near_h, the hours expected in
        the former; unchanged where no earlier year is on record.
    """
    years = years_back(RanHours.of(exposure).first, as_of)
    if not years:
        return running
    spans = {TURN: (0.0, float(AHEAD_D))}
    days = (until - as_of).total_seconds() / 86_400.0
    spans[LATER_TURN] = (float(AHEAD_D), days) if days > AHEAD_D else spans[TURN]
    then = [(as_of - timedelta(days=ago_d), weight) for ago_d, weight in years]
    totals = session_totals(exposure, assumptions)
    for name, (total, over) in TURNING.items():
        told = totals.with_columns(total=total, over=over)
        for prefix, span in spans.items():
            turns, fleet = _turns(told, then, span, assumptions)
            running = running.join(
                turns.rename({"turn": prefix + name}), on="dock_id", how="left",
                maintain_order="left",
            ).with_columns(pl.col(prefix + name).fill_null(fleet))  # fmt: skip
    return running.with_columns((pl.col("use_h_d") * AHEAD_D).alias(NEAR_H))


def _turns(
    totals: pl.DataFrame,
    then: Sequence[tuple[datetime, float]],
    span: tuple[float, float],
    assumptions: Assumptions,
) -> tuple[pl.DataFrame, float]:
    """dock_id, turn, and the fleet's turn: a mean in some days of earlier years over the years'.

    A dock's is drawn to the fleet's, and the fleet's to 1, by what `record.season_level_h` hours
    of running burn; held within `record.season_turn_most` and its inverse.
    """
    then_in = pl.sum_horizontal(_weight(at, weight, span) for at, weight in then)
    year_in = pl.sum_horizontal(_weight(at, weight, (0.0, float(YEAR_D))) for at, weight in then)
    # what no age is known of counts on neither side
    docks = (
        totals.filter(pl.col("over") > 0)
        .group_by("dock_id", maintain_order=True)
        .agg(
            aged=(then_in * pl.col("total")).sum(),
            burned=(then_in * pl.col("over")).sum(),
            year_aged=(year_in * pl.col("total")).sum(),
            year_burned=(year_in * pl.col("over")).sum(),
            year_h=(year_in * pl.col("hours")).sum(),
        )
    )
    level_h, most = (
        assumptions.number(f"record.season_{name}") for name in ("level_h", "turn_most")
    )
    fleet = _drawn(docks.select(pl.all().exclude("dock_id").sum()), level_h, 1.0)["turn"].item()
    whole = 1.0 if fleet is None else min(max(float(fleet), 1.0 / most), most)
    turns = _drawn(docks, level_h, whole).select("dock_id", pl.col("turn").clip(1.0 / most, most))
    return turns.drop_nulls(), whole


def _weight(at: datetime, weight: float, span: tuple[float, float]) -> pl.Expr:
    begin, end = (at + timedelta(days=days) for days in span)
    return pl.col("started_at").is_between(begin, end, closed="left").cast(pl.Float64) * weight


def _drawn(sums: pl.DataFrame, level_h: float, to: float) -> pl.DataFrame:
    """The turn of each row of sums, drawn to another by the litres of some hours."""
    usual = pl.col("year_aged") / pl.col("year_burned")
    level_l = level_h * pl.col("year_burned") / pl.col("year_h")
    mean = (pl.col("aged") + level_l * to * usual) / (pl.col("burned") + level_l)
    turn = pl.when(pl.col("year_aged") > 0).then(mean / usual)
    return sums.with_columns(turn=turn)
