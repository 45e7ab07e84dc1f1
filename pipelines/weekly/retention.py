"""What of past weeks is kept, and what can be worked out again and goes.

What was given out stays whole: its pages, tables, plan and fit.  What the score rests on stays
of every week.  Working tables stay with the newest week; for a paper of an older one they are
made again from its snapshot, as long as that is kept.
"""

import os
import shutil
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from sqlite3 import connect

import dagster as dg

from pipelines.home import Home
from pipelines.weekly.step import Graph, Keep
from pipelines.weekly.store import WeekKey, WeekStore

_CHECKS = "asset_check_executions"
RUNS_KEPT = 4
"""Runs of the graph whose log the Dagster page still shows: half a megabyte each."""


def tidy(home: Home, graph: Graph, newest: WeekKey) -> None:
    """After a week: drop other weeks' working tables, fold their pages up, shorten the log.

    The pages of the newest weeks, as many as the home's `open_weeks`, stay open in `site/`;
    those of older ones lie in their week's folder and open again when they are asked for.
    """
    store = WeekStore(home.weeks)
    in_use = {newest, *_newest(store, 1)}
    _drop(store, graph, {Keep.WORKING}, [key for key in store.weeks() if key not in in_use])
    stay = {*_newest(store, home.facts().open_weeks), newest}
    for folder in home.site.iterdir():
        if folder.is_dir() and _is_week(folder.name) and WeekKey.of(folder.name) not in stay:
            shutil.rmtree(folder)
    shorten_log(home)


def retain(home: Home, graph: Graph) -> list[str]:
    """Drop all of past weeks that can be worked out again; what was done, in words.

    The newest week is left as it is, and so is what was given out of every other: its snapshot
    alone goes, so that papers of it can no longer be made.  Of the graph's runs the log of the
    last one stays.
    """
    store = WeekStore(home.weeks)
    weeks = store.weeks()
    kept = next(_newest(store, 1), None)
    said: list[str] = []
    for key in weeks:
        if key == kept:
            continue
        if store.listed(key).made.is_given_out:
            _drop(store, graph, {Keep.WORKING, Keep.SOURCE}, [key])
            said.append(f"{key.name}: given out; pages, tables, plan and fit kept")
        elif key.told_by is None:
            _drop(store, graph, {Keep.WORKING, Keep.SOURCE, Keep.WEEK}, [key])
            said.append(f"{key.name}: not given out; what it said kept for the score")
        else:
            store.remove(key)
            said.append(f"{key.name}: restated; removed")
        shutil.rmtree(home.site / key.name, ignore_errors=True)
        shutil.rmtree(home.papers / key.name, ignore_errors=True)
    shorten_log(home, runs_kept=1)
    return said


def _newest(store: WeekStore, how_many: int) -> Iterator[WeekKey]:
    """The newest weeks with pages, as they were known."""
    known = [key for key in store.weeks() if key.told_by is None and store.has_pages(key)]
    return iter(known[-how_many:] if how_many else [])


def _drop(store: WeekStore, graph: Graph, keep: set[Keep], keys: list[WeekKey]) -> None:
    labels = {step.label for step in graph.steps.values() if step.keep in keep}
    for key in keys:
        store.drop(key, labels)


def _is_week(name: str) -> bool:
    return name[:4].isdigit() and name[4:5] == "-"


def shorten_log(home: Home, runs_kept: int = RUNS_KEPT) -> None:
    """Keep Dagster's log of the newest runs alone, and give the room back."""
    os.environ["DAGSTER_HOME"] = str(home.dagster)
    with dg.DagsterInstance.get() as instance:
        gone = [run.run_id for run in instance.get_runs()[runs_kept:]]
        for run_id in gone:
            instance.delete_run(run_id)
    for run_id in gone:
        shutil.rmtree(home.dagster / "storage" / run_id, ignore_errors=True)
        for path in (home.dagster / "history" / "runs").glob(f"{run_id}.db*"):
            path.unlink(missing_ok=True)
    for path in home.dagster.rglob("*.db") if gone else ():
        _give_back(path, gone)


def _give_back(path: Path, gone: Sequence[str]) -> None:
    """Let SQLite return the pages of rows that are gone.

    With them go the results of those runs' checks, which Dagster keeps when a run is deleted:
    a quarter of a megabyte a week.
    """
    with closing(connect(path)) as con:
        if con.execute("select 1 from sqlite_master where name = ?", [_CHECKS]).fetchone():
            con.executemany(f"delete from {_CHECKS} where run_id = ?", [(run,) for run in gone])
            con.commit()
        con.execute("vacuum")
