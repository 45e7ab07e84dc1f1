"""Commands on the jobs of lists: which are open, that one was done, that one is let go by name.

An answer is a record like any other: a file of one or a few rows that is taken in as every
file is, with its copy in `raw/`.
"""

import csv
import tempfile
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import click

from pipelines.command_parts import in_words, say
from pipelines.home import Home

if TYPE_CHECKING:
    import polars as pl

    from ringland.decision.actions.action_catalogue import Catalogue
    from ringland.decision.jobs.job_results import Rows, Shop

T = TypeVar("T")
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
    """List the open jobs of the lists given out, with their age as of the newest list."""
    from pipelines.terminal import show_jobs  # noqa: PLC0415 - imports Dagster

    show_jobs(home, in_words(lambda: newest_jobs(home)), every=every)


def _result_options(command: Callable[..., None]) -> Callable[..., None]:
    """The options that say what a job led to; which of them it needs, its refusal says."""
    choice = click.Choice
    options = (
        click.option("--calibration", type=choice(["stock", "mild", "raised"]),
                     help="Of one put back or read out: which is in the engine now."),
        click.option("--needs", "needs_aki", type=float, metavar="AKI",
                     help="The octane that calibration needs, if the record does not say."),
        click.option("--litres", type=click.FloatRange(0, min_open=True),
                     help="Of a drain: what it was refilled with."),
        click.option("--grade", "grade_aki", type=float, metavar="AKI", help="Its octane."),
        click.option("--from", "source", type=choice(["dock", "outside"]),
                     help="Whether the refill came from the dock's tank."),
        click.option("--left-empty", "is_left_empty", is_flag=True, help="It was not refilled."),
        click.option("--reading", "readings", multiple=True, metavar="MEASURE=FIGURES",
                     help="Of a test, each cylinder in order: leak_down=5,6,5 or "
                     "'compression=150,152,149 psi'."),
        click.option("--warm/--cold", "is_warm", default=None, help="The engine, when tested."),
        click.option("--octane", "octane_aki", type=float, metavar="AKI",
                     help="Of a fuel test: what it read."),
        click.option("--water/--no-water", "has_water", default=None, help="What it showed."),
        click.option("--scope", type=choice(["top_end", "full"]), help="Of a rebuild."),
        click.option("--pistons", type=choice(["cast", "forged"]), help="What was fitted."),
        click.option("--supplier", type=choice(["original", "aftermarket"]), help="Of them."),
        click.option("--engine-hours", "engine_h", type=float, help="Its hours at fitting."),
    )  # fmt: skip
    for option in reversed(options):
        command = option(command)
    return command


@click.command()
@click.argument("job", metavar="JOB")
@BY
@ON
@click.option("--result", type=click.Choice(["done", "passed", "not_passed"]), default="done")
@click.option("--note", default="", help="What was found or done.")
@_result_options
@click.pass_obj
def done(
    home: Home, /, job: str, by: str, on: datetime | None, result: str, note: str, **said: Any
) -> None:
    """Write down that JOB of a list was done, and what it led to: its id, or enough of it.

    A calibration put back or read out, a drain, a test and a rebuild have a result, which goes
    on record with it: what lacks is asked for in one go, and nothing is written down before.
    """
    from ringland.decision.jobs.job_answers import Done, done_rows, the_job  # noqa: PLC0415
    from ringland.decision.jobs.job_results import Told  # noqa: PLC0415

    meant = _asked(lambda: the_job(newest_jobs(home).jobs, job))
    at, now = _at(home, on), _now()
    if at > now and on is not None and on.date() > now.date():
        raise click.UsageError(f"--on {on.date()} has not come yet.")
    answer = Done(min(at, now), by, now, result, note)
    shop = in_words(lambda: shop_of(home, meant))
    rows = _asked(lambda: done_rows(meant, answer, Told(**said), shop))
    take_in(home, rows, meant["job_id"])
    say(f"Written down: {meant['job_id']} {result.replace('_', ' ')}, by {by}.")
    kinds = [kind.replace("_", " ") for kind in rows if kind != "jobs_done"]
    if kinds:
        say(f"On record with it: {', '.join(kinds)}.")
    if said["is_left_empty"]:
        say("Its tank counts as empty from then on: write the refill down as a fill.")
    _say_who_knows(home, now)


def _say_who_knows(home: Home, now: datetime) -> None:
    """Which lists know what is written down now, whatever day it speaks of."""
    from pipelines.weekly.store import WeekStore  # noqa: PLC0415

    newest = WeekStore(home.weeks).newest(None)
    if newest is not None:
        say(
            f"Known from now on, {now:%Y-%m-%d}: to 'ringland jobs', 'ringland today' and every "
            f"list from the next on. The list of {newest.monday} and those before it stay as they "
            f"were said; 'ringland week --as-of {newest.monday} --restate' shows what that one "
            f"would have said."
        )


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
    from ringland.decision.jobs.job_answers import (  # noqa: PLC0415
        release_rows,
        takeover_rows,
        the_job,
    )

    if every == (job is not None):
        raise click.UsageError("Name one JOB, or give --all for all that is open now.")
    if job is None:
        take_in(home, takeover_rows(_now(), by, why), "all")
        say(f"Let go by {by}: every failed test, open sheet and job there is now.")
        return
    meant = _asked(lambda: the_job(newest_jobs(home).jobs, job))
    failed = in_words(lambda: _failed(home, meant["engine_id"]))
    end = None if until is None else _at(home, until)
    rows = release_rows(meant, _now(), by, why=why, until=end, failed=failed)
    take_in(home, rows, meant["job_id"])
    say(f"Let go by {by}: {meant['job_id']}.")


