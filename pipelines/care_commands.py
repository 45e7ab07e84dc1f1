"""Commands that look after a home: check, backup, publish, rebuild."""

from pathlib import Path

import click

from pipelines.command_parts import in_words
from pipelines.home import Home


@click.command()
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


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def backup(home: Home, file: Path) -> None:
    """Put the kept files, mappings, settings and a copy of the warehouse into one ZIP FILE."""
    from pipelines.warehouse_care import back_up  # noqa: PLC0415 - imports Dagster

    in_words(lambda: back_up(home, file))
    click.echo(f"Backup: {file}")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def publish(home: Home, file: Path) -> None:
    """Put a copy of the warehouse at FILE for others to read while records are loaded."""
    from pipelines.duckdb_warehouse import warehouse_at  # noqa: PLC0415 - imports Dagster
    from pipelines.warehouse_care import publish_copy  # noqa: PLC0415 - imports Dagster

    in_words(lambda: publish_copy(warehouse_at(home.database), file))
    click.echo(f"Published: {file}")


@click.command()
@click.pass_obj
def rebuild(home: Home) -> None:
    """Build the warehouse anew from every file taken in, by the mappings as they are now."""
    from pipelines.warehouse_care import rebuild as build_again  # noqa: PLC0415 - imports Dagster
    from pipelines.week_views import make_views  # noqa: PLC0415 - imports the statistics

    rebuilt = in_words(lambda: build_again(home.prepare()))
    in_words(lambda: make_views(home))
    click.echo("The warehouse was built again; the weeks stay as they were said.")
    for refused in rebuilt.passed_over:
        click.echo(f"Passed over, as when it came: {refused}")
    if rebuilt.old:
        click.echo(f"The old one: {rebuilt.old}")


@click.command()
@click.pass_obj
def retention(home: Home) -> None:
    """Drop all of past weeks that can be worked out again, and keep what was given out whole."""
    from pipelines.week_graph import GRAPH  # noqa: PLC0415 - imports the statistics
    from pipelines.week_views import make_views  # noqa: PLC0415 - imports the statistics
    from pipelines.weekly.retention import retain  # noqa: PLC0415 - imports the statistics

    for line in in_words(lambda: retain(home.prepare(), GRAPH)):
        click.echo(line)
    in_words(lambda: make_views(home))
    click.echo(f"Left: {_megabytes(home.folder):.1f} MB in {home.folder}")


def _megabytes(folder: Path) -> float:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


CARE = (retention, check, backup, publish, rebuild)
"""The commands, as the command line lists them."""
