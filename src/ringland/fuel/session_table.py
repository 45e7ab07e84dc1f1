"""The ledger's main table: what was in the litres each rental burned."""

from __future__ import annotations

import dataframely as dy
import numpy as np
import polars as pl

from ringland.contracts.fuel_tables import SessionFuel
from ringland.contracts.row_order import in_order
from ringland.fuel.order_doubts import CUT_OFF
from ringland.fuel.tank_ages import age_quantile, share_older
from ringland.fuel.tank_events import RECORDED, TankEvents
from ringland.fuel.tank_kernel import OUT, US_PER_DAY, TankRun
from ringland.settings.assumptions import Assumptions


def session_table(  # noqa: PLR0917 - what a table is made of
    rides: pl.DataFrame,
    record: pl.DataFrame,
    events: TankEvents,
    run: TankRun,
    upstream: TankRun,
    assumptions: Assumptions,
) -> dy.DataFrame[SessionFuel]:
    """A `SessionFuel` by hull and start.

    A ride cut by fills is put together again: means by litres, and bounds that hold another
    split of the litres too.

    Args:
        rides: `session_row` of the record is the place in it.
        record: the frame the events come from.
        events: of the craft's tanks.
        run: their run.
        upstream: the run of the docks' tanks.
        assumptions: from when fuel counts as turned and as old.
    """
    session_row = record.get_column("session_row").to_numpy()[events.row]
    burns = np.flatnonzero((events.role == RECORDED) & (events.is_fill == OUT) & (session_row >= 0))
    at_us = events.at_us[burns]
    quality = run.quality[burns]
    at_d = at_us / US_PER_DAY
    limits = [assumptions.number("fuel.turns_after_d"), assumptions.number("fuel.old_after_d")]
    ages_us = np.array([limit * US_PER_DAY for limit in limits], np.int64)
    older = share_older(run, burns, at_us, ages_us, upstream)
    mean_age_us = (at_d - quality[:, 3]) * US_PER_DAY
    p90 = age_quantile(run, burns, at_us, mean_age_us, 0.9, upstream)
    unknown = np.clip(quality[:, 6], 0.0, 1.0)
    mine = session_row[burns]
    parts = pl.DataFrame(
        {
            "session_row": mine,
            "burn_l": run.moved_l[burns],
            "octane_aki": np.where(unknown > 1 - 1e-9, np.nan, quality[:, 1]),
            "octane_low_aki": quality[:, 0],
            "octane_high_aki": quality[:, 2],
            "fuel_age_d": at_d - quality[:, 3],
            "fuel_age_low_d": at_d - quality[:, 4],
            "fuel_age_high_d": at_d - quality[:, 5],
            "fuel_age_p90_d": p90 / US_PER_DAY,
            "share_over_14d": older[:, 0],
            "share_over_28d": older[:, 1],
            "unknown_share": unknown,
            "tank_before_l": run.before_l[burns],
            "tank_after_l": run.after_l[burns],
        }
    ).with_columns(pl.selectors.float().fill_nan(None))
    twice = len(mine) > rides.height
    whole = _together(parts) if twice else in_order(parts, "session_row")
    keys = rides.select("hull_id", "started_at")[whole.get_column("session_row").to_numpy()]
    table = in_order(keys.hstack(whole.drop("session_row")), "hull_id", "started_at")
    return SessionFuel.validate(table, cast=True)


def _together(parts: pl.DataFrame) -> pl.DataFrame:
    """One row per ride from the parts it was cut into."""
    is_cut = pl.len().over("session_row") > 1
    cut = parts.filter(is_cut)
    litres = pl.col("burn_l")
    means = ["octane_aki", "fuel_age_d", "fuel_age_p90_d", "share_over_14d", "share_over_28d",
             "unknown_share"]  # fmt: skip

    def mean(name: str) -> pl.Expr:
        weight = litres.filter(pl.col(name).is_not_null())
        whole = (pl.col(name) * litres).sum() / weight.sum()
        return pl.when(weight.sum() > 0).then(whole).otherwise(pl.col(name).mean()).alias(name)

    def uneven(name: str, sign: float) -> pl.Expr:
        """The mean if more of the litres were burned on the worse side of the fills."""
        part = pl.col(name)
        far = (part * litres).sum() / litres.sum() + sign * CUT_OFF * (part.max() - part.min())
        return far.clip(part.min(), part.max()).alias(name)

    together = cut.group_by("session_row", maintain_order=True).agg(
        litres.sum(),
        *(mean(name) for name in means),
        *(uneven(name, -1.0) for name in ("octane_low_aki", "fuel_age_low_d")),
        *(uneven(name, 1.0) for name in ("octane_high_aki", "fuel_age_high_d")),
        pl.col("tank_before_l").first(),
        pl.col("tank_after_l").last(),
    )
    return pl.concat([parts.filter(~is_cut), together.select(parts.columns)]).sort("session_row")
