"""The demo's files and how a test runs the graph on a home of its own."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import polars as pl

from pipelines.command_line import DEMO_AS_OF
from pipelines.graph_run import run_graph
from pipelines.home import Home
from pipelines.week_graph import GRAPH
from pipelines.weekly.assets import week_at
from pipelines.weekly.run import WeekRun
from pipelines.weekly.store import WeekKey, WeekStore
from pipelines.weeks import week_of
from synthetic_data.scenario import Scenario

DEMO_RECORDS = Path(__file__).parents[2] / "synthetic_data" / "demo"
DEMO_WEEK = week_of(DEMO_AS_OF)
FEW_HULLS = Scenario(hulls=9)


@dataclass(frozen=True)
class DemoRun:
    """The home that `ringland demo` made, what it printed and the settings it asked for.

    Not to be changed.
    """

    home: Home
    printed: str
    settings_asked: frozenset[str]

    @property
    def site(self) -> Path:
        return self.home.site / DEMO_WEEK


def load(home: Home, folder: Path) -> None:
    run_graph(home, "load_records", listener=lambda *_: None, records_folder=folder)


def run_week(home: Home, key: str = DEMO_WEEK, told_by: datetime | None = None) -> Path:
    """The folder of the week's pages."""
    run_graph(home, "week_report", listener=lambda *_: None, partition_key=key, told_by=told_by)
    return home.site / WeekKey(key, told_by).name


def week_table(
    home: Home, step: str, place: str = "rows", key: str | WeekKey = DEMO_WEEK
) -> pl.DataFrame:
    """A table that a step left, e.g. ('week_tables', 'chances')."""
    week = WeekKey(key) if isinstance(key, str) else key
    frame = WeekStore(home.weeks).frame(week, GRAPH.steps[step], place)
    assert frame is not None, f"{step} left no {place}"
    return frame


def the_week(home: Home, key: str = DEMO_WEEK) -> WeekRun:
    """The week's steps, as they were left."""
    return week_at(home, WeekKey(key), GRAPH)
