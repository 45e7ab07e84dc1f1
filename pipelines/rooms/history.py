"""Steps of the room `history`: what was known, then engine hours, lives and doubts."""

from dataclasses import dataclass

import polars as pl

from pipelines.asset_figures import Figures, rows, table
from pipelines.duckdb_warehouse import DuckDBWarehouse, record_rows
from pipelines.row_accounting import set_aside_rows
from pipelines.weekly.givens import Clock
from pipelines.weekly.step import Keep, step
from ringland.contracts.record_kinds import ALL_KINDS, CORRECTIONS, RECORD_KINDS
from ringland.contracts.record_tables import (
    EngineSessions,
    HourLine,
    PistonLives,
    RecordFlags,
    RecordQuality,
)
from ringland.history import engine_history, hour_meter
from ringland.history import hour_line as hour_lines
from ringland.history import record_quality as quality
from ringland.history.known_then import known_by, restated
from ringland.history.left_out_hulls import without_records_of
from ringland.history.operators import with_operators
from ringland.history.record_changes import what_changed
from ringland.settings.assumptions import Assumptions

ROOM = "history"


@dataclass(frozen=True)
class Snapshot:
    """What was known of a week: every later step of the week reads this and nothing else.

    `set_aside` has one row per fault of rows to mend; `hulls_on_record` every hull, known then
    or not, for what a shop writes by hand; `changes` is a `RecordChanges` against the week as it
    was known, None unless the week is restated.
    """

    records: dict[str, pl.DataFrame]
    set_aside: pl.DataFrame
    hulls_on_record: tuple[str, ...]
    changes: pl.DataFrame | None


@dataclass(frozen=True)
class EngineHours:
    """Rentals with their engine and its hours, and what did not fit on the way."""

    sessions: pl.DataFrame
    flags: pl.DataFrame


def _snapshot_figures(found: Snapshot) -> Figures:
    counts = {kind: frame.height for kind, frame in found.records.items()}
    listed = pl.DataFrame({"kind": list(counts), "known": list(counts.values())})
    return {**rows(sum(counts.values())), "known": table(listed, most=len(counts))}


@step(ROOM, keep=Keep.SOURCE, figures=_snapshot_figures, reads_live=True)
def snapshot(
    warehouse: DuckDBWarehouse, clock: Clock, operator: str, left_out: dict[str, str]
) -> Snapshot:
    """What was known of the week, written down once; all that follows reads this.

    Of the hulls left out (`pipelines.left_out`) only that they are there.
    """
    with warehouse.connect() as con:  # held to the end: no load comes between two tables
        live = {kind: record_rows(con, kind) for kind in ALL_KINDS}
        aside = set_aside_rows(warehouse, clock.as_of)
    told = restated(live, clock.told_by) if clock.is_restated else live
    known = {
        kind: frame.rechunk()  # sums keep their order whatever came on record later
        for kind, frame in without_records_of(
            with_operators(known_by(told, clock.as_of), operator), left_out
        ).items()
    }
    changes = None
    if clock.is_restated:
        then = with_operators(known_by(live, clock.as_of), operator)
        changes = what_changed(then, known, live[CORRECTIONS.name])
    return Snapshot(known, aside, tuple(live["hulls"]["hull_id"]), changes)


def _session_figures(found: EngineHours) -> Figures:
    newest = str(found.sessions["ended_at"].max())
    return {**rows(found.sessions.height), "flags": found.flags.height, "newest_session": newest}


@step(
    ROOM,
    tables={"sessions": EngineSessions, "flags": RecordFlags},
    keep=Keep.WORKING,
    figures=_session_figures,
)
def engine_sessions(snapshot: Snapshot, assumptions: Assumptions) -> EngineHours:
    """Rentals known at the as-of week with their engine and its hours, one row per rental."""
    return EngineHours(*hour_meter.engine_sessions(snapshot.records, assumptions))


def _life_figures(lives: pl.DataFrame) -> Figures:
    return {
        **rows(lives.height),
        "failures": int((lives["state"] == "failed").sum()),
        "by_mode": table(lives["mode"].drop_nulls().value_counts(sort=True)),
    }


@step(ROOM, tables={"rows": PistonLives}, figures=_life_figures)
def piston_lives(snapshot: Snapshot, engine_sessions: EngineHours, clock: Clock) -> pl.DataFrame:
    """Lives known at the as-of week, one row per piston set."""
    return engine_history.piston_lives(snapshot.records, engine_sessions.sessions, clock.as_of)


def _line_figures(line: pl.DataFrame) -> Figures:
    return {**rows(line.height), "repairs": line["repair"].drop_nulls().len()}


@step(ROOM, tables={"rows": HourLine}, keep=Keep.WORKING, figures=_line_figures)
def hour_line(snapshot: Snapshot) -> pl.DataFrame:
    """Hours of each hull along its meters and by its rentals, one row per good reading."""
    return hour_lines.hour_line(snapshot.records)


@step(ROOM, tables={"rows": RecordQuality}, figures=lambda found: rows(found.height))
def record_quality(snapshot: Snapshot, engine_sessions: EngineHours, clock: Clock) -> pl.DataFrame:
    """How much of what each hull did is on record, one row per hull in service."""
    return quality.record_quality(snapshot.records, engine_sessions.sessions, clock.as_of)


def row_counts(found: Snapshot) -> pl.DataFrame:
    """Rows known then by kind: rows_in = loaded + set_aside."""
    aside = dict(
        found.set_aside.group_by("kind", maintain_order=True)
        .agg(pl.struct("source_file", "source_row").n_unique())
        .iter_rows()
    )
    loaded = {kind: found.records[kind].height for kind in RECORD_KINDS}
    return pl.DataFrame(
        {
            "kind": list(loaded),
            "rows_in": [loaded[kind] + aside.get(kind, 0) for kind in loaded],
            "loaded": list(loaded.values()),
            "set_aside": [aside.get(kind, 0) for kind in loaded],
        },
        schema_overrides={"rows_in": pl.Int64, "loaded": pl.Int64, "set_aside": pl.Int64},
    )
