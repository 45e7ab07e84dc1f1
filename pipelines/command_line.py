"""The command line: load records, run a week, read the list, open the pages."""

import os
import shutil
import subprocess
import sys
import tempfile
import webbrowser
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

import click

from pipelines.home import Home
from pipelines.weeks import current_week, week_of

T = TypeVar("T")
DEMO_AS_OF = date(2026, 8, 17)
AS_OF = click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Look back from this day's Monday 00:00 on the home's clock. Default: this week's Monday.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
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
    """Load an invented rental fleet, run one week and show its list."""
    home = Home(home.folder / "demo").prepare()
    home.mark_as_demo()
    _load(home, Path(str(files("synthetic_data"))) / "demo")
    _week(home, week_of(DEMO_AS_OF))


@main.command()
@click.argument("path", metavar="FOLDER_OR_FILE", type=click.Path(exists=True, path_type=Path))
@click.pass_obj
def load(home: Home, path: Path) -> None:
    """Load every record file in a folder, or one file; rows that cannot be used are set aside."""
    home.prepare()
    if path.is_dir():
        _load(home, path)
        return
    with tempfile.TemporaryDirectory() as folder:  # the one file and its mapping, as a folder
        for file in (path, path.with_suffix(".toml")):
            if file.exists():
                shutil.copy(file, folder)
        _load(home, Path(folder))


@main.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--show", is_flag=True, help="Print the draft and write nothing.")
@click.pass_obj
def draft(home: Home, file: Path, *, show: bool) -> None:
    """Draft a mapping for FILE: what its columns, units, dates and codes probably mean."""
    from ringland.intake.mapping_draft import draft_mapping  # noqa: PLC0415
    from ringland.intake.raw_text import RecordFileError  # noqa: PLC0415
    from ringland.intake.source_look import look_at  # noqa: PLC0415

    try:
        text = draft_mapping(file.name, look_at(file.name, file.read_bytes()))
    except RecordFileError as error:
        raise click.ClickException(str(error)) from error
    target = home.prepare().mappings / f"{file.stem}.toml"
    if show or target.exists():
        click.echo(text)
        if not show:
            raise click.ClickException(f"{target} is there already; it was not overwritten.")
        return
    target.write_text(text, encoding="utf-8")
    asked = text.count('"?"')
    click.echo(f"{target}\nAnswer the {asked} questions marked '?' in it, then load the file.")


@main.command()
@AS_OF
@click.option("--restate", is_flag=True, help="Use all that is known today of the time up to then.")
@click.pass_obj
def week(home: Home, as_of: datetime | None, *, restate: bool) -> None:
    """Work out one week from the records known by then, write its pages and show its list."""
    now, key = _now(), _key(home, as_of)
    if restate:
        from pipelines.terminal import show_changes  # noqa: PLC0415 - imports Dagster

        show_changes(home.prepare(), key, now)
    _week(home.prepare(), key, now if restate else None)


@main.command()
@AS_OF
@click.pass_obj
def changes(home: Home, as_of: datetime | None) -> None:
    """Show what became known of a week since: late and corrected records, with the reason."""
    from pipelines.terminal import show_changes  # noqa: PLC0415 - imports Dagster

    show_changes(home.prepare(), _key(home, as_of), _now())


@main.command()
@click.pass_obj
def check(home: Home) -> None:
    """Look whether the warehouse and the kept files are whole."""
    from pipelines.warehouse_care import check_warehouse  # noqa: PLC0415 - imports Dagster

    findings = check_warehouse(home)
    for finding in findings:
        click.echo(f"{'ok   ' if not finding.wrong else 'WRONG'} {finding.about}")
        for line in finding.wrong:
            click.echo(f"      {line}")
    if any(finding.wrong for finding in findings):
        raise click.ClickException("The warehouse can be built again from raw/: ringland rebuild.")
    click.echo("Nothing wrong.")


@main.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def backup(home: Home, file: Path) -> None:
    """Put the kept files, mappings, settings and a copy of the warehouse into one ZIP FILE."""
    from pipelines.warehouse_care import back_up  # noqa: PLC0415 - imports Dagster

    _in_words(lambda: back_up(home, file))
    click.echo(f"Backup: {file}")


@main.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def publish(home: Home, file: Path) -> None:
    """Put a copy of the warehouse at FILE for others to read while records are loaded."""
    from pipelines.duckdb_warehouse import warehouse_at  # noqa: PLC0415 - imports Dagster
    from pipelines.warehouse_care import publish_copy  # noqa: PLC0415 - imports Dagster

    _in_words(lambda: publish_copy(warehouse_at(home.database), file))
    click.echo(f"Published: {file}")


@main.command()
@click.pass_obj
def rebuild(home: Home) -> None:
    """Build the warehouse anew from every file taken in, by the mappings as they are now."""
    from pipelines.warehouse_care import rebuild as build_again  # noqa: PLC0415 - imports Dagster

    rebuilt = _in_words(lambda: build_again(home.prepare()))
    click.echo("The warehouse was built again. Run the weeks again: ringland week.")
    for refused in rebuilt.passed_over:
        click.echo(f"Passed over, as when it came: {refused}")
    if rebuilt.old:
        click.echo(f"The old one: {rebuilt.old}")


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
    if monday >= last:
        raise click.UsageError(f"--since must lie before the week of {last}.")
    home.prepare()
    while monday < last:
        key = monday.isoformat()
        watched_run(home, "past_week", f"Week of {key}", partition_key=key)
        monday += timedelta(days=7)
    click.echo(f"Now run 'ringland week --as-of {last}' for the score of these weeks.")


