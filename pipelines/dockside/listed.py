"""The newest list for the board: its calls, and the jobs of lists given out."""

from datetime import datetime

from pipelines.home import Home
from pipelines.job_commands import ListedJobs, answered_by, listed_jobs
from pipelines.rooms.decision import CALLS
from pipelines.week_graph import GRAPH
from pipelines.weekly.store import LIST_NAME, StoreError, WeekStore
from ringland.dockside.ground import Ground
from ringland.dockside.live_board import Listed


class Lists:
    """The newest list, read once as long as no week is worked out, with its jobs as answered."""

    def __init__(self, home: Home) -> None:
        self._home, self._store = home, WeekStore(home.weeks)
        self._seen: object = None
        self._base: Listed | None = None
        self._jobs: ListedJobs | None = None

    def has_moved(self) -> bool:
        """Whether a week was worked out since the newest list was read."""
        return self._look() != self._seen

    def newest(self, ground: Ground, now: datetime) -> Listed | None:
        """The newest week as it was known, its jobs with what is entered; None: none yet."""
        if self.has_moved():
            self._seen = self._look()
            self._read()
        if self._base is None or self._jobs is None:
            return self._base
        answered = answered_by(self._home, self._jobs, ground.entered, now)
        return Listed(self._base.monday, self._base.calls, answered.jobs, self._base.as_of)

    def _look(self) -> object:
        lists = sorted(self._home.weeks.glob(f"*/{LIST_NAME}"))
        return [(path.parent.name, path.stat().st_mtime_ns) for path in lists]

    def _read(self) -> None:
        self._base, self._jobs = None, None
        newest = self._store.newest(None)
        if newest is None:
            return
        calls = self._store.frame(newest, GRAPH.steps[CALLS.step], CALLS.table)
        if calls is None:
            return
        as_of = datetime.fromisoformat(self._store.listed(newest).as_of)
        self._base = Listed(newest.monday, calls, None, as_of)
        try:
            self._jobs = listed_jobs(self._home)
        except StoreError:
            self._jobs = None
