"""The newest list for the board, the weeks before it, and what is worked out with them now."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import polars as pl

from pipelines.dockside.alerts_out import alerts_now
from pipelines.home import Home
from pipelines.job_commands import ListedJobs, answered_by, listed_jobs
from pipelines.rooms.decision import CALLS, CHANCES
from pipelines.week_graph import GRAPH
from pipelines.weekly.store import LIST_NAME, StoreError, WeekKey, WeekStore
from ringland.decision.jobs.open_jobs import ANSWERING
from ringland.dockside.dock_levels import tank_levels
from ringland.dockside.ground import Ground
from ringland.dockside.hull_trends import WEEKS, WeeksSaid, week_said, weeks_of_hulls
from ringland.dockside.kept_parts import KeptParts
from ringland.dockside.live_board import YESTERDAY, Listed, Looked
from ringland.dockside.since_then import told_since
from ringland.settings.assumptions import load_assumptions
from ringland.words.manner import in_manner


class Lists:
    """The newest list, read once as long as no week is worked out, with its jobs as answered.

    `kept` holds the parts of what is worked out with it.
    """

    def __init__(self, home: Home) -> None:
        self.kept = KeptParts()
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
            self._seen, self.kept = self._look(), KeptParts()
            self._read()
        if self._base is None or self._jobs is None:
            return self._base
        home, jobs = self._home, self._jobs

        def answered() -> pl.DataFrame:
            return answered_by(home, jobs, ground.entered, now).jobs

        return replace(self._base, jobs=self.kept.of("jobs", ground, ANSWERING, now, answered))

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
        fuel = self._store.frame(newest, GRAPH.steps[CHANCES.step], "dock_fuel")
        weeks = weeks_of_hulls(self._said(newest), date.fromisoformat(newest.monday))
        self._base = Listed(newest.monday, calls, None, as_of, weeks, fuel)
        try:
            self._jobs = listed_jobs(self._home)
        except StoreError:
            self._jobs = None

    def _said(self, newest: WeekKey) -> pl.DataFrame:
        """What the lists of the weeks up to the newest said; of those that are kept."""
        last = date.fromisoformat(newest.monday)
        first = str(last - timedelta(weeks=WEEKS - 1))
        parts: list[pl.DataFrame] = [WeeksSaid.create_empty()]
        for key in self._store.weeks():
            if key.told_by is not None or not first <= key.monday <= newest.monday:
                continue
            calls, chances = (
                self._store.frame(key, GRAPH.steps[one.step], one.table) for one in (CALLS, CHANCES)
            )
            if calls is None or chances is None:
                continue
            given_out = self._store.listed(key).made.is_given_out
            monday = date.fromisoformat(key.monday)
            parts.append(week_said(monday, calls, chances, is_given_out=given_out))
        return WeeksSaid.validate(pl.concat(parts, how="vertical_relaxed"), cast=True)


def look(home: Home, lists: Lists, ground: Ground, now: datetime) -> Looked:
    """Work out what the board shows to all: the list, alerts, tanks, what was written of late."""
    listed = lists.newest(ground, now)
    as_of = listed.as_of if listed else None
    fuel = listed.dock_fuel if listed else None
    with in_manner(home.manner()):
        return Looked(
            listed,
            tuple(alerts_now(home, ground, now, as_of, lists.kept)),
            tuple(tank_levels(ground, fuel, as_of, now, load_assumptions(home.settings))),
            tuple(told_since(ground, now - YESTERDAY, now, lists.kept)),
        )
