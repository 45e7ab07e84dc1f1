"""What several commands share: options, the home's week, and words in place of tracebacks."""

import errno
import io
import os
import shutil
import sys
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import TypeVar

import click

from pipelines.home import Home
from pipelines.printable import printable
from pipelines.weeks import current_week, week_of

T = TypeVar("T")
FIRST_DAY = date(2000, 1, 3)
"""The first week there is."""
RESTATED = click.option(
    "--restated", is_flag=True, help="The week as it was last restated, not as it was known."
)
AS_OF = click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="YYYY-MM-DD",
    help="Look back from this day's Monday 00:00 on the home's clock. Default: this week's Monday.",
)


class InWords(click.Group):
    """The commands; none ends in a traceback for what a shop can mend itself."""

    def invoke(self, ctx: click.Context) -> object:
        """Run a command."""
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, io.TextIOWrapper):  # a console that lacks a letter shows '?'
                stream.reconfigure(errors="replace")
        return in_words(lambda: super(InWords, self).invoke(ctx))


def say(what: object) -> None:
    """Print a line; whatever a record or a file's name brought into it does nothing there."""
    click.echo(printable(str(what)))


def week_asked(home: Home, as_of: datetime | None, now: datetime) -> str:
    """The week asked for: that of a day, else the one that has begun on the home's clock.

    Raises:
        click.UsageError: a day of a week that has not begun, or before any that can be asked for.
    """
    current = current_week(now, in_words(home.facts).zone)
    if as_of is None:
        return current
    if not as_of.date() >= FIRST_DAY or week_of(as_of.date()) > current:
        raise click.UsageError(
            f"--as-of {as_of.date()} is out of range: from {FIRST_DAY} to the week that has "
            f"begun, {current}."
        )
    return week_of(as_of.date())


def need_home(home: Home) -> None:
    """Look before a command that asks something of a home whether there is one.

    Raises:
        click.ClickException: there is not.
    """
    if home.folder.exists():
        return
    from pipelines.restoring import cut_off  # noqa: PLC0415 - imports Dagster

    raise click.ClickException(
        cut_off(home)
        or f"There is no home at {home.folder}. Name yours with --home, bring it back with "
        f"'ringland restore BACKUP', or begin one with 'ringland load FOLDER'."
    )


def need_room(folder: Path, size: float) -> None:
    """Look before a command begins whether a folder can be written to and has room.

    Raises:
        click.ClickException: it cannot, or has not.
    """
    there = next(one for one in (folder, *folder.parents) if one.exists())
    if not os.access(there, os.W_OK):
        raise click.ClickException(
            f"You may not write in {there}, or its disk can only be read. Have its owner allow "
            f"it, or name another place with --home."
        )
    free = shutil.disk_usage(there).free
    if free < size:
        raise click.ClickException(
            f"The disk that holds {there} has {free / 1e6:.0f} MB free; this needs about "
            f"{size / 1e6:.0f} MB. Make room and try again; nothing was changed."
        )


def in_words(do: Callable[[], T]) -> T:
    """What `do` gives; a refusal ends the command with its words, without a traceback."""
    try:
        return do()
    except click.ClickException as error:
        if printable(error.message) == error.message:
            raise
        raise click.ClickException(printable(error.message)) from error
    except (click.exceptions.Exit, click.Abort):
        raise
    except Exception as error:
        if (words := words_for(error)) is None:
            raise
        raise click.ClickException(words) from error


def words_for(error: BaseException) -> str | None:
    """What to tell of an error that is no fault of the program; None: it is one."""
    import duckdb  # noqa: PLC0415

    names = {kind.__name__ for kind in type(error).__mro__}
    if names & TOLD_IN_WORDS:
        return printable(getattr(error, "strerror", None) or str(error))
    if isinstance(error, OSError):
        return printable(_os_words(error))
    if isinstance(error, duckdb.Error):
        full = "No space left" in str(error) or "out of disk" in str(error).lower()
        what = FULL if full else "Run 'ringland check', which says what mends it."
        return printable(f"The warehouse cannot be read or written. {what} ({error})")
    if "OperationalError" in names:  # of SQLite, which holds Dagster's log
        why = str(error).partition("\n")[0]  # what follows is what it wanted to write
        return printable(f"The log of the runs cannot be written. {FULL} ({why})")
    if isinstance(error, MemoryError):
        return "There is not enough memory for this. Close other programs and try again."
    return None


TOLD_IN_WORDS = frozenset(
    {
        "RecordFileError",
        "MappingError",
        "WarehouseError",
        "WeekFileError",
        "LimitError",
        "CatalogueError",
        "StoreError",
        "HomeFileError",
        "PageSettingError",
        "AssumptionError",
        "InUseError",
        "PeopleError",
        "CertificateError",
        "OpenBucketError",
        "SharedEffectsError",
    }
)
"""What these say names the file, row, field or entry and the remedy; their causes do not."""
FULL = "If the disk is full, make room on it and try again; what was there before is whole."


def _os_words(error: OSError) -> str:
    where = error.filename or error.filename2 or ""
    if error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", None)):
        at = f" {where}" if where else ""  # of a write the system names no file
        return f"The disk is full{at}. Make room and try again; what was there is whole."
    if error.errno == errno.EROFS:
        return f"{where} lies on a disk that can only be read. Name another place with --home."
    if error.errno in (errno.EACCES, errno.EPERM):
        return (
            f"{where}: you may not read or write there, or another program has it open. Close it, "
            f"or have its owner allow it."
        )
    if error.errno == errno.ENOENT:
        return f"{where} is not there."
    return f"{where}: {error.strerror or error}"
