"""The command line: load records, run a week, read the list, open the pages."""

import shutil
import tempfile
import time
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from getpass import getuser
from importlib.resources import files
from pathlib import Path

import click

from pipelines.care_commands import CARE
from pipelines.command_parts import AS_OF, FIRST_DAY, InWords, in_words, need_room, say, week_asked
from pipelines.dockside.commands import DOCKSIDE
from pipelines.home import DEMO, Home
from pipelines.job_commands import JOBS, newest_jobs, shop_of, take_in
from pipelines.network.commands import network
from pipelines.reading_commands import READING
from pipelines.weeks import current_week, week_of
from pipelines.whole_files import write_whole

LEAST_ROOM = 50e6  # bytes a week or a load takes before it says so itself
DEMO_AS_OF = date(2026, 8, 17)
DEMO_PAST = ("2026-06-15", "2026-07-13", "2026-08-10")
"""Weeks the demo works out first: two whose 30 days are over, and the one before its week.

The last counts as given out, so that a newcomer meets jobs that were done and jobs that were
not.
"""
DEMO_DONE, DEMO_DONE_BY = "read_calibration", "H. Quist"
DEMO_DONE_ON = datetime(2026, 8, 13, 12, tzinfo=UTC)
"""The one job of that list which the invented shop wrote down as done."""


@click.group(cls=InWords, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--home",
    type=click.Path(file_okay=False, path_type=Path),
    envvar="RINGLAND_HOME",
    help="Folder that holds this shop's warehouse and pages. Default: warehouse/local.",
)
@click.version_option(package_name="ringland")
@click.pass_context
def main(context: click.Context, home: Path | None) -> None:
    """Which hull breaks a ring land next, why, and what to do this week.

    \b
    First time:    ringland demo
    Every Monday:  ringland load FOLDER   then   ringland week
    """  # noqa: D301 - click wants the backspace itself, to keep these lines apart
    context.obj = Home(home.absolute()) if home else Home.here()


@main.command()
@click.pass_obj
def demo(home: Home) -> None:
    """Load an invented rental fleet, run one week and show its list.

    Some weeks before it are worked out as well, so that there is advice to be scored.
    """
    from pipelines.terminal import watched_run  # noqa: PLC0415 - imports Dagster
    from pipelines.weekly.store import Made  # noqa: PLC0415 - imports Polars
    from ringland.decision.jobs.job_answers import Done, done_rows  # noqa: PLC0415
    from ringland.decision.jobs.job_results import Told  # noqa: PLC0415

    home = Home(home.folder / DEMO).prepare()
    home.mark_as_demo()
    _load(home, Path(str(files("synthetic_data"))) / "demo")
    for monday in DEMO_PAST:
        made = Made(_now().isoformat(timespec="seconds"), "the demo", monday == DEMO_PAST[-1])
        watched_run(home, "past_advice", f"Week of {monday}", partition_key=monday, made=made)
    asked = newest_jobs(home).jobs.filter(what=DEMO_DONE, state="open").sort("job_id").head(1)
    done = Done(DEMO_DONE_ON, DEMO_DONE_BY, DEMO_DONE_ON, note="stock, as written")
    for job in asked.iter_rows(named=True):
        rows = done_rows(job, done, Told(calibration="stock"), shop_of(home, job))
        take_in(home, rows, job["job_id"])
    _week(home, week_of(DEMO_AS_OF), _now())


