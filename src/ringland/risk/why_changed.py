"""Why a hull's chance is another than last week's, split into parts that add up.

Last week's inputs are carried to this week's one group after the other, each with this week's
fit, and the step each group makes is its part; what the fit alone makes of last week's inputs,
against what was said then, is the refit's.  Where one group leans on another (a shortfall does
more at more hours) the order decides who bears it; it is always the same.  A set that was
renewed or swapped is one part.  No bench test enters this chance: one that finds a failure
moves the refit, any other the state and what a step is worth.
"""

from __future__ import annotations

import polars as pl

from ringland.contracts.risk_tables import ChanceInputs, ChanceParts
from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.exposure_ahead import NEAR_H, OPEN, TURN, USUAL
from ringland.risk.failure_risk import HORIZONS_D, chance_with_range
from ringland.risk.fleet_hazard import FleetFits
from ringland.settings.assumptions import Assumptions

REFIT, SET, OTHER = "refit", "set", "other"
GROUPS = {
    "hours": ("age_h",),
    "season": (
        "use_h_d",
        "use_sd_log",
        "turn_sd_log",
        NEAR_H,
        *(TURN + name for name in COVARIATES),
    ),
    "fuel": ("shortfall_25h_on", "fuel_age_25h_d"),
    "throttle": ("full_throttle_25h",),
    "calibration": ("is_raised_calibration",),
}
"""What last week's inputs are carried over by, in this order; any other input is `OTHER`."""


def chance_inputs(running: pl.DataFrame) -> pl.DataFrame:
    """`ChanceInputs`: what the chance of each running set was worked out from.

    Args:
        running: as `running_sets` returns it; rows with `why_not` are left aside.
    """
    names = [name for name in _names() if name in running.columns]
    return ChanceInputs.validate(
        running.filter(pl.col("why_not").is_null())
        .select("hull_id", "piston_set_id", pl.col(names).cast(pl.Float64))
        .unpivot(names, index=["hull_id", "piston_set_id"], variable_name="name")
        .sort("hull_id", "name")
    )


def why_changed(
    fits: FleetFits,
    running: pl.DataFrame,
    chances: pl.DataFrame,
    *,
    inputs_then: pl.DataFrame,
    chances_then: pl.DataFrame,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """`ChanceParts` of the hulls that have a chance now and had one then.

    Args:
        fits: this week's.
        running: as `running_sets` returns it, of this week.
        chances: `HullChances` made from both.
        inputs_then: `ChanceInputs` of the week before.
        chances_then: `HullChances` of that week.
        assumptions: settings.
    """
    then = chances_then.select("hull_id", chance_then="chance_30d").drop_nulls()
    now = chances.select("hull_id", chance_now="chance_30d").drop_nulls()
    both = now.join(then, on="hull_id", maintain_order="left")
    sets = both.join(running, on="hull_id", maintain_order="left").join(
        inputs_then.select("hull_id", _set_then="piston_set_id").unique(maintain_order=True),
        on="hull_id",
        maintain_order="left",
    )
    if sets.is_empty():
        return ChanceParts.create_empty()
    is_same = pl.col("piston_set_id") == pl.col("_set_then")
    renewed = sets.filter(~is_same).select(
        "hull_id",
        "chance_then",
        "chance_now",
        part=pl.lit(SET),
        place=pl.lit(1),
        by=pl.col("chance_now") - pl.col("chance_then"),
    )
    parts = [renewed, *_by_group(fits, sets.filter(is_same), inputs_then, assumptions)]
    found = pl.concat(part.select(ChanceParts.column_names()) for part in parts)
    return ChanceParts.validate(found.sort("hull_id", "place"), cast=True)


def _by_group(
    fits: FleetFits, sets: pl.DataFrame, inputs_then: pl.DataFrame, assumptions: Assumptions
) -> list[pl.DataFrame]:
    """The parts of sets that ran on: one frame a group, in order."""
    if sets.is_empty():
        return []
    wide = inputs_then.pivot("name", index="hull_id", values="value")
    told = [name for name in _names() if name in wide.columns and name in sets.columns]
    before = sets.select("hull_id").join(wide, on="hull_id", how="left", maintain_order="left")
    course = sets.with_columns(
        before[name].cast(sets.schema[name], strict=False).alias(name) for name in told
    )
    at = sets["chance_then"]
    parts = []
    groups = {REFIT: (), **GROUPS, OTHER: tuple(told)}
    for place, (part, members) in enumerate(groups.items(), 1):
        names = [name for name in told if _bare(name) in members or name in members]
        course = course.with_columns(sets[name] for name in names)
        # what all groups together make is what is said of this week, to the last digit
        reached = sets["chance_now"] if part == OTHER else _chance(fits, course, assumptions)
        parts.append(
            sets.select(
                "hull_id", "chance_then", "chance_now", part=pl.lit(part), place=pl.lit(place)
            ).with_columns((reached - at).alias("by"))
        )
        at = reached
    return parts


def _chance(fits: FleetFits, sets: pl.DataFrame, assumptions: Assumptions) -> pl.Series:
    days = HORIZONS_D["30d"]
    hours = sets["use_h_d"].to_numpy() * days
    return pl.Series(chance_with_range(fits, sets, hours, assumptions, days=days)[0])


def _names() -> list[str]:
    own = ["age_h", "use_h_d", "use_sd_log", "turn_sd_log", NEAR_H, *COVARIATES]
    return own + [p + name for p in (USUAL, OPEN, TURN) for name in COVARIATES]


def _bare(name: str) -> str:
    return name.removeprefix(OPEN).removeprefix(USUAL)