@main.command("hull-sheet")
@click.argument("hulls", metavar="HULL...", nargs=-1)
@click.option("--all", "every", is_flag=True, help="One sheet for every hull in service.")
@AS_OF
@click.pass_obj
def hull_sheet(home: Home, hulls: tuple[str, ...], as_of: datetime | None, *, every: bool) -> None:
    """Write one page of PDF for each HULL, to print: its week, why, how sure, what it costs."""
    from ringland.pages.papers.hull_pdf import hull_pdf  # noqa: PLC0415 - imports the typesetter

    if bool(hulls) == every:
        raise click.UsageError("Name the hulls, or give --all for every hull in service.")
    _papers(home, hulls, as_of, hull_pdf, ".pdf")


@main.command("customer-copy")
@click.argument("hull", metavar="HULL")
@AS_OF
@click.pass_obj
def customer_copy(home: Home, hull: str, as_of: datetime | None) -> None:
    """Write HULL's page as one file to hand out, with no other hull's data in it."""
    from ringland.pages.papers.week_bundle import customer_copy as copy_of  # noqa: PLC0415

    _papers(home, (hull,), as_of, copy_of, ".html")


@main.command("open")
@AS_OF
@click.pass_obj
def open_pages(home: Home, as_of: datetime | None) -> None:
    """Open the newest week's pages (or those of one week) in the browser."""
    wanted = week_of(as_of.date()) if as_of else None
    written = sorted(path.parent for path in home.site.glob("*/index.html"))
    chosen = [folder for folder in written if wanted is None or folder.name == wanted]
    if not chosen:
        raise click.ClickException(
            f"No pages {'for ' + wanted if wanted else 'yet'} below {home.site}. "
            f"Run 'ringland week' first."
        )
    page = chosen[-1] / "index.html"
    click.echo(page)
    webbrowser.open(page.as_uri())


@main.command()
@click.option("--port", default=3000, show_default=True, help="Port on this machine only.")
@click.pass_obj
def graph(home: Home, port: int) -> None:
    """Start the Dagster page: the graph, its checks, the schedule and the drop folder's sensor."""
    home.prepare()
    environment = os.environ | {
        "RINGLAND_HOME": str(home.folder),
        "DAGSTER_HOME": str(home.dagster),
        "DAGSTER_DISABLE_TELEMETRY": "1",
    }
    click.echo(f"Records dropped into {home.drop} are loaded. Stop with Ctrl-C.")
    command = [sys.executable, "-m", "dagster", "dev", "-m", "pipelines.definitions"]
    command += ["-h", "127.0.0.1", "-p", str(port)]
    sys.exit(subprocess.call(command, env=environment))  # noqa: S603 - no input but a port number


def _now() -> datetime:
    """The one place where a command asks for the time."""
    return datetime.now(UTC)


def _key(home: Home, as_of: datetime | None) -> str:
    """The week asked for: that of a day, else the one that has begun on the home's clock."""
    if as_of is not None:
        return week_of(as_of.date())
    return current_week(_now(), _in_words(home.facts).zone)


def _papers(
    home: Home,
    hulls: tuple[str, ...],
    as_of: datetime | None,
    make: Callable[[Any, str], bytes],
    suffix: str,
) -> None:
    from pipelines.hull_papers import write_papers  # noqa: PLC0415 - imports Dagster

    weeks = sorted(path.parent.name for path in home.site.glob("????-??-??/index.html"))
    if as_of is None and not weeks:
        raise click.ClickException("No week is worked out yet. Run 'ringland week' first.")
    key = week_of(as_of.date()) if as_of else weeks[-1]
    papers = write_papers(home, key, hulls, make, suffix)
    while (path := _in_words(lambda: next(papers, None))) is not None:
        click.echo(path)


def _in_words(do: Callable[[], T]) -> T:
    """What `do` gives; a refusal ends the command with its words, without a traceback."""
    from pipelines.duckdb_warehouse import WarehouseError  # noqa: PLC0415 - imports Dagster
    from pipelines.home_file import HomeFileError  # noqa: PLC0415
    from ringland.intake.column_mapping import MappingError  # noqa: PLC0415
    from ringland.intake.raw_file import RecordFileError  # noqa: PLC0415
    from ringland.settings.manner_file import PageSettingError  # noqa: PLC0415

    try:
        return do()
    except (
        WarehouseError,
        MappingError,
        RecordFileError,
        PageSettingError,
        HomeFileError,
        OSError,
    ) as error:
        raise click.ClickException(str(error)) from error


def _load(home: Home, folder: Path) -> None:
    from pipelines.terminal import show_counts, watched_run  # noqa: PLC0415 - imports Dagster

    show_counts(home, watched_run(home, "load_records", "Loading records", records_folder=folder))


def _week(home: Home, partition_key: str, told_by: datetime | None = None) -> None:
    from pipelines.terminal import show_week, watched_run  # noqa: PLC0415 - imports Dagster

    _in_words(home.manner)  # a wrong page setting is told before the week is worked out
    title = f"Week of {partition_key}"
    result = watched_run(home, "week_report", title, partition_key=partition_key, told_by=told_by)
    show_week(result, partition_key)