@main.command()
@click.argument(
    "path",
    metavar="[FOLDER_OR_FILE]",
    required=False,
    type=click.Path(exists=True, path_type=Path),
)
@click.pass_obj
def load(home: Home, path: Path | None) -> None:
    """Load every record file in a folder, or one file; rows that cannot be used are set aside.

    Without either: what lies in the home's drop folder, and what was entered at the dock.
    """
    from pipelines.drop_folder import still_growing  # noqa: PLC0415 - imports Dagster

    if path is None:
        path = home.prepare().drop
    files = [one for one in (path.iterdir() if path.is_dir() else (path,)) if one.is_file()]
    need_room(home.folder, 3 * sum(one.stat().st_size for one in files) + LEAST_ROOM)
    if growing := still_growing(files, time.sleep, time.time()):
        raise click.ClickException(
            f"{growing[0]} is still being written. Load it when its copy is done; nothing was "
            f"loaded."
        )
    home.prepare()
    if path.is_dir():
        _load(home, path)
        return
    with tempfile.TemporaryDirectory() as folder:  # the one file and its mapping, as a folder
        for file in (path, path.with_suffix(".toml")):
            if file.exists():
                shutil.copy2(file, folder)
        _load(home, Path(folder))


@main.command()
@click.argument("old", metavar="OLD_NAME")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.pass_context
def replace(context: click.Context, old: str, file: Path) -> None:
    """Load FILE in the place of the file loaded as OLD_NAME, from today on.

    What FILE does not hold is withdrawn, what it holds otherwise is put right; both stand as
    corrections, and past weeks stay as they were said.
    """
    from pipelines.replacing import replace_file  # noqa: PLC0415 - imports Dagster

    home = context.obj.prepare()
    count = in_words(lambda: replace_file(home, old, file.absolute(), _now()))
    say(f"{count.rows_new} corrections written down: {count.file_name} (ringland changes).")
    context.invoke(load, path=file)


@main.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--show", is_flag=True, help="Print the draft and write nothing.")
@click.pass_obj
def draft(home: Home, file: Path, *, show: bool) -> None:
    """Draft a mapping for FILE: what its columns, units, dates and codes probably mean."""
    from pipelines.shop_ids import shop_on_record  # noqa: PLC0415 - imports Dagster
    from ringland.intake.mapping.mapping_draft import draft_mapping  # noqa: PLC0415
    from ringland.intake.mapping.source_look import look_at  # noqa: PLC0415
    from ringland.intake.written.raw_text import RecordFileError  # noqa: PLC0415

    try:
        looks = look_at(file.name, file.read_bytes())
    except RecordFileError as error:
        raise click.ClickException(str(error)) from error
    text = draft_mapping(file.name, looks, in_words(lambda: shop_on_record(home)))
    target = home.prepare().mappings / f"{file.stem}.toml"
    if show or target.exists():
        say(text)
        if not show:
            raise click.ClickException(f"{target} is there already; it was not overwritten.")
        return
    write_whole(target, text.encode())
    asked = text.count('"?"')
    say(f"{target}\nAnswer the {asked} questions marked '?' in it, then load the file.")


@main.command()
@AS_OF
@click.option("--restate", is_flag=True, help="Use all that is known today of the time up to then.")
@click.pass_obj
def week(home: Home, as_of: datetime | None, *, restate: bool) -> None:
    """Work out one week from the records known by then, write its pages and show its list."""
    now, key = _now(), _key(home, as_of)
    need_room(home.folder, LEAST_ROOM)
    home.prepare()
    if restate:
        from pipelines.terminal import show_changes  # noqa: PLC0415 - imports Dagster

        show_changes(home, key, now, home.folder / f"changes-{key}.csv")
        _week(home, key, now, told_by=now)
        return
    is_this_week = key == current_week(now, in_words(home.facts).zone)
    _week(home, key, now, is_given_out=is_this_week and not home.is_demo)


@main.command()
@click.pass_obj
def today(home: Home) -> None:
    """Show the list as of now: records of this morning counted, with the last week's fit.

    Load what is new first; what was entered at the dock is counted.  Takes seconds; it is given
    out to nobody and changes nothing in the home.
    """
    from pipelines.list_shown import show_today  # noqa: PLC0415 - imports what works a week out

    in_words(lambda: show_today(home, _now()))


