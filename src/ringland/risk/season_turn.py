"""How the season goes on from here: hours a day ahead over those of late, with its range.

Two pasts speak of it: the shop's own earlier seasons, and a pooled past, which is a stated
guess (settings `season.busiest_*` and `record.season_swing_log`) and all that a shop has in
its first season.  How far each has been wrong at past Mondays of this shop, each with what was
known then, tells how much it is believed now (Bates and Granger 1969, "The combination of
forecasts", Operational Research Quarterly 20:451-468), and how far the turn may be off.  That
error is one for the whole fleet: hulls do not make up for each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.risk.closed_season import season_end
from ringland.settings.assumptions import Assumptions

DAY_S = 86_400.0
YEAR_D = 364
"""Days looked back over for a hull's share: whole weeks, so that every weekday counts alike."""
SOLAR_YEAR_D = 365.2425
AHEAD_D = 30
"""Days ahead that the season's turn speaks of; shorter and longer horizons take it too."""
WEEK_D = 7
WEIGHT, OWN, POOLED = range(3)
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class RanHours:
    """A fleet's rentals in order of start: `at_us` since the epoch, `summed_h` before each."""

    at_us: NDArray[np.int64]
    summed_h: Floats
    first: datetime | None

    @classmethod
    def of(cls, exposure: pl.DataFrame) -> RanHours:
        """From started_at, engine_h_start and engine_h_stop of the rentals."""
        rentals = exposure.select(
            "started_at",
            at=pl.col("started_at").dt.epoch("us"),
            ran_h=(pl.col("engine_h_stop") - pl.col("engine_h_start")).fill_null(0.0),
        ).sort("at", "ran_h")
        first = rentals["started_at"].min()
        return cls(
            rentals["at"].to_numpy(),
            np.append(0.0, np.cumsum(rentals["ran_h"].to_numpy())),
            first if isinstance(first, datetime) else None,
        )

    def between(self, start: datetime, stop: datetime) -> float:
        """Engine hours of the rentals begun in [start, stop)."""
        low, high = np.searchsorted(self.at_us, [_us(start), _us(stop)])
        return float(self.summed_h[max(low, high)] - self.summed_h[low])


def _us(instant: datetime) -> int:
    return round(instant.timestamp() * 1e6)


@dataclass(frozen=True)
class SeasonTurn:
    """Hours a day in the days ahead over those of late, and what it rests on.

    `sd_log` is how far its log may be off, the same way for every hull; `own_share` how much
    of it is the shop's own past (0: none of it); `n_weeks` the past weeks that its own past was
    held against, `off_log` how far it was off in them (root mean square; None: in none).
    """

    turn: float
    sd_log: float
    own_share: float
    n_weeks: int = 0
    off_log: float | None = None


