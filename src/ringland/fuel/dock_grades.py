"""Which tank of a dock each delivery went into and each fill came from, and what is sold where.

A dock has one tank, unless tanks are named (in its dock_tanks, its deliveries or its fills) or
its fills carry labels of two grades or more that were also delivered to it: then it has one
tank per grade.  A fill that names neither tank nor grade at such a dock may be of any of them.
"""

from __future__ import annotations

import polars as pl

from ringland.fuel.craft_record import Records, rows_of
from ringland.fuel.octane import with_aki
from ringland.fuel.octane_scale import AKI_COUNTRIES
from ringland.fuel.tank_kernel import Floats, Ints
from ringland.settings.assumptions import Assumptions

_LIKE_ON = 1.0
"""Labels nearer than this are of one grade."""


def tanks_of(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """One row per tank that has had a delivery: dock_id, tank_id (null: the only one), grade_aki.

    `grade_aki` is the litres-weighted mean of what was delivered under that name, null where
    no grade was written down; `tank_l` its capacity, null where unknown.  Sorted.
    """
    deliveries = _named_deliveries(records, assumptions)
    graded = pl.col("octane_best_aki").is_not_null()
    litres = pl.col("volume_l").filter(graded)
    mean = (pl.col("octane_best_aki") * pl.col("volume_l")).filter(graded).sum() / litres.sum()
    sizes = rows_of(records, "dock_tanks").select("dock_id", "tank_id", "tank_l")
    whole = records["docks"].select("dock_id", "bulk_tank_l")
    return (
        deliveries.group_by("dock_id", "tank_id", maintain_order=True)
        .agg(grade_aki=pl.when(litres.sum() > 0).then(mean))
        .join(sizes, on=["dock_id", "tank_id"], how="left")
        .join(whole, on="dock_id", how="left")
        .with_columns(tank_l=pl.coalesce("tank_l", "bulk_tank_l"))
        .drop("bulk_tank_l")
        .sort("dock_id", "tank_id")
        .with_row_index("tank")
        .with_columns(pl.col("tank").cast(pl.Int64))
    )


def delivered_into(records: Records, tanks: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """The deliveries with their octane in AKI and the number of their `tank`."""
    rows = _named_deliveries(records, assumptions)
    return rows.join(
        tanks.select("dock_id", "tank_id", "tank"),
        on=["dock_id", "tank_id"],
        how="left",
        nulls_equal=True,
        maintain_order="left",
    )


def drawn_from(records: Records, tanks: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """The recorded fills from a dock's tank: fill_row, tank, at, volume_l, label_aki, is_open.

    `tank` is null where the dock has no delivery on record, or where which of its tanks is not
    said; then `is_open` is true.
    """
    fills = with_aki(records["fills"].with_row_index("fill_row"), assumptions).filter(
        pl.col("source") == "dock"
    )
    rows = fills.select(
        "fill_row", "volume_l", dock_id="source_dock_id", tank_id="source_tank_id",
        at="filled_at", label_aki="octane_best_aki",
    )  # fmt: skip
    several = tanks.group_by("dock_id", maintain_order=True).agg(tanks=pl.len())
    only = tanks.unique("dock_id", keep="first").select("dock_id", only="tank")
    named = tanks.filter(pl.col("tank_id").is_not_null())
    rows = (
        rows.join(several, on="dock_id", how="left", maintain_order="left")
        .join(only, on="dock_id", how="left", maintain_order="left")
        .join(named.select("dock_id", "tank_id", named="tank"), on=["dock_id", "tank_id"],
              how="left", maintain_order="left")
    )  # fmt: skip
    is_several = pl.col("tanks").fill_null(0) > 1
    by_label = _nearest(rows.filter(is_several & pl.col("named").is_null()), tanks)
    return (
        rows.join(by_label, on="fill_row", how="left", maintain_order="left")
        .with_columns(
            tank=pl.coalesce("named", pl.when(is_several).then("labelled").otherwise("only")),
        )
        .with_columns(is_open=pl.col("tank").is_null() & is_several)
        .select("fill_row", "dock_id", "tank", "at", "volume_l", "label_aki", "is_open")
    )


def tank_named(rows: pl.DataFrame, tanks: pl.DataFrame) -> pl.DataFrame:
    """Rows of a dock with the number of the `tank` they name; those that name none are left out.

    A dock's only tank need not be named.
    """
    only = tanks.filter(pl.len().over("dock_id") == 1).select("dock_id", only="tank")
    named = tanks.select("dock_id", "tank_id", named="tank")
    return (
        rows.join(named, on=["dock_id", "tank_id"], how="left", maintain_order="left")
        .join(only, on="dock_id", how="left", maintain_order="left")
        .with_columns(tank=pl.coalesce("named", "only"))
        .drop("named", "only")
        .filter(pl.col("tank").is_not_null())
    )


def sold_bounds(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """Per dock: the lowest and highest grade that may be bought there or near it.

    The grades of its country's pumps by the settings, and whatever any dock of that country
    had delivered, with the tolerance of a label.
    """
    docks = records["docks"].select("dock_id", "country")
    seen = (
        _sold(records, assumptions)
        .group_by("country", maintain_order=True)
        .agg(_low=pl.col("octane_low_aki").min(), _high=pl.col("octane_high_aki").max())
    )
    rows = docks.join(seen, on="country", how="left", nulls_equal=True)
    return rows.select("dock_id", *_with_pumps(assumptions)).sort("dock_id")


def sold_at(
    records: Records, tanks: pl.DataFrame, tank_of: Ints, at_us: Ints, assumptions: Assumptions
) -> Floats:
    """The same at an instant: whatever was delivered in that country in the year before it.

    Shape (instants, 2).
    """
    docks = records["docks"].select("dock_id", country=pl.col("country").fill_null(""))
    season = (
        _sold(records, assumptions)
        .with_columns(pl.col("country").fill_null(""))
        .sort("country", "delivered_at")
        .rolling("delivered_at", period="365d", group_by="country")
        .agg(_low=pl.col("octane_low_aki").min(), _high=pl.col("octane_high_aki").max())
        .sort("delivered_at")
    )
    rows = (
        pl.DataFrame({"tank": tank_of, "at": at_us})
        .with_row_index("row")
        .with_columns(pl.from_epoch("at", "us").dt.replace_time_zone("UTC"))
        .join(tanks.select("tank", "dock_id"), on="tank", how="left", maintain_order="left")
        .join(docks, on="dock_id", how="left", maintain_order="left")
        .sort("at")
        .join_asof(season, left_on="at", right_on="delivered_at", by="country",
                   check_sortedness=False)
        .sort("row")
    )  # fmt: skip
    return rows.select(_with_pumps(assumptions)).to_numpy().astype(float)


def _sold(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    docks = records["docks"].select("dock_id", "country")
    rows = with_aki(records["deliveries"], assumptions)
    return rows.join(docks, on="dock_id", how="left", maintain_order="left")


def _with_pumps(assumptions: Assumptions) -> list[pl.Expr]:
    """reach_low_aki and reach_high_aki from _low and _high and what the country's pumps sell."""
    spread = assumptions.number("octane.label_spread_on")
    half = assumptions.number("octane.sensitivity_on") / 2
    is_ron = ~pl.col("country").str.to_uppercase().is_in(AKI_COUNTRIES) & (pl.col("country") != "")
    low, high = (
        pl.when(is_ron)
        .then(assumptions.number(f"fuel.outside_{edge}_ron") - half)
        .otherwise(assumptions.number(f"fuel.outside_{edge}_aki"))
        for edge in ("low", "high")
    )
    return [
        (pl.min_horizontal(low, "_low") - spread).alias("reach_low_aki"),
        (pl.max_horizontal(high, "_high") + spread).alias("reach_high_aki"),
    ]


def _named_deliveries(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """The deliveries in AKI; `tank_id` is filled in where grades stand for tanks."""
    graded = with_aki(records["deliveries"], assumptions).with_row_index("delivery_row")
    by_grade = _docks_by_grade(graded, records, assumptions)
    is_by_grade = pl.col("dock_id").is_in(by_grade)
    grade = pl.col("octane_best_aki").round(0).cast(pl.Int64).cast(pl.String)
    filled = graded.with_columns(
        tank_id=pl.when(is_by_grade).then(pl.coalesce("tank_id", grade)).otherwise("tank_id")
    )
    lone = filled.filter(pl.col("tank_id").is_null() & pl.col("octane_best_aki").is_not_null())
    named = (
        filled.filter(pl.col("tank_id").is_not_null() & pl.col("octane_best_aki").is_not_null())
        .group_by("dock_id", "tank_id", maintain_order=True)
        .agg(grade_aki=pl.col("octane_best_aki").mean())
    )
    if lone.is_empty() or named.is_empty():
        return filled
    nearest = _nearest(
        lone.select("dock_id", fill_row="delivery_row", label_aki="octane_best_aki"),
        named.with_columns(tank=pl.col("tank_id")),
    ).rename({"fill_row": "delivery_row"})
    return (
        filled.join(nearest, on="delivery_row", how="left", maintain_order="left")
        .with_columns(tank_id=pl.coalesce("tank_id", "labelled"))
        .drop("labelled")
    )


def _docks_by_grade(graded: pl.DataFrame, records: Records, assumptions: Assumptions) -> list[str]:
    """Docks whose fills are labelled with two grades or more that were delivered to them."""
    labels = (
        with_aki(records["fills"], assumptions)
        .filter((pl.col("source") == "dock") & pl.col("octane_best_aki").is_not_null())
        .select(dock_id="source_dock_id", label=pl.col("octane_best_aki").round(0))
        .unique()
    )
    delivered = graded.select("dock_id", grade=pl.col("octane_best_aki").round(0)).unique()
    both = labels.join(delivered, on="dock_id", maintain_order="left").filter(
        (pl.col("label") - pl.col("grade")).abs() < _LIKE_ON
    )
    counts = both.group_by("dock_id", maintain_order=True).agg(n=pl.col("label").n_unique())
    return sorted(counts.filter(pl.col("n") > 1).get_column("dock_id"))


def _nearest(rows: pl.DataFrame, tanks: pl.DataFrame) -> pl.DataFrame:
    """Per labelled row the tank of its dock whose grade is nearest, if it is like the label."""
    apart = (pl.col("label_aki") - pl.col("grade_aki")).abs()
    return (
        rows.filter(pl.col("label_aki").is_not_null())
        .select("fill_row", "dock_id", "label_aki")
        .join(
            tanks.select("dock_id", "grade_aki", labelled="tank"),
            on="dock_id",
            maintain_order="left",
        )
        .with_columns(_apart=apart)
        .filter(pl.col("_apart") <= _LIKE_ON)
        .sort("fill_row", "_apart", "labelled")
        .unique("fill_row", keep="first", maintain_order=True)
        .select("fill_row", "labelled")
    )
