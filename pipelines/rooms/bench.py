"""Steps of the room `bench`: what each reading means."""

import polars as pl

from pipelines.asset_figures import Figures, rows, table
from pipelines.rooms.history import Snapshot
from pipelines.weekly.step import step
from ringland.bench.bench_station import station_pressures
from ringland.bench.bench_tests import judge_bench_tests
from ringland.contracts.record_tables import BenchVerdicts
from ringland.words.manner import Manner, in_manner

ROOM = "bench"


def _figures(verdicts: pl.DataFrame) -> Figures:
    counted = verdicts.group_by("measure", "verdict").len().sort("measure", "verdict")
    return {**rows(verdicts.height), "verdicts": table(counted)}


@step(ROOM, tables={"rows": BenchVerdicts}, figures=_figures)
def bench_verdicts(snapshot: Snapshot, manner: Manner) -> pl.DataFrame:
    """Each inspection reading against its limit, one row per reading."""
    known = snapshot.records
    station = station_pressures(
        known["inspections"], known["installations"], known["hulls"], known["docks"]
    )
    with in_manner(manner):  # verdicts give their reasons with figures
        return judge_bench_tests(known["inspections"], known["engines"], station)
