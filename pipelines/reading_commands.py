"""Commands that read a week that was worked out: papers, one file to send on, the browser."""

import webbrowser
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipelines.command_parts import AS_OF, RESTATED, in_words, say, week_asked
from pipelines.home import Home
from pipelines.weeks import week_of
from pipelines.whole_files import write_whole

if TYPE_CHECKING:
    from pipelines.weekly.store import WeekKey


@click.command("hull-sheet")
@click.argument("hulls", metavar="HULL...", nargs=-1)
@click.option("--all", "every", is_flag=True, help="One sheet for every hull in service.")
@AS_OF
@RESTATED
@click.pass_obj
def hull_sheet(
    home: Home, hulls: tuple[str, ...], as_of: datetime | None, *, every: bool, restated: bool
) -> None:
    """Write one page of PDF for each HULL, to print: its week, why, how sure, what it costs."""
    from ringland.pages.papers.hull_pdf import hull_pdf  # noqa: PLC0415 - imports the typesetter

    if bool(hulls) == every:
        raise click.UsageError("Name the hulls, or give --all for every hull in service.")
    _papers(home, hulls, _kept_week(home, as_of, restated=restated), hull_pdf, ".pdf")


@click.command("customer-copy")
@click.argument("hull", metavar="HULL")
@AS_OF
@RESTATED
@click.pass_obj
def customer_copy(home: Home, hull: str, as_of: datetime | None, *, restated: bool) -> None:
    """Write HULL's page as one file to hand out, with no other hull's data in it."""
    from ringland.pages.papers.week_bundle import customer_copy as copy_of  # noqa: PLC0415

    _papers(home, (hull,), _kept_week(home, as_of, restated=restated), copy_of, ".html")


@click.command()
@click.argument("engine", metavar="ENGINE")
@AS_OF
@RESTATED
@click.pass_obj
def proof(home: Home, engine: str, as_of: datetime | None, *, restated: bool) -> None:
    """Write ENGINE's cause report with all it rests on, as one folder anyone can verify."""
    from pipelines.proof import write_proof  # noqa: PLC0415 - imports the statistics

    week = _kept_week(home, as_of, restated=restated)
    folder, digest = in_words(lambda: write_proof(home, week, engine))
    say(folder)
    say(f"SHA-256 of its manifest, to write on the signed paper: {digest}")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@AS_OF
@RESTATED
@click.pass_obj
def bundle(home: Home, file: Path, as_of: datetime | None, *, restated: bool) -> None:
    """Put all pages of the newest week (or of one week) into one ZIP FILE to send on."""
    from pipelines.week_site import whole_bundle  # noqa: PLC0415 - imports the statistics

    week = _kept_week(home, as_of, restated=restated)
    content = in_words(lambda: whole_bundle(home, week))
    in_words(lambda: write_whole(file, content))
    say(f"Week of {week.name}: {file}")


@click.command("open")
@AS_OF
@RESTATED
@click.pass_obj
def open_pages(home: Home, as_of: datetime | None, *, restated: bool) -> None:
    """Open the newest week's pages (or those of one week) in the browser."""
    week = _kept_week(home, as_of, restated=restated)
    from pipelines.week_site import lay_open, lies_open  # noqa: PLC0415 - imports the statistics

    page = home.site / week.name / "index.html"
    if not lies_open(home, week):
        in_words(lambda: lay_open(home, week))
    say(page)
    webbrowser.open(page.as_uri())


def _papers(
    home: Home,
    hulls: tuple[str, ...],
    week: "WeekKey",
    make: Callable[[Any, str], bytes],
    suffix: str,
) -> None:
    from pipelines.hull_papers import write_papers  # noqa: PLC0415 - imports the statistics

    papers = write_papers(home, week, hulls, make, suffix)
    while (path := in_words(lambda: next(papers, None))) is not None:
        say(path)


def _kept_week(home: Home, as_of: datetime | None, *, restated: bool) -> "WeekKey":
    """The week asked for, or the newest; restated: the last time it was."""
    from pipelines.weekly.store import WeekStore  # noqa: PLC0415 - imports Polars

    monday = week_of(as_of.date()) if as_of else None
    found = in_words(lambda: WeekStore(home.weeks).newest(monday, restated=restated))
    if found is None:
        week_asked(home, as_of, datetime.now(UTC))  # one that 'ringland week' would refuse as well
        which = f"The week of {monday}" if monday else "No week"
        how = f" --as-of {monday}" if monday else ""
        raise click.ClickException(
            f"{which} is {'' if monday else 'yet '}{'not ' if monday else ''}"
            f"{'restated' if restated else 'worked out'} here. "
            f"Run 'ringland week{how}{' --restate' if restated else ''}' first.{home.demo_beside}"
        )
    return found


READING = (hull_sheet, customer_copy, proof, bundle, open_pages)
"""The commands, as the command line lists them."""
