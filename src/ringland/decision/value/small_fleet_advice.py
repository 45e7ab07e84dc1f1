"""What can be said to a fleet with next to no failures: a bound, and what to do about the record.

A bound is not a forecast: it is the worst life that a record without failures still leaves
plausible.  The advice on fuel and record rests on what each hull burned and on what nobody
wrote down; it needs no failure at all.
"""

from __future__ import annotations

from dataclasses import dataclass

import dataframely as dy
import numpy as np
import polars as pl

from ringland.settings.assumptions import Assumptions
from ringland.survival.lives.few_failures import fixed_shape_life
from ringland.survival.lives.life_data import ended_lives
from ringland.words.number_words import number_text, plain_text, share_text


class HullAdvice(dy.Schema):
    """One row per hull and piece of advice."""

    hull_id = dy.String(primary_key=True)
    about = dy.String(
        primary_key=True, check=lambda col: col.is_in(["fuel", "fuel age", "record", "chance"])
    )
    advice = dy.String()


@dataclass(frozen=True)
class LifeBound:
    """The shortest characteristic life the record leaves plausible, at a stated shape.

    `chance_within(hours)` bounds the chance that a new set fails within those hours.
    """

    n_sets: int
    n_failures: int
    hours: float
    shape: float
    scale_lower: float
    confidence: float

    def chance_within(self, hours: float) -> float:
        """At most this chance of failing within `hours` of a new set."""
        return float(-np.expm1(-((hours / self.scale_lower) ** self.shape)))

    def sentence(self, hours: float) -> str:
        """The bound in words, over a stretch of hours an operator thinks in."""
        count = "no failure" if self.n_failures == 0 else f"{self.n_failures} failures"
        return (
            f"{self.n_sets} piston sets ran {number_text(self.hours, 0)} h with {count} of "
            f"this kind. "
            f"With {share_text(self.confidence)} confidence a new set fails within "
            f"{number_text(hours, 0)} h with a "
            f"chance of at most {share_text(self.chance_within(hours))}, if sets wear as assumed "
            f"(shape {plain_text(round(self.shape, 1))}, see the model card). That is a bound, not "
            f"a forecast."
        )


def life_bound(lives: pl.DataFrame, mode: str, assumptions: Assumptions) -> LifeBound:
    """The bound on the life of a piston set against one failure mode.

    Args:
        lives: `PistonLives` under observation for some time.
        mode: the failure mode; lives that ended otherwise count as unfailed to then.
        assumptions: the prior's shape and the level.

    Raises:
        ValueError: no set was under observation.
    """
    seen = lives.filter(pl.col("exit_h") > pl.col("entry_h"))
    if seen.is_empty():
        raise ValueError("no piston set was under observation; keep an hour reading a week.")
    shape = float(np.exp(assumptions.number("prior.log_shape_mean")))
    level = assumptions.number("survival.confidence")
    entry, stop = seen["entry_h"].to_numpy(), seen["exit_h"].to_numpy()
    failed = (seen["mode"] == mode).fill_null(False).to_numpy()
    life = fixed_shape_life(ended_lives(stop, failed, entry=entry), shape, confidence=level)
    return LifeBound(
        n_sets=seen.height,
        n_failures=int(failed.sum()),
        hours=float((stop - entry).sum()),
        shape=shape,
        scale_lower=life.scale_lower,
        confidence=level,
    )


def hull_advice(running: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """What to do about fuel and record on each hull; no failure is needed to say it.

    Args:
        running: one row per hull in service, as `running_sets` returns it.
        assumptions: settings.

    Returns:
        `HullAdvice`, in order of hull; a hull in good order has no row.  Unknown exposure
        gives record advice, never fuel advice.
    """
    old_d = assumptions.number("fuel.old_after_d")
    known = assumptions.number("record.known_fuel_share")
    below = running["shortfall_25h_on"].round(1)  # as told: 0.0 below need is none
    told = pl.Series([number_text(numbers) for numbers in below], dtype=pl.String)
    running = running.with_columns(below=below, below_told=told)
    said = {
        "fuel": (
            pl.col("below") > 0,
            pl.format(
                "Burned fuel {} octane numbers below need in hard running of late: fill only "
                "with fuel that meets the calibration in force.",
                pl.col("below_told"),
            ),
        ),
        "fuel age": (
            pl.col("fuel_age_25h_d") > old_d,
            pl.format(
                "Burned fuel {} days old on average, which the fuel rule calls too old: drain "
                "what is left of it and refill.",
                pl.col("fuel_age_25h_d").round(0).cast(pl.Int64),
            ),
        ),
        "record": (
            pl.col("known_share_25h") < 1,
            pl.format(
                "{} % of the fuel burned of late have no octane on record: write down the "
                "grade and its scale at every fill{}.",
                ((1 - pl.col("known_share_25h")) * 100).round(0).cast(pl.Int64),
                pl.when(pl.col("known_share_25h") < known)
                .then(pl.lit("; until then there is not enough record to say"))
                .otherwise(pl.lit("")),
            ),
        ),
        "chance": (
            pl.col("why_not").is_not_null(),
            pl.format("Not enough record to say: {}.", pl.col("why_not")),
        ),
    }
    return HullAdvice.validate(
        pl.concat(
            running.filter(applies).select("hull_id", about=pl.lit(about), advice=advice)
            for about, (applies, advice) in said.items()
        ).sort("hull_id", "about")
    )
