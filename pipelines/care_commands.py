"""Commands that look after a home: check, backup, restore, publish, rebuild."""

from datetime import UTC, datetime
from pathlib import Path

import click

from pipelines.command_parts import in_words, need_home, say
from pipelines.home import Home
from pipelines.whole_files import write_whole


@click.command()
@click.pass_obj
def check(home: Home) -> None:
    """Look whether all of the home is whole; says for each fault what mends it."""
    from pipelines.warehouse_care import check_warehouse  # noqa: PLC0415 - imports Dagster

    need_home(home)
    findings = in_words(lambda: check_warehouse(home))
    for finding in findings:
        say(f"{'ok   ' if not finding.wrong else 'WRONG'} {finding.about}")
        for line in finding.wrong:
            say(f"      {line}")
    wrong = sum(len(finding.wrong) for finding in findings)
    if wrong:
        raise click.ClickException(f"{wrong} found; each line above says what mends it.")
    say("Nothing wrong.")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def workbook(home: Home, file: Path) -> None:
    """Write an empty spreadsheet to keep records in: a sheet for each kind, lists of your own."""
    from pipelines.shop_ids import octanes_met, shop_on_record  # noqa: PLC0415 - imports Dagster
    from ringland.intake.shop_book import UNITS, shop_workbook  # noqa: PLC0415

    if file.suffix.lower() != ".xlsx" or file.exists():
        raise click.ClickException(f"{file}: name a new file that ends in .xlsx.")
    ids = in_words(lambda: shop_on_record(home)).ids
    units = UNITS[in_words(home.manner).units]
    write_whole(file, shop_workbook(ids, in_words(lambda: octanes_met(home)), units))
    say(f"{file}\nFill it in, then: ringland load {file}")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def backup(home: Home, file: Path) -> None:
    """Put all of the home that cannot be worked out again into one ZIP FILE, and verify it.

    Raw copies and their list, weeks and what they said, pages, papers, photos, mappings,
    settings, files not loaded yet, a copy of the warehouse; of the dockside server its journal,
    people and private keys.
    """
    from pipelines.backup import back_up  # noqa: PLC0415 - imports Dagster

    need_home(home)
    made = in_words(lambda: back_up(home, file, _now()))
    say(f"Backup: {made.file} ({made.files} files, {made.size / 1e6:.1f} MB, read back)")
    if made.has_keys:
        say(
            "It holds what was entered at the dock, who may sign in, and the private keys of your "
            "dockside server: keep it where only you can read it."
        )
    for line in made.damaged:
        say(f"Packed as it is: {line}; 'ringland check' says what mends it.")


@click.command()
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--mend", is_flag=True, help="Only put back what is lost or damaged in the home.")
@click.pass_obj
def restore(home: Home, file: Path, *, mend: bool) -> None:
    """Bring a home back from the backup FILE; a home that is there is moved aside, whole."""
    from pipelines import restoring  # noqa: PLC0415 - imports Dagster

    if mend:
        put_back = in_words(lambda: restoring.mend_from(home, file))
        for name in put_back:
            say(f"Put back: {name}")
        say("Now run 'ringland check'." if put_back else "Nothing to put back from there.")
        return
    restored = in_words(lambda: restoring.restore(home, file, _now()))
    say(f"Brought back to {home.folder}, as of {restored.made_at}, every file verified:")
    for part, count in restored.counts.items():
        say(f"  {part}: {count} file{'s' if count > 1 else ''}")
    if home.dockside.name in restored.counts:
        say(
            "  Whoever was removed from the dockside server since can sign in again: look through "
            "'ringland dockside-people list'."
        )
    if restored.before:
        say(f"What stood there before: {restored.before}")
    for line in restored.not_done:
        say(f"Not done: {line}")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def publish(home: Home, file: Path) -> None:
    """Put a copy of the warehouse at FILE for others to read while records are loaded."""
    from pipelines.duckdb_warehouse import warehouse_at  # noqa: PLC0415 - imports Dagster
    from pipelines.warehouse_care import publish_copy  # noqa: PLC0415 - imports Dagster

    in_words(lambda: publish_copy(warehouse_at(home.database), file))
    say(f"Published: {file}")


@click.command()
@click.option(
    "--leave-out-lost", is_flag=True, help="Go on without files whose copies in raw/ are lost."
)
@click.pass_obj
def rebuild(home: Home, *, leave_out_lost: bool) -> None:
    """Build the warehouse anew from every file taken in, by the mappings as they are now."""
    from pipelines.rebuilding import rebuild as build_again  # noqa: PLC0415 - imports Dagster
    from pipelines.week_views import make_views  # noqa: PLC0415 - imports the statistics

    need_home(home)
    rebuilt = in_words(lambda: build_again(home.prepare(), leave_out_lost=leave_out_lost))
    in_words(lambda: make_views(home))
    say("The warehouse was built again; the weeks stay as they were said.")
    for refused in rebuilt.passed_over:
        say(f"Passed over, as when it came: {refused}")
    for lost in rebuilt.left_out:
        say(f"To load again (ringland load FILE), then rebuild: {lost}")
    if rebuilt.old:
        say(f"The old one: {rebuilt.old}")


@click.command()
@click.pass_obj
def retention(home: Home) -> None:
    """Drop all of past weeks that can be worked out again, and keep what was given out whole."""
    from pipelines.week_graph import GRAPH  # noqa: PLC0415 - imports the statistics
    from pipelines.week_views import make_views  # noqa: PLC0415 - imports the statistics
    from pipelines.weekly.retention import retain  # noqa: PLC0415 - imports the statistics

    need_home(home)
    for line in in_words(lambda: retain(home.prepare(), GRAPH)):
        say(line)
    in_words(lambda: make_views(home))
    say(f"Left: {_megabytes(home.folder):.1f} MB in {home.folder}")


def _now() -> datetime:
    return datetime.now(UTC)


def _megabytes(folder: Path) -> float:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


CARE = (workbook, retention, check, backup, restore, publish, rebuild)
"""The commands, as the command line lists them."""
