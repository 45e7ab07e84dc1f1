"""Steps of the room `bench`: what each reading means, and what does not fit."""

from datetime import datetime

import polars as pl

from pipelines.asset_figures import Figures, rows, table
from pipelines.rooms.history import EngineHours, Snapshot
from pipelines.weekly.step import step
from ringland.bench.bench_station import station_pressures
from ringland.bench.bench_tests import judge_bench_tests
from ringland.contracts.record_tables import BenchVerdicts, RecordFlags
from ringland.history import engine_history, fill_doubts
from ringland.history import hour_line as hour_lines
from ringland.history import record_doubts as doubts
from ringland.history.left_out_hulls import left_out_flags
from ringland.settings.assumptions import Assumptions
from ringland.words.manner import Manner, in_manner

ROOM = "bench"


def _figures(verdicts: pl.DataFrame) -> Figures:
    counted = (
        verdicts.group_by("measure", "verdict", maintain_order=True)
        .len()
        .sort("measure", "verdict")
    )
    return {**rows(verdicts.height), "verdicts": table(counted)}


@step(ROOM, tables={"rows": BenchVerdicts}, figures=_figures)
def bench_verdicts(snapshot: Snapshot, manner: Manner, bench_limits: Assumptions) -> pl.DataFrame:
    """Each inspection reading against its limit, one row per reading."""
    known = snapshot.records
    station = station_pressures(
        known["inspections"], known["installations"], known["hulls"], known["docks"]
    )
    with in_manner(manner):  # verdicts give their reasons with figures
        return judge_bench_tests(known["inspections"], known["engines"], station, bench_limits)


def _doubt_figures(found: pl.DataFrame) -> Figures:
    return {**rows(found.height), "by_flag": table(found["flag"].value_counts(sort=True))}


@step(ROOM, tables={"rows": RecordFlags}, figures=_doubt_figures)
def record_doubts(
    snapshot: Snapshot,
    hour_line: pl.DataFrame,
    bench_verdicts: pl.DataFrame,
    engine_sessions: EngineHours,
    left_out: dict[str, str],
    as_of: datetime,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """Records that do not fit each other, bench readings among them, one row per doubt."""
    return pl.concat(
        [
            left_out_flags(left_out, as_of),
            doubts.record_doubts(snapshot.records, bench_verdicts, assumptions),
            fill_doubts.fills_taken_back(snapshot.records, snapshot.set_aside),
            hour_lines.key_on_flags(hour_line, assumptions),
            engine_history.unplaced_failures(snapshot.records, engine_sessions.sessions),
        ]
    )