def turn_ahead(
    ran: RanHours,
    as_of: datetime,
    assumptions: Assumptions,
    *,
    ahead_d: tuple[float, float] = (0.0, AHEAD_D),
) -> SeasonTurn:
    """The season's turn between the shop's own past and the pooled one, with its range.

    Args:
        ran: the fleet's rentals known at `as_of`.
        as_of: the instant looked ahead from.
        assumptions: settings.
        ahead_d: from and to how many days ahead; an end beyond `AHEAD_D` is the season's end,
            and past weeks are held against the end of theirs.

    Returns:
        A turn of 1 where nothing ran of late.  The share of the shop's own past is that by
        which past weeks' errors would have been least (squares of their logs), and the range
        holds what they then were; both are drawn to `record.season_turn_sd` and
        `record.season_pooled_sd`, taken as apart, as much as `record.season_turn_spans`
        stretches of days ahead weigh.
    """
    pooled = pooled_turn(ran, as_of, assumptions, ahead_d)
    own = own_turn(ran, as_of, assumptions, ahead_d)
    past = _past_weeks(ran, as_of, assumptions, ahead_d)
    worth = assumptions.number("record.season_turn_spans")
    own_var = assumptions.number("record.season_turn_sd") ** 2
    pooled_var = assumptions.number("record.season_pooled_sd") ** 2
    if pooled is None or own is None:
        off, weight = past[:, POOLED], past[:, WEIGHT]
        var = (weight @ off**2 + worth * pooled_var) / (weight.sum() + worth)
        return SeasonTurn(pooled or 1.0, math.sqrt(var), 0.0)
    weight, off_own, off_pooled = past[np.isfinite(past[:, OWN])].T
    apart = off_pooled - off_own
    share = (weight @ (off_pooled * apart) + worth * pooled_var) / (
        weight @ apart**2 + worth * (own_var + pooled_var)
    )
    share = float(np.clip(share, 0.0, 1.0))
    off = share * off_own + (1 - share) * off_pooled
    beforehand = share**2 * own_var + (1 - share) ** 2 * pooled_var
    var = (weight @ off**2 + worth * beforehand) / (weight.sum() + worth)
    return SeasonTurn(
        turn=math.exp(share * math.log(own) + (1 - share) * math.log(pooled)),
        sd_log=math.sqrt(var),
        own_share=share,
        n_weeks=len(off),
        off_log=math.sqrt(weight @ off_own**2 / weight.sum()) if len(off) else None,
    )


def own_turn(
    ran: RanHours,
    as_of: datetime,
    assumptions: Assumptions,
    ahead_d: tuple[float, float] = (0.0, AHEAD_D),
) -> float | None:
    """The turn as the shop's earlier seasons went on from here; None: none is on record.

    Expected ahead is what earlier years ran in these days, times how far this year stands
    above them in the same days before (only days on record in both).  Where little ran, that
    ratio is mostly chance: `record.season_level_h` hours of "as in earlier years" are added
    on both sides.  A weekend is held against a weekend and yet the day of the year kept: a year
    ago is the nearest whole weeks on either side of it, weighed to its length.  Held within
    `record.season_turn_most` and its inverse.
    """
    look_back_d = assumptions.number("record.recent_sessions_d")
    begin_d, end_d = ahead_d
    if ran.first is None:
        return None
    of_late_h = ran.between(as_of - timedelta(days=look_back_d), as_of)
    ahead_h = before_h = now_h = n_years = 0.0
    for ago_d, weight in years_ago((as_of - ran.first).total_seconds() / DAY_S):
        then = as_of - timedelta(days=ago_d)
        covered = min(timedelta(days=look_back_d), then - ran.first)
        ahead_h += weight * ran.between(
            then + timedelta(days=begin_d), then + timedelta(days=end_d)
        )
        before_h += weight * ran.between(then - covered, then)
        now_h += weight * ran.between(as_of - covered, as_of)
        n_years += weight
    if of_late_h <= 0.0 or ahead_h + before_h <= 0.0:
        return None
    level_h = assumptions.number("record.season_level_h")
    rise = (now_h + level_h) / (before_h + level_h)
    turn = rise * (ahead_h / n_years / (end_d - begin_d)) / (of_late_h / look_back_d)
    return _held(turn, assumptions)


def pooled_turn(
    ran: RanHours,
    as_of: datetime,
    assumptions: Assumptions,
    ahead_d: tuple[float, float] = (0.0, AHEAD_D),
) -> float | None:
    """The turn of a fleet whose hours a day swing over the year; None: nothing ran of late.

    They go as exp(swing x cos(2 pi x days from the busiest day / a year)), and end with the
    season's last day.  Of late counts from the record's first rental, so that a shop which
    opened a week ago is not taken for one that ran a quarter.
    """
    look_back_d = assumptions.number("record.recent_sessions_d")
    since = as_of - timedelta(days=look_back_d)
    if ran.first is None or ran.between(since, as_of) <= 0.0:
        return None
    closes = season_end(as_of, assumptions)
    begun = max(since, ran.first)
    of_late = _swing(as_of, (begun - as_of).total_seconds() / DAY_S, 0.0, assumptions)
    begin_d, end_d = ahead_d
    left_d = (closes - as_of).total_seconds() / DAY_S
    until_d = min(end_d, left_d) if left_d > 0 else end_d
    ahead = _swing(as_of, begin_d, until_d, assumptions) if until_d > begin_d else 0.0
    return _held((ahead / (end_d - begin_d)) / (of_late / look_back_d), assumptions)


