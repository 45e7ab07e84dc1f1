"""The demo's files and how a test runs the graph on a home of its own."""

from dataclasses import dataclass
from pathlib import Path

from pipelines.command_line import DEMO_AS_OF
from pipelines.graph_run import run_graph
from pipelines.home import Home
from pipelines.weeks import week_of

DEMO_RECORDS = Path(__file__).parents[2] / "synthetic_data" / "demo"
DEMO_WEEK = week_of(DEMO_AS_OF)


@dataclass(frozen=True)
class DemoRun:
    """The home that `ringland demo` made, and what it printed.  Not to be changed."""

    home: Home
    printed: str

    @property
    def site(self) -> Path:
        return self.home.site / DEMO_WEEK


def load(home: Home, folder: Path) -> None:
    run_graph(home, "load_records", listener=lambda *_: None, records_folder=folder)


def run_week(home: Home, key: str = DEMO_WEEK) -> Path:
    """The folder of the week's pages."""
    run_graph(home, "week_report", listener=lambda *_: None, partition_key=key)
    return home.site / key
