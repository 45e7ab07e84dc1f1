"""Commands on the jobs of lists: which are open, that one was done, that one is let go by name.

An answer is a record like any other: a file of one or a few rows that is taken in as every
file is, with its copy in `raw/`.
"""

import csv
import tempfile
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipelines.command_parts import in_words
from pipelines.home import Home

if TYPE_CHECKING:
    import polars as pl

    from ringland.decision.job_answers import Rows

BY = click.option("--by", required=True, metavar="NAME", help="Who did it, or answers for it.")
ON = click.option(
    "--on",
    "on",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="The day it was done. Default: now.",
)


@click.command()
@click.option("--all", "every", is_flag=True, help="Those answered too, and by what.")
@click.pass_obj
def jobs(home: Home, *, every: bool) -> None:
    """List the open jobs of the newest list, with their age: what they are and since when."""
    from pipelines.terminal import show_jobs  # noqa: PLC0415 - imports Dagster

    show_jobs(home, in_words(lambda: newest_jobs(home)), _now(), every=every)


@click.command()
@click.argument("job", metavar="JOB")
@BY
@ON
@click.option("--result", type=click.Choice(["done", "passed", "not_passed"]), default="done")
@click.option("--note", default="", help="What was found or done.")
@click.pass_obj
def done(home: Home, job: str, by: str, on: datetime | None, result: str, note: str) -> None:
    """Write down that JOB of a list was done: its id, or enough of it.

    Readings of a test belong into an inspections file besides: without them a failed test
    stands, whatever the result here.
    """
    from ringland.decision.job_answers import done_rows, the_job  # noqa: PLC0415

    meant = _asked(lambda: the_job(newest_jobs(home), job))
    take_in(home, done_rows(meant, _at(home, on), by, result=result, note=note), meant["job_id"])
    click.echo(f"Written down: {meant['job_id']} {result.replace('_', ' ')}, by {by}.")
    if meant["what"] == "drain_refill":
        click.echo("Its tank counts as empty from then on: write the refill down as a fill.")


@click.command()
@click.argument("job", metavar="JOB", required=False)
@BY
@click.option("--why", required=True, help="Why, in their words.")
@click.option("--until", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD")
@click.option("--all", "every", is_flag=True, help="All that is open now: for a shop's first day.")
@click.pass_obj
def release(
    home: Home, job: str | None, by: str, why: str, until: datetime | None, *, every: bool
) -> None:
    """Let JOB go by name, and the failed test or open sheet behind it; every list shows it."""
    from ringland.decision.job_answers import (  # noqa: PLC0415
        release_rows,
        takeover_rows,
        the_job,
    )

    if every == (job is not None):
        raise click.UsageError("Name one JOB, or give --all for all that is open now.")
    if job is None:
        take_in(home, takeover_rows(_now(), by, why), "all")
        click.echo(f"Let go by {by}: every failed test, open sheet and job there is now.")
        return
    meant = _asked(lambda: the_job(newest_jobs(home), job))
    failed = in_words(lambda: _failed(home, meant["engine_id"]))
    end = None if until is None else _at(home, until)
    rows = release_rows(meant, _now(), by, why=why, until=end, failed=failed)
    take_in(home, rows, meant["job_id"])
    click.echo(f"Let go by {by}: {meant['job_id']}.")


def newest_jobs(home: Home) -> "pl.DataFrame":
    """`HullJobs` of the newest week as it was known, with what was written down since.

    Raises:
        StoreError: no week holds any.
    """
    from pipelines.duckdb_warehouse import record_rows, warehouse_at  # noqa: PLC0415
    from pipelines.week_graph import GRAPH  # noqa: PLC0415
    from pipelines.weekly.store import StoreError, WeekStore  # noqa: PLC0415
    from ringland.decision.job_answers import answered_since  # noqa: PLC0415

    store = WeekStore(home.weeks)
    for key in reversed([key for key in store.weeks() if key.told_by is None]):
        found = store.frame(key, GRAPH.steps["week_decisions"], "jobs")
        if found is not None:
            with warehouse_at(home.database).connect() as con:
                told = record_rows(con, "jobs_done"), record_rows(con, "releases")
            return answered_since(found, *told)
    raise StoreError("No list has asked for anything yet. Run 'ringland week' first.")


def take_in(home: Home, rows: "Rows", about: str) -> None:
    """Take rows in as files, as `ringland load` does."""
    from pipelines.terminal import watched_run  # noqa: PLC0415 - imports Dagster

    plain = "".join(letter if letter.isalnum() else "-" for letter in about)
    with tempfile.TemporaryDirectory() as folder:
        for kind, lines in rows.items():
            path = Path(folder) / f"{kind}-{plain}.csv"
            with path.open("w", newline="", encoding="utf-8") as file:
                writer = csv.DictWriter(file, list(lines[0]))
                writer.writeheader()
                writer.writerows(lines)
        watched_run(home, "load_records", "Writing down", records_folder=Path(folder))


def _failed(home: Home, engine_id: str | None) -> list[str]:
    """The measures of the failed tests that stood against an engine at the newest week."""
    from pipelines.week_graph import GRAPH  # noqa: PLC0415
    from pipelines.weekly.store import WeekStore  # noqa: PLC0415

    store = WeekStore(home.weeks)
    newest = store.newest(None)
    if newest is None or engine_id is None:
        return []
    standing = store.read(newest, GRAPH.steps["week_tables"]).standing
    mine = standing.filter(engine_id=engine_id)
    return list(mine.filter(mine["released_by"].is_null())["measure"])


def _asked(find: Callable[[], Mapping[str, Any]]) -> Mapping[str, Any]:
    from ringland.decision.job_answers import JobError  # noqa: PLC0415

    try:
        return in_words(find)
    except JobError as error:
        raise click.ClickException(str(error)) from error


def _at(home: Home, day: datetime | None) -> datetime:
    """Noon of a day on the home's clock; now where no day is named."""
    if day is None:
        return _now()
    return datetime.combine(day.date(), time(12), in_words(home.facts).zone).astimezone(UTC)


def _now() -> datetime:
    return datetime.now(UTC)


JOBS = (jobs, done, release)
"""The commands, as the command line lists them."""
