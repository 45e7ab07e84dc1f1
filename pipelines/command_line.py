"""The command line: load records, run a week, read the list, open the pages."""

import os
import subprocess
import sys
import webbrowser
from datetime import UTC, date, datetime
from importlib.resources import files
from pathlib import Path

import click

from pipelines.home import Home
from pipelines.weeks import week_of

DEMO_AS_OF = date(2026, 8, 17)
AS_OF = click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Look back from this day's Monday 00:00 UTC. Default: this week's Monday.",
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
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.pass_obj
def load(home: Home, folder: Path) -> None:
    """Load every record file in FOLDER; rows that cannot be used are set aside with reasons."""
    _load(home.prepare(), folder)


@main.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--show", is_flag=True, help="Print the draft and write nothing.")
@click.pass_obj
def draft(home: Home, file: Path, *, show: bool) -> None:
    """Draft a mapping for FILE: what its columns, units, dates and codes probably mean."""
    from ringland.shop_records.mapping_draft import draft_mapping  # noqa: PLC0415
    from ringland.shop_records.raw_text import RecordFileError  # noqa: PLC0415
    from ringland.shop_records.source_look import look_at  # noqa: PLC0415

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
@click.pass_obj
def week(home: Home, as_of: datetime | None) -> None:
    """Work out one week from the records known by then, write its pages and show its list."""
    day = as_of.date() if as_of else datetime.now(UTC).date()
    _week(home.prepare(), week_of(day))


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


def _load(home: Home, folder: Path) -> None:
    from pipelines.terminal import show_counts, watched_run  # noqa: PLC0415 - imports Dagster

    show_counts(home, watched_run(home, "load_records", "Loading records", records_folder=folder))


def _week(home: Home, partition_key: str) -> None:
    from pipelines.terminal import show_week, watched_run  # noqa: PLC0415 - imports Dagster

    title = f"Week of {partition_key}"
    result = watched_run(home, "week_report", title, partition_key=partition_key)
    show_week(result, partition_key)
