"""Octane supplied against octane needed, for each session.

The margin counts in hard running only, so each session carries its full-throttle hours
beside it.  An unknown need gives an unknown margin, never zero.
"""

from __future__ import annotations

import dataframely as dy
import numpy as np
import numpy.typing as npt
import polars as pl
from scipy.special import ndtr

from ringland.contracts.fuel_tables import SessionExposure
from ringland.contracts.row_order import in_order
from ringland.fuel.throttle_share import with_full_throttle_share
from ringland.settings.assumptions import Assumptions

ROUNDING_ON = 1e-6
"""A blend of one grade is that grade to about 1e-13: less than this is no shortfall."""


def usual_needs(assumptions: Assumptions) -> dict[str, float]:
    """The usual octane need of the classes of calibration that have one."""
    return {
        "stock": assumptions.number("octane.need_stock_aki"),
        "raised": assumptions.number("octane.need_raised_aki"),
    }


def with_octane_need(engine_sessions: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """Fill octane_need_aki from the calibration's class where the record gives no number.

    Stock and raised have a usual need; any other class, or none, leaves it null.
    """
    usual = usual_needs(assumptions)
    by_class = pl.col("calibration").replace_strict(usual, default=None, return_dtype=pl.Float64)
    return engine_sessions.with_columns(
        octane_need_aki=pl.coalesce(pl.col("octane_need_aki").cast(pl.Float64), by_class)
    )


def chance_need_unmet(
    margin_on: npt.ArrayLike, assumptions: Assumptions
) -> npt.NDArray[np.float64]:
    """Of engines alike, the share that need more than the fuel gives at this stated margin.

    A stated need is the middle of engines of one model, whose own needs are taken as normal
    about it with octane.need_spread_on: at a margin of nothing, half need more.  Not folded
    into the shortfall or its bounds, which speak of the record: no record tells one engine's
    own need, and a hazard fitted on the stated need already averages over engines.
    NaN for an unknown margin.
    """
    margin = np.asarray(margin_on, float)
    return np.asarray(ndtr(-margin / assumptions.number("octane.need_spread_on")))


def session_exposure(
    session_fuel: pl.DataFrame, engine_sessions: pl.DataFrame, assumptions: Assumptions
) -> dy.DataFrame[SessionExposure]:
    """One row per session: octane margin and shortfall, hard running, age of the fuel.

    `shortfall_low_on` is with the best fuel it may have been, `shortfall_high_on` with the
    worst.  With no octane on record the best estimate is null and the two bounds stand.

    Args:
        session_fuel: the SessionFuel frame.
        engine_sessions: the EngineSessions frame.
        assumptions: needs by calibration class, full-throttle share where none is on record.

    Raises:
        ValueError: a session has no row of fuel.
    """
    sessions = with_octane_need(with_full_throttle_share(engine_sessions, assumptions), assumptions)
    joined = sessions.join(
        session_fuel, on=["hull_id", "started_at"], how="inner", maintain_order="left"
    )
    if joined.height < sessions.height:
        raise ValueError(
            f"{sessions.height - joined.height} sessions have no row of fuel; make the ledger "
            f"from the same engine sessions."
        )
    need = pl.col("octane_need_aki")

    def short(octane: str) -> pl.Expr:
        return (need - pl.col(octane)).clip(lower_bound=0.0)

    hours = pl.col("engine_h_stop") - pl.col("engine_h_start")
    table = joined.with_columns(
        octane_margin_on=pl.col("octane_aki") - need,
        shortfall_on=short("octane_aki"),
        shortfall_low_on=short("octane_high_aki"),
        shortfall_high_on=short("octane_low_aki"),
        hard_running_h=hours * pl.col("full_throttle_share"),
    )
    return SessionExposure.validate(
        in_order(table.select(SessionExposure.column_names()), "hull_id", "started_at"), cast=True
    )


def octane_index_trials(exposure: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """The sensitivity run: what of the shortfall hangs on the octane-index weight.

    Each weight is tried with fuels whose sensitivity lies octane.sensitivity_spread_on below
    and above that behind the need; at K = 0.5, the pump number, the gap changes nothing.

    Returns:
        One row per trial: weight_k, sensitivity_gap_on, shortfall_on (mean over hard running
        of known margin), below_need_share (of its litres); null with no known margin.
    """
    gap = assumptions.number("octane.sensitivity_spread_on")
    weights = [assumptions.number(f"octane.index_k_{name}") for name in ("zero", "boosted")]
    trials = [(0.5, 0.0), *((k, sign * gap) for k in weights for sign in (-1.0, 1.0))]
    known = exposure.filter(pl.col("octane_margin_on").is_not_null())
    hard, litres = pl.col("hard_running_h"), pl.col("burn_l")
    rows = []
    for weight_k, gap_on in trials:
        moved = on_octane_index(known, weight_k, gap_on)
        rows.append(
            moved.select(
                weight_k=pl.lit(weight_k),
                sensitivity_gap_on=pl.lit(gap_on),
                shortfall_on=pl.when(hard.sum() > 0).then(
                    (pl.col("shortfall_on") * hard).sum() / hard.sum()
                ),
                below_need_share=pl.when(litres.sum() > 0).then(
                    litres.filter(pl.col("shortfall_on") > ROUNDING_ON).sum() / litres.sum()
                ),
            )
        )
    return pl.concat(rows)


def on_octane_index(
    exposure: pl.DataFrame, weight_k: float, sensitivity_gap_on: float
) -> pl.DataFrame:
    """The exposure with margins by octane index OI = RON - K S: a sensitivity run.

    In AKI (K = 0.5) fuel and need are compared as they stand.  With another K the margin
    moves by (0.5 - K) (S of the fuel - S of the fuel the need was set with): with one
    sensitivity for both it does not move at all, so the gap is what has to be tried.
    Best estimates only; the bounds stay those of the record.

    Args:
        exposure: the SessionExposure frame.
        weight_k: K; negative in conventional boosted engines, e.g. -0.3.
        sensitivity_gap_on: S of the fuels burned less S behind the need, e.g. -1.5.
    """
    shift = (0.5 - weight_k) * sensitivity_gap_on
    margin = pl.col("octane_margin_on") + shift

    return exposure.with_columns(
        octane_margin_on=margin,
        shortfall_on=(-margin).clip(lower_bound=0.0),
    )
