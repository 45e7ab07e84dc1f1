"""The air pressure at the bench for each inspection: measured, or from the dock's altitude.

Station pressure is what a vacuum gauge is held against; weather reports give it reduced
to sea level, which is another number (`air_pressure`).  Where the two cannot be told apart
the higher figure is used, under which fewer heads pass, and the question stays.
"""

from __future__ import annotations

import math

import polars as pl

from ringland.bench.air_pressure import AirPressure, air_pressure
from ringland.units import standard_pressure_kpa
from ringland.words.number_words import quantity_text


def station_pressures(
    inspections: pl.DataFrame,
    installations: pl.DataFrame,
    hulls: pl.DataFrame,
    docks: pl.DataFrame,
) -> pl.DataFrame:
    """One row per engine and inspection.

    engine_id, inspected_at, station_kpa, station_source, station_question: `station_source` is
    'measured', 'weather report, reduced to the bench', 'standard atmosphere at N m', the figure
    taken while `station_question` is open, or null where neither a barometer nor an altitude
    is on record.  The altitude is that of the home dock of the
    hull the engine sits in, or sat in last: an engine tested elsewhere needs a barometer.
    """
    tested = inspections.group_by("engine_id", "inspected_at", maintain_order=True).agg(
        pl.col("barometer_kpa", "barometer_is")
        .filter(pl.col("barometer_kpa").is_not_null())
        .first()
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
        air = _careful(row["barometer_kpa"], row["altitude_m"], row["barometer_is"])
        rows.append((row["engine_id"], row["inspected_at"], air.kpa, air.source, air.question))
    return pl.DataFrame(
        rows,
        schema={
            "engine_id": pl.String,
            "inspected_at": inspections.schema["inspected_at"],
            "station_kpa": pl.Float64,
            "station_source": pl.String,
            "station_question": pl.String,
        },
        orient="row",
    ).sort("engine_id", "inspected_at")


def _careful(
    barometer_kpa: float | None, altitude_m: float | None, told: str | None
) -> AirPressure:
    """The air at the bench; while it has to be asked about, the highest it can have been."""
    if barometer_kpa is not None and not 0 < barometer_kpa < math.inf:
        return AirPressure(barometer_kpa, "measured", None)  # judged as no air there is
    air = air_pressure(barometer_kpa, altitude_m, told)
    if air.kpa is not None or barometer_kpa is None:
        return air
    standard = [] if altitude_m is None else [standard_pressure_kpa(altitude_m)]
    kpa = max([barometer_kpa, *standard])
    return AirPressure(kpa, f"{quantity_text(kpa, 'kPa')}, until it is asked", air.question)
