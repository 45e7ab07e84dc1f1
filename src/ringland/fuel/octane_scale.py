"""On which scale an octane number without one was probably written: never which it was.

A bare "91" stays unresolved in every record.  Here it gets a chance for AKI, RON and MON
from three things: what the pumps of the dock's country show, which grades are sold on each
scale, and on which scales the dock's other rows were written.  The chances multiply (the
three are taken as independent), then are scaled to one.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.contracts.record_tables import OctaneScaleChances
from ringland.settings.assumptions import Assumptions

SCALES = ("aki", "ron", "mon")
# Countries whose pumps show (R+M)/2; elsewhere they show RON.  From memory.
AKI_COUNTRIES = ("BR", "CA", "MX", "US")


def scale_chances(records: Mapping[str, pl.DataFrame], assumptions: Assumptions) -> pl.DataFrame:
    """An `OctaneScaleChances`: each fill and delivery with a bare octane number.

    A row that gives a labelled octane as well is not there: it is resolved.

    Args:
        records: docks, hulls, fills and deliveries as known.
        assumptions: the group octane_scale.
    """
    rows = _octane_rows(records)
    country = records["docks"].select("dock_id", "country")
    bare = rows.filter(
        pl.col("octane_unlabelled").is_not_null(),
        pl.all_horizontal(pl.col(f"octane_{scale}").is_null() for scale in SCALES),
    ).join(country, on="dock_id", how="left", maintain_order="left")
    neighbours = (
        rows.filter(pl.col("is_at_dock"))
        .group_by("dock_id", maintain_order=True)
        .agg(
            pl.col(f"octane_{scale}").is_not_null().sum().cast(pl.Float64).alias(f"_n_{scale}")
            for scale in SCALES
        )
    )
    bare = bare.join(neighbours, on="dock_id", how="left", maintain_order="left").with_columns(
        pl.when("is_at_dock").then(f"_n_{scale}").fill_null(0.0).alias(f"_n_{scale}")
        for scale in SCALES
    )
    weight = assumptions.number("octane_scale.neighbour_weight")
    total = pl.sum_horizontal(f"_n_{scale}" for scale in SCALES) + weight
    habit = _habit(assumptions)
    unscaled = {
        scale: (habit[scale] * weight + pl.col(f"_n_{scale}"))
        / total
        * _density(scale, assumptions)
        for scale in SCALES
    }
    all_scales = pl.sum_horizontal(unscaled.values())
    rows = bare.with_columns(
        (chance / all_scales).alias(f"chance_{scale}") for scale, chance in unscaled.items()
    ).sort("at", "kind", "hull_id", "dock_id")
    return OctaneScaleChances.validate(rows.select(OctaneScaleChances.column_names()), cast=True)


def _octane_rows(records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    octane = [*(f"octane_{scale}" for scale in SCALES), "octane_unlabelled"]
    home = records["hulls"].select("hull_id", _home="dock_id")
    fills = (
        records["fills"]
        .join(home, on="hull_id", how="left", maintain_order="left")
        .select(
            "hull_id",
            *octane,
            kind=pl.lit("fills"),
            dock_id=pl.coalesce("source_dock_id", "_home"),
            at="filled_at",
            is_at_dock=pl.col("source_dock_id").is_not_null(),
        )
    )
    deliveries = records["deliveries"].select(
        *octane,
        "dock_id",
        hull_id=pl.lit(None, pl.String),
        kind=pl.lit("deliveries"),
        at="delivered_at",
        is_at_dock=pl.lit(value=True),
    )
    return pl.concat([fills, deliveries.select(fills.columns)])


def _habit(assumptions: Assumptions) -> dict[str, pl.Expr]:
    """The chance of each scale before the number and the neighbours are looked at."""
    posted = assumptions.number("octane_scale.posted_chance")
    mon = assumptions.number("octane_scale.mon_chance")
    is_aki = pl.col("country").str.to_uppercase().is_in(AKI_COUNTRIES)
    aki = (
        pl.when(is_aki.is_null())
        .then((1 - mon) / 2)  # no country on record: neither scale is preferred
        .when(is_aki)
        .then(posted)
        .otherwise(1 - posted - mon)
    )
    return {"aki": aki, "ron": 1 - mon - aki, "mon": pl.lit(mon)}


def _density(scale: str, assumptions: Assumptions) -> pl.Expr:
    """How likely the number is among the grades of a scale: even within them, rare outside."""
    low = assumptions.number(f"octane_scale.{scale}_low")
    high = assumptions.number(f"octane_scale.{scale}_high")
    off = assumptions.number("octane_scale.off_grade_chance")
    is_sold = pl.col("octane_unlabelled").is_between(low, high)
    return pl.when(is_sold).then((1 - off) / (high - low)).otherwise(off / (high - low))
