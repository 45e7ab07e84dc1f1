"""Rentals with the engine that ran them and its hours, kept to the hour meter where one can.

The running hours written down for rentals are stretched by one factor between two good
readings of the same meter.  A factor outside plausible limits is not used: then either
rentals or running is missing from the record, and it is flagged.  Hours run outside any
rental on record are in no engine's hours.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.contracts.record_tables import EngineSessions
from ringland.contracts.row_order import in_order
from ringland.history.meter_readings import good_readings, meter_spans
from ringland.history.record_flags import record_flags
from ringland.settings.assumptions import Assumptions
from ringland.words.plain_words import sentence


def engine_sessions(
    records: Mapping[str, pl.DataFrame], assumptions: Assumptions
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """An `EngineSessions` by hull and start, and a `RecordFlags` of all that did not fit.

    A rental whose hull held no engine on record, or from before that engine's record
    begins, is in the flags only.  Engine hours begin at the hours the engine's record begins
    with and follow it from hull to hull.

    Args:
        records: what is known, by record kind: hulls, engines, installations, piston_sets,
            hour_readings, sessions and calibrations are read.
        assumptions: meter.stretch_low and meter.stretch_high bound the factor; a
            difference up to meter.off_h is not worth a flag, nor is a set's recorded hours
            at fitting up to meter.fitted_off_h off.
    """
    readings, meter_flags = good_readings(records["hour_readings"])
    stretched, span_flags = _stretch(records["sessions"], meter_spans(readings), assumptions)
    with_engine, engine_flags = _with_engine(stretched, records)
    with_hours = _with_engine_hours(with_engine)
    with_set, set_flags = _with_piston_set(with_hours, records, assumptions)
    rows = in_order(_with_calibration(with_set, records["calibrations"]), "hull_id", "started_at")
    flags = pl.concat([meter_flags, span_flags, engine_flags, set_flags]).sort(
        "noted_at", "flag", "hull_id", "engine_id", "sentence"
    )
    return EngineSessions.validate(rows.select(EngineSessions.column_names())), flags


def latest_before(
    rows: pl.DataFrame, events: pl.DataFrame, by: str, at: str, event_at: str
) -> pl.DataFrame:
    """Each row with the columns of the last event of the same `by` at or before `at`."""
    return rows.sort(at, maintain_order=True).join_asof(
        events.sort(event_at, maintain_order=True),
        left_on=at,
        right_on=event_at,
        by=by,
        strategy="backward",
        coalesce=False,
        check_sortedness=False,  # sorted above; Polars cannot check it within groups
    )


def engine_hours_at(
    sessions: pl.DataFrame, engines: pl.DataFrame, points: pl.DataFrame, at: str
) -> pl.DataFrame:
    """`points` (engine_id and an instant `at`) with `engine_h`, the hours run by then.

    A rental counts from its start, so a failure found while it was out has its hours.  Before
    the first rental it is the hours the engine's record begins with; null for an engine
    that is not on record.
    """
    line = sessions.select("engine_id", _started="started_at", _stop="engine_h_stop")
    return (
        latest_before(points, line, "engine_id", at, "_started")
        .join(
            engines.select("engine_id", "first_recorded_engine_h"),
            on="engine_id",
            how="left",
            maintain_order="left",
        )
        .with_columns(engine_h=pl.coalesce("_stop", "first_recorded_engine_h"))
        .drop("_started", "_stop", "first_recorded_engine_h")
    )


def _stretch(
    sessions: pl.DataFrame, spans: pl.DataFrame, assumptions: Assumptions
) -> tuple[pl.DataFrame, pl.DataFrame]:
    low = assumptions.number("meter.stretch_low")
    high = assumptions.number("meter.stretch_high")
    middle = pl.col("started_at") + (pl.col("ended_at") - pl.col("started_at")) / 2
    placed = latest_before(
        sessions.with_columns(_middle=middle), spans, "hull_id", "_middle", "from_at"
    )
    is_in_span = pl.col("_middle") < pl.col("to_at")
    span = ["hull_id", "meter_id", "from_at", "to_at", "gained_h"]
    recorded = (
        placed.filter(is_in_span)
        .group_by(span, maintain_order=True)
        .agg(recorded_h=pl.col("running_h").sum())
    ).with_columns(_factor=pl.col("gained_h") / pl.col("recorded_h"))
    is_plausible = pl.col("_factor").is_between(low, high)
    placed = placed.join(
        recorded.filter(is_plausible).select(*span, "_factor"),
        on=span,
        how="left",
        nulls_equal=True,
    ).with_columns(
        _hours=pl.col("running_h") * pl.col("_factor").fill_null(1.0),
        is_on_meter=pl.col("_factor").is_not_null()
        & (pl.col("started_at") >= pl.col("from_at"))
        & (pl.col("ended_at") <= pl.col("to_at")),
    )
    disagreement = sentence(
        "Meter {} gained {} h from {} to {}; rentals on record ran {} h. "
        "The rentals' own hours are used.",
        "meter_id",
        pl.col("gained_h").round(1),
        pl.col("from_at").dt.strftime("%Y-%m-%d"),
        pl.col("to_at").dt.strftime("%Y-%m-%d"),
        pl.col("recorded_h").round(1),
    )
    idle = spans.join(recorded, on=span, how="anti").with_columns(
        recorded_h=pl.lit(0.0), _factor=pl.lit(None, pl.Float64)
    )
    off_h = (pl.col("gained_h") - pl.col("recorded_h")).abs()
    off = pl.concat([recorded.filter(~is_plausible), idle]).filter(
        off_h > assumptions.number("meter.off_h")
    )
    return placed, record_flags(off, "meter_and_sessions_disagree", "to_at", disagreement)


def _with_engine(
    sessions: pl.DataFrame, records: Mapping[str, pl.DataFrame]
) -> tuple[pl.DataFrame, pl.DataFrame]:
    stays = records["installations"].select("engine_id", "hull_id", "installed_at", "removed_at")
    engines = records["engines"].select(
        "engine_id",
        "first_recorded_at",
        "first_recorded_engine_h",
        "cruise_burn_l_h",
        "full_burn_l_h",
    )
    homes = records["hulls"].select("hull_id", "dock_id")
    placed = (
        latest_before(sessions, stays, "hull_id", "started_at", "installed_at")
        .join(engines, on="engine_id", how="left")
        .join(homes, on="hull_id", how="inner", maintain_order="left")
    )
    is_fitted = pl.col("first_recorded_at").is_not_null() & (
        pl.col("removed_at").is_null() | (pl.col("started_at") < pl.col("removed_at"))
    )
    is_on_record = pl.col("started_at") >= pl.col("first_recorded_at")
    no_engine = record_flags(
        placed.filter(~is_fitted).with_columns(engine_id=pl.lit(None, pl.String)),
        "no_engine_in_hull",
        "started_at",
        sentence(
            "A rental of {} h has no engine: none was in hull {} then. It counts for no engine.",
            pl.col("running_h").round(1),
            "hull_id",
        ),
        "sessions",
    )
    too_early = record_flags(
        placed.filter(is_fitted & ~is_on_record),
        "before_engine_record",
        "started_at",
        sentence(
            "A rental of {} h lies before the record of engine {} begins. It is not counted.",
            pl.col("running_h").round(1),
            "engine_id",
        ),
        "sessions",
    )
    return placed.filter(is_fitted & is_on_record), pl.concat([no_engine, too_early])


def _with_engine_hours(sessions: pl.DataFrame) -> pl.DataFrame:
    run = pl.col("_hours").cum_sum().over("engine_id")
    return in_order(sessions, "engine_id", "started_at", "hull_id").with_columns(
        engine_h_start=pl.col("first_recorded_engine_h") + run - pl.col("_hours"),
        engine_h_stop=pl.col("first_recorded_engine_h") + run,
    )


def set_hours_at_fitting(
    records: Mapping[str, pl.DataFrame], sessions: pl.DataFrame
) -> pl.DataFrame:
    """The piston sets with `base_h`, the engine's hours when each was fitted.

    For a set fitted before the engine's record begins that is what the record says; for a
    later one it is the engine's own line of hours, so that a set's hours are those run on it.
    """
    engines = records["engines"].select("engine_id", "first_recorded_at", "first_recorded_engine_h")
    line = engine_hours_at(sessions, records["engines"], records["piston_sets"], "fitted_at")
    is_first = pl.col("fitted_at") <= pl.col("first_recorded_at")
    return (
        line.join(engines, on="engine_id", how="left")
        .with_columns(
            base_h=pl.when(is_first)
            .then(pl.min_horizontal("fitted_engine_h", "first_recorded_engine_h"))
            .otherwise("engine_h"),
            is_first=is_first,
        )
        .sort("engine_id", "fitted_at", "piston_set_id")
    )


def _with_piston_set(
    sessions: pl.DataFrame, records: Mapping[str, pl.DataFrame], assumptions: Assumptions
) -> tuple[pl.DataFrame, pl.DataFrame]:
    sets = set_hours_at_fitting(records, sessions)
    off_h = pl.col("fitted_engine_h") - pl.when("is_first").then(pl.col("base_h")).otherwise(
        "engine_h"
    )
    flags = record_flags(
        sets.filter(off_h.abs() > assumptions.number("meter.fitted_off_h")).with_columns(
            hull_id=pl.lit(None, pl.String)
        ),
        "fitted_hours_disagree",
        "fitted_at",
        sentence(
            "Set {} is written down as fitted at {} engine hours; the rentals say {}. "
            "The rentals' hours are used.",
            "piston_set_id",
            pl.col("fitted_engine_h").round(1),
            pl.col("base_h").round(1),
        ),
        "piston_sets",
    )
    rows = latest_before(
        sessions,
        sets.select("engine_id", "piston_set_id", "base_h", _fitted="fitted_at"),
        "engine_id",
        "started_at",
        "_fitted",
    )
    return (
        rows.with_columns(
            set_h_start=pl.col("engine_h_start") - pl.col("base_h"),
            set_h_stop=pl.col("engine_h_stop") - pl.col("base_h"),
        ),
        flags,
    )


def _with_calibration(sessions: pl.DataFrame, calibrations: pl.DataFrame) -> pl.DataFrame:
    events = calibrations.select("engine_id", "in_force_at", "calibration", "octane_need_aki")
    return latest_before(sessions, events, "engine_id", "started_at", "in_force_at")
