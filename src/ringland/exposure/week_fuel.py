"""The ledger as one week shows it: what the docks hold and sold, what each tank went through.

Frames only; pictures and words are made elsewhere.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from ringland.exposure.exposure_windows import exposure_windows
from ringland.exposure.fuel_at_hand import fuel_at_hand
from ringland.exposure.fuel_view import dock_fuel_view, tank_course
from ringland.exposure.octane_margin import chance_need_unmet, octane_index_trials
from ringland.exposure.week_ledger import WeekLedger
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class WeekFuel:
    """One week's fuel, as frames.

    `docks` is `dock_fuel_view` with need_more_share: of engines alike, the share that need
    more than the dock's blend at the highest stated need.  `dock_course` and `tank_course`
    hold the last fuel.picture_d days of the ledger's events, a dock's draws thinned to the
    last of each day.  `worst` lists each hull's worst rides on record, `windows` the
    ExposureWindows row of each running set as it stands with its hull, `balance` the account
    of each hull's tank over its whole record, `trials` the octane-index sensitivity run.
    """

    docks: pl.DataFrame
    dock_course: pl.DataFrame
    tank_course: pl.DataFrame
    worst: pl.DataFrame
    windows: pl.DataFrame
    balance: pl.DataFrame
    trials: pl.DataFrame


def week_fuel(  # noqa: PLR0917 - a ledger step takes the frames it reads
    records: Mapping[str, pl.DataFrame],
    ledger: WeekLedger,
    exposure: pl.DataFrame,
    lives: pl.DataFrame,
    as_of: datetime,
    assumptions: Assumptions,
) -> WeekFuel:
    """The week's fuel from what the ledger left and what was known at `as_of`.

    Args:
        records: the contracts' frames by kind, as known at `as_of`.
        ledger: of the same records and moment, see `week_ledger`.
        exposure: the SessionExposure frame.
        lives: the PistonLives frame.
        as_of: the moment the week speaks of.
        assumptions: settings.
    """
    course = tank_course(ledger.tank_events, exposure, assumptions)
    since = as_of - timedelta(days=assumptions.number("fuel.picture_d"))
    running = lives.filter(pl.col("state") == "running")
    at_hand = fuel_at_hand(ledger.tanks, exposure, records, as_of, assumptions)
    docks = dock_fuel_view(ledger, exposure, at_hand, as_of, assumptions)
    margin = (docks.get_column("octane_aki") - docks.get_column("need_high_aki")).to_numpy()
    return WeekFuel(
        docks=docks.with_columns(
            pl.Series("need_more_share", chance_need_unmet(margin, assumptions)).fill_nan(None)
        ),
        dock_course=_by_day(ledger.dock_events.filter(pl.col("at") > since)),
        tank_course=course.filter(pl.col("at") > since),
        worst=_worst(exposure, int(assumptions.number("fuel.worst_listed"))),
        windows=exposure_windows(exposure, running, assumptions)
        .group_by("piston_set_id", maintain_order=True)
        .last()
        .join(running.select("piston_set_id", "hull_id"), on="piston_set_id", how="left"),
        balance=ledger.balance.filter(pl.col("kind") == "hull"),
        trials=octane_index_trials(exposure, assumptions),
    )


def _by_day(events: pl.DataFrame) -> pl.DataFrame:
    """A dock's deliveries and what was made up, and the last of each day's draws."""
    is_last = pl.int_range(pl.len()).over(
        "dock_id", pl.col("at").dt.date(), order_by="at", descending=True
    )
    return events.filter((pl.col("event") != "draw") | (is_last == 0))


def _worst(exposure: pl.DataFrame, most: int) -> pl.DataFrame:
    """Per hull, the rides of most shortfall x hard-running hours, the worst first."""
    onh = (pl.col("shortfall_on") * pl.col("hard_running_h")).fill_null(0.0)
    return (
        exposure.with_columns(shortfall_onh=onh)
        .filter(pl.col("shortfall_onh") > 0)
        .sort("hull_id", "shortfall_onh", "started_at", descending=[False, True, False])
        .group_by("hull_id", maintain_order=True)
        .head(most)
        .select(
            "hull_id", "started_at", "octane_aki", "octane_margin_on", "hard_running_h",
            "shortfall_onh", "fuel_age_d",
        )
    )  # fmt: skip
