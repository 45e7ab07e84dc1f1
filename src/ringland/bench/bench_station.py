"""The air pressure at the bench for each inspection: measured, or from the dock's altitude.

Station pressure is what a vacuum gauge is held against; weather reports give it reduced
to sea level, which is another number.
"""

from __future__ import annotations

import polars as pl

from ringland.units import standard_pressure_kpa


def station_pressures(
    inspections: pl.DataFrame,
    installations: pl.DataFrame,
    hulls: pl.DataFrame,
    docks: pl.DataFrame,
) -> pl.DataFrame:
    """One row per engine and inspection: engine_id, inspected_at, station_kpa, station_source.

    `station_source` is 'measured', 'standard atmosphere at N m', or null where neither a
    barometer nor an altitude is on record.  The altitude is that of the home dock of the
    hull the engine sits in, or sat in last: an engine tested elsewhere needs a barometer.
    """
    tested = inspections.group_by("engine_id", "inspected_at", maintain_order=True).agg(
        pl.col("barometer_kpa").drop_nulls().first()
    )
    altitudes = (
        installations.join(hulls.select("hull_id", "dock_id"), on="hull_id", how="left")
        .join(docks.select("dock_id", "altitude_m"), on="dock_id", how="left")
        .select("engine_id", "installed_at", "altitude_m")
        .sort("installed_at")
    )
    placed = tested.sort("inspected_at").join_asof(
        altitudes,
        left_on="inspected_at",
        right_on="installed_at",
        by="engine_id",
        strategy="backward",
        check_sortedness=False,  # both are sorted just above; polars cannot see it within groups
    )
    rows = []
    for row in placed.iter_rows(named=True):
        kpa, source = row["barometer_kpa"], "measured"
        if kpa is None and row["altitude_m"] is not None:
            kpa = standard_pressure_kpa(row["altitude_m"])
            source = f"standard atmosphere at {row['altitude_m']:.0f} m"
        rows.append((row["engine_id"], row["inspected_at"], kpa, source if kpa else None))
    return pl.DataFrame(
        rows,
        schema={
            "engine_id": pl.String,
            "inspected_at": inspections.schema["inspected_at"],
            "station_kpa": pl.Float64,
            "station_source": pl.String,
        },
        orient="row",
    ).sort("engine_id", "inspected_at")
