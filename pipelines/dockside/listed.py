"""The newest list for the board: its calls, and the jobs of lists given out."""

from contextlib import suppress

from pipelines.home import Home
from pipelines.job_commands import newest_jobs
from pipelines.rooms.decision import CALLS
from pipelines.week_graph import GRAPH
from pipelines.weekly.store import StoreError, WeekStore
from ringland.dockside.live_board import Listed


def newest_list(home: Home) -> Listed | None:
    """The newest week as it was known; None: none is worked out yet."""
    store = WeekStore(home.weeks)
    newest = store.newest(None)
    if newest is None:
        return None
    calls = store.frame(newest, GRAPH.steps[CALLS.step], CALLS.table)
    jobs = None
    with suppress(StoreError):
        jobs = newest_jobs(home).jobs
    return None if calls is None else Listed(newest.monday, calls, jobs)