def _swing(as_of: datetime, begin_d: float, end_d: float, assumptions: Assumptions) -> float:
    """The pooled course summed over days from `as_of` (a mid-point rule of at most a day)."""
    month, day = (int(assumptions.number(f"season.busiest_{part}")) for part in ("month", "day"))
    off_d = (as_of - datetime(as_of.year, month, day, tzinfo=as_of.tzinfo)).total_seconds() / DAY_S
    n = max(1, math.ceil(end_d - begin_d))
    step = (end_d - begin_d) / n
    days = off_d + begin_d + (np.arange(n) + 0.5) * step
    swing = assumptions.number("record.season_swing_log")
    return float(np.exp(swing * np.cos(2 * np.pi * days / SOLAR_YEAR_D)).sum() * step)


def _past_weeks(
    ran: RanHours, as_of: datetime, assumptions: Assumptions, ahead_d: tuple[float, float]
) -> Floats:
    """Past weeks whose days ahead are over; columns `WEIGHT`, `OWN`, `POOLED`.

    The last two are the log of hours a day run over those foretold, by the shop's own past
    (NaN: none was on record) and by the pooled.  Weeks overlap, and late in a year next to
    nothing runs: a week weighs the part of a span it holds, times its hours over the most.
    """
    found: list[tuple[float, float, float]] = []
    if ran.first is None:
        return np.empty((0, 3))
    look_back = timedelta(days=assumptions.number("record.recent_sessions_d"))
    begin_d, end_d = ahead_d
    for back in range(int((as_of - ran.first).total_seconds() / DAY_S / WEEK_D) + 1):
        then = as_of - timedelta(days=back * WEEK_D)
        until_d = end_d
        if end_d > AHEAD_D:
            until_d = (season_end(then, assumptions) - then).total_seconds() / DAY_S
        span = (begin_d, until_d)
        stop = then + timedelta(days=until_d)
        if until_d <= begin_d or stop > as_of:
            continue
        run_h = ran.between(then + timedelta(days=begin_d), stop)
        pooled = pooled_turn(ran, then, assumptions, span)
        if run_h <= 0.0 or not pooled:
            continue
        of_late_h_d = ran.between(then - look_back, then) / (look_back.total_seconds() / DAY_S)
        run = math.log(run_h / (until_d - begin_d) / of_late_h_d)
        own = own_turn(ran, then, assumptions, span)
        off_own = run - math.log(own) if own else math.nan
        found.append((run_h, off_own, run - math.log(pooled)))
    if not found:
        return np.empty((0, 3))
    weeks = np.array(found)
    weeks[:, WEIGHT] *= min(1.0, WEEK_D / (end_d - begin_d)) / weeks[:, WEIGHT].max()
    return weeks


def _held(turn: float, assumptions: Assumptions) -> float:
    most = assumptions.number("record.season_turn_most")
    return min(max(turn, 1.0 / most), most)


def years_ago(record_d: float) -> list[tuple[int, float]]:
    """Whole weeks on either side of each year back, in days, with their weights; in the record."""
    found = []
    for years in range(1, int(record_d / YEAR_D) + 1):
        weeks, over = divmod(years * SOLAR_YEAR_D, 7.0)
        found += [(7 * int(weeks), 1 - over / 7.0), (7 * int(weeks) + 7, over / 7.0)]
    return [(ago_d, weight) for ago_d, weight in found if ago_d < record_d]