@main.command()
@AS_OF
@click.option(
    "--to",
    "file",
    type=click.Path(dir_okay=False, path_type=Path),
    metavar="CSV",
    help="Write all of them into this file.",
)
@click.pass_obj
def changes(home: Home, as_of: datetime | None, file: Path | None) -> None:
    """Show what became known of a week since: late and corrected records, with the reason."""
    from pipelines.terminal import show_changes  # noqa: PLC0415 - imports Dagster

    in_words(lambda: show_changes(home, _key(home, as_of), _now(), file))


@main.command()
@click.option(
    "--since",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    required=True,
    help="The first week to work out.",
)
@AS_OF
@click.pass_obj
def backfill(home: Home, since: datetime, as_of: datetime | None) -> None:
    """Work out past weeks from what was known then, so that 'ringland week' can score them.

    Every week from --since to the one before --as-of; takes some seconds a week.
    """
    from pipelines.terminal import watched_run  # noqa: PLC0415 - imports Dagster

    last = date.fromisoformat(_key(home, as_of))
    monday = date.fromisoformat(week_of(since.date()))
    if not FIRST_DAY <= monday < last:
        raise click.UsageError(f"--since must lie from {FIRST_DAY} to before the week of {last}.")
    need_room(home.folder, LEAST_ROOM)
    home.prepare()
    while monday < last:
        key = monday.isoformat()
        watched_run(home, "past_week", f"Week of {key}", partition_key=key)
        monday += timedelta(days=7)
    say(f"Now run 'ringland week --as-of {last}' for the score of these weeks.")


@main.command()
@click.option("--port", default=3000, show_default=True, help="Port on this machine only.")
@click.pass_obj
def graph(home: Home, port: int) -> None:
    """Start the Dagster page: the graph, its checks, the schedule and the drop folder's sensor."""
    from pipelines.graph_page import serve  # noqa: PLC0415 - imports Dagster

    home.prepare()
    say(f"http://127.0.0.1:{port}  (answers this machine's own page only)")
    say(f"Records dropped into {home.drop} are loaded. Stop with Ctrl-C.")
    in_words(lambda: serve(home, port))


def _now() -> datetime:
    """Where a command on weeks asks for the time."""
    return datetime.now(UTC)


def _key(home: Home, as_of: datetime | None) -> str:
    return week_asked(home, as_of, _now())


def _take_journal_in(home: Home) -> None:
    """What was entered at the dock counts, whether its server runs or not."""
    if home.dockside.exists():
        from pipelines.dockside.journal import Journal  # noqa: PLC0415
        from pipelines.dockside.taking_in import take_journal_in  # noqa: PLC0415
        from pipelines.duckdb_warehouse import WarehouseError  # noqa: PLC0415

        with suppress(WarehouseError):  # a server is at work, which mends it when it begins
            Journal(home.dockside).close()
        taken = sum(batch.entries for batch in in_words(lambda: take_journal_in(home)))
        if taken:
            say(f"Taken in from the dock's journal: {taken} entries.")


def _load(home: Home, folder: Path) -> None:
    from pipelines.terminal import show_counts, watched_run  # noqa: PLC0415 - imports Dagster

    _take_journal_in(home)
    show_counts(home, watched_run(home, "load_records", "Loading records", records_folder=folder))


def _week(
    home: Home,
    monday: str,
    now: datetime,
    *,
    told_by: datetime | None = None,
    is_given_out: bool = False,
) -> None:
    from pipelines.terminal import (  # noqa: PLC0415 - imports Dagster
        show_backup,
        show_week,
        watched_run,
    )
    from pipelines.weekly.store import Made, WeekKey  # noqa: PLC0415 - imports Polars

    _take_journal_in(home)
    in_words(home.manner)  # a wrong page setting is told before the week is worked out
    made = Made(now.isoformat(timespec="seconds"), getuser(), is_given_out)
    result = watched_run(
        home,
        "week_report",
        f"Week of {monday}",
        partition_key=monday,
        told_by=told_by,
        made=made,
    )
    show_week(home, WeekKey(monday, told_by))
    show_backup(result)


for command in (*JOBS, *READING, *CARE, *DOCKSIDE, network):
    main.add_command(command)