class ListedJobs(NamedTuple):
    """Jobs of lists given out: `HullJobs`, the newest list, and the newest one given out."""

    jobs: "pl.DataFrame"
    as_of: datetime
    monday: str
    given_out: str | None


def newest_jobs(home: Home) -> ListedJobs:
    """The jobs of `listed_jobs` with what was written down by their id since.

    Raises:
        StoreError: no week holds any.
    """
    from pipelines.duckdb_warehouse import record_rows, warehouse_at  # noqa: PLC0415
    from ringland.decision.jobs.open_jobs import ANSWERING  # noqa: PLC0415

    listed = listed_jobs(home)
    with warehouse_at(home.database).connect() as con:
        told = {kind: record_rows(con, kind) for kind in ANSWERING}
    return answered_by(home, listed, told, _now())


def answered_by(
    home: Home, listed: ListedJobs, told: "Mapping[str, pl.DataFrame]", now: datetime
) -> ListedJobs:
    """The same jobs with what these records, as known now, say of them by their id."""
    from ringland.decision.jobs.job_answers import answered_since  # noqa: PLC0415
    from ringland.decision.jobs.open_jobs import ANSWERING  # noqa: PLC0415
    from ringland.history.known_then import known_by  # noqa: PLC0415

    known = known_by({kind: told[kind] for kind in ANSWERING}, now)
    answered = answered_since(listed.jobs, known, in_words(lambda: _catalogue(home)))
    return listed._replace(jobs=answered)


def listed_jobs(home: Home) -> ListedJobs:
    """The jobs that lists given out asked for, as the newest week knows them.

    A week worked out afterwards, and one of the demo's, asks for nothing.

    Raises:
        StoreError: no week holds any.
    """
    import polars as pl  # noqa: PLC0415

    from pipelines.week_graph import GRAPH  # noqa: PLC0415
    from pipelines.weekly.store import StoreError, WeekStore  # noqa: PLC0415
    from ringland.contracts.decision_tables import OPEN, OVERTAKEN  # noqa: PLC0415
    from ringland.words.state_words import ANSWERS  # noqa: PLC0415

    store = WeekStore(home.weeks)
    known = [key for key in store.weeks() if key.told_by is None]
    listed = {key: store.listed(key) for key in known}
    as_of = {key: datetime.fromisoformat(listed[key].as_of) for key in known}
    given = {as_of[key]: key.monday for key in known if listed[key].made.is_given_out}
    for key in reversed(known):
        found = store.frame(key, GRAPH.steps["week_decisions"], "jobs")
        if found is None:
            continue
        asked = found.filter(pl.col("asked_at").is_in(list(given)))
        if as_of[key] not in given:  # what it would have put in another's place still stands
            by_a_job = ANSWERS[OVERTAKEN].partition("{")[0]
            took = (
                (pl.col("state") == OVERTAKEN)
                & (pl.col("answered_at") == as_of[key])
                & pl.col("answer").str.starts_with(by_a_job)
            ).fill_null(value=False)
            asked = asked.with_columns(
                state=pl.when(took).then(pl.lit(OPEN)).otherwise("state"),
                answered_at=pl.when(~took).then("answered_at"),
                answer=pl.when(~took).then("answer"),
            )
        return ListedJobs(asked, as_of[key], key.monday, max(given.values(), default=None))
    raise StoreError(
        f"No list has asked for anything yet. Run 'ringland week' first.{home.demo_beside}"
    )


def _catalogue(home: Home) -> "Catalogue":
    from pipelines.shop_week import shop_catalogue  # noqa: PLC0415
    from ringland.settings.assumptions import load_assumptions  # noqa: PLC0415

    return shop_catalogue(home, load_assumptions(home.settings))


def shop_of(home: Home, job: Mapping[str, Any]) -> "Shop":
    """What the record tells of a job's engine and hull, so that nobody is asked for it."""
    from pipelines.duckdb_warehouse import record_rows, warehouse_at  # noqa: PLC0415
    from ringland.decision.jobs.job_results import Shop, own_needs  # noqa: PLC0415
    from ringland.exposure.octane_margin import usual_needs  # noqa: PLC0415
    from ringland.settings.assumptions import load_assumptions  # noqa: PLC0415

    with warehouse_at(home.database).connect() as con:
        calibrations, hulls = record_rows(con, "calibrations"), record_rows(con, "hulls")
    needs = usual_needs(load_assumptions(home.settings))
    docks = hulls.filter(hulls["hull_id"] == job["hull_id"])["dock_id"].to_list()
    return Shop(
        _catalogue(home),
        needs | own_needs(calibrations, job["engine_id"]),
        docks[0] if docks else None,
    )


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


def _asked(find: Callable[[], T]) -> T:
    from ringland.decision.jobs.job_results import JobError  # noqa: PLC0415

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
