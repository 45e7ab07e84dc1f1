"""What the command line shows while it works and when it is done."""

from datetime import datetime
from pathlib import Path
from typing import Any, cast

import click
import dagster as dg
import polars as pl
from rich import box
from rich.markup import escape
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from pipelines.duckdb_warehouse import warehouse_at
from pipelines.graph_run import GraphRunError, run_graph
from pipelines.home import Home
from pipelines.job_commands import ListedJobs
from pipelines.kept_backups import NONE_ASKED_FOR
from pipelines.list_shown import console, say, show_list
from pipelines.mend_files import books_in_hand
from pipelines.printable import printable
from pipelines.rooms.listing import WeekListing
from pipelines.row_accounting import changes_since, inert
from pipelines.week_graph import GRAPH
from pipelines.weekly.store import Made, WeekKey, WeekStore
from pipelines.weeks import as_of_week
from pipelines.whole_files import write_whole
from ringland.causes.cause_table import default_cause_table
from ringland.causes.unknown_words import questions_on_words
from ringland.contracts.decision_tables import OPEN
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.decision.jobs.job_answers import other_jobs
from ringland.decision.jobs.new_jobs import job_state_text
from ringland.words.manner import in_manner
from ringland.words.number_words import day_text

_CHANGES_SHOWN = 20


def watched_run(
    home: Home,
    job: str,
    title: str,
    *,
    partition_key: str | None = None,
    records_folder: Path | None = None,
    told_by: datetime | None = None,
    made: Made | None = None,
) -> dg.ExecuteInProcessResult:
    """Run a job of the graph under a progress line; a failure ends the command with its reason."""
    columns = (
        SpinnerColumn(),
        TextColumn("{task.description}"),
        BarColumn(bar_width=20),
        TextColumn("{task.fields[step]}"),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=console, transient=not console.is_terminal) as progress:
        task = progress.add_task(title, total=None, step="starting")

        def listen(step: str, state: str) -> None:
            if state == "started":
                progress.update(task, step=step.replace("__", " / "))

        try:
            result = run_graph(
                home,
                job,
                listener=listen,
                partition_key=partition_key,
                records_folder=records_folder,
                told_by=told_by,
                made=made,
            )
        except GraphRunError as error:
            raise click.ClickException(printable(str(error))) from error
        progress.update(task, total=1, completed=1, step="done")
    if partition_key is not None:
        listed = WeekStore(home.weeks).listed(WeekKey(partition_key, told_by))
        for hull, why in listed.left_out.items():
            said = (
                f"{hull} is left out of this week: it could not be worked out with its records "
                f"({why}). Do not rent it; the Records page says what to do."
            )
            console.print(escape(printable(said)), soft_wrap=True)
    return result


def show_counts(home: Home, result: dg.ExecuteInProcessResult) -> None:
    """The row accounting of a load, file by file, and the checks that did not pass."""
    table = Table(title="Rows in = new + already there + set aside + mended", title_justify="left")
    for heading in (
        "file",
        "rows in",
        "new",
        "already there",
        "set aside",
        "mended",
        "note",
    ):
        table.add_column(heading, justify="left" if heading in ("file", "note") else "right")
    totals, refused = [0, 0, 0, 0, 0], []
    for event in sorted(result.get_asset_materialization_events(), key=_place_in_order):
        for count in _counts(event.materialization):
            numbers = [
                count["rows_in"],
                count["rows_new"],
                count["rows_already_there"],
                count["rows_set_aside"],
                count["rows_mended"],
            ]
            totals = [total + number for total, number in zip(totals, numbers, strict=True)]
            name, notes = (escape(printable(count[text])) for text in ("file_name", "notes"))
            figures = ["-"] * len(numbers) if count["is_refused"] else [f"{n:,}" for n in numbers]
            table.add_row(name, *figures, "" if count["is_refused"] else notes)
            refused += [count["notes"]] if count["is_refused"] else []
    table.add_section()
    table.add_row("all files", *(f"{number:,}" for number in totals), "")
    console.print(table)
    if totals[3]:
        say(
            f"{totals[3]} rows were set aside; their faults and remedies: "
            f"{home.folder / 'set-aside.csv'}; "
            f"mend them in {_workbook(result)} and load it again"
        )
    for path in books_in_hand(home.mend_book, home.raw):
        say(
            f"{path} was changed by hand and is not loaded yet; it stays as it is. "
            f"When it is ready: ringland load {path}"
        )
    for question in _questions(home):
        say(question)
    for evaluation in result.get_asset_check_evaluations():
        if not evaluation.passed:
            facts = "; ".join(
                f"{name}: {value.value}" for name, value in evaluation.metadata.items()
            )
            said = f"Check not passed: {evaluation.check_name.replace('_', ' ')}: {facts}"
            say(said)
    if refused:
        told = "\n".join(dict.fromkeys(printable(why) for why in refused))
        raise click.ClickException(f"{told}\nAll other files were loaded.")


def _workbook(result: dg.ExecuteInProcessResult) -> str:
    """Where the rows to mend were written."""
    found = [
        event.materialization.metadata["workbook"].value
        for event in result.get_asset_materialization_events()
        if "workbook" in event.materialization.metadata
    ]
    return str(found[-1])


def _questions(home: Home) -> tuple[str, ...]:
    """What to ask about words of the teardowns that no finding answers to."""
    teardowns = warehouse_at(home.database).read("select * from shop_records.teardowns")
    return questions_on_words(teardowns, default_cause_table())


def show_changes(home: Home, partition_key: str, told_by: datetime, file: Path | None) -> None:
    """What became known of a week since, and why; in full as a CSV file, if one is named."""
    changes = None
    if home.database.exists():
        as_of = as_of_week(partition_key, home.facts().zone)
        changes = changes_since(warehouse_at(home.database), as_of, told_by)
    if changes is None or changes.is_empty():
        console.print(f"Nothing that was known of the week of {partition_key} has changed since.")
        return
    table = Table(title=f"Known of the week of {partition_key} since", title_justify="left")
    for heading in ("record", "change", "column", "before", "after", "why"):
        table.add_column(heading)
    for row in changes.head(_CHANGES_SHOWN).rows():
        kind, key, *cells = (escape(printable(cell or "")) for cell in row)
        table.add_row(f"{kind}: {key}", *cells)
    console.print(table)
    if file is not None:
        write_whole(file, inert(changes).write_csv().encode())
    where = "all of them: ringland changes --to FILE.csv" if file is None else file
    say(f"{changes.height} changes: {where}")


def show_backup(result: dg.ExecuteInProcessResult) -> None:
    """Whether the backup that the home's file asks for was made."""
    for event in result.get_asset_materialization_events():
        said = event.materialization.metadata.get("backup")
        if said is not None and said.value != NONE_ASKED_FOR:
            say(str(said.value))


def show_week(home: Home, key: WeekKey) -> None:
    """The week's list and where its pages are."""
    listed: WeekListing = WeekStore(home.weeks).read(key, GRAPH.steps["week_list"])
    title = f"Week of {key.monday}"
    if key.told_by is not None:
        title += f", restated with what was known on {key.told_by:%Y-%m-%d %H:%M} UTC"
    show_list(listed, title)
    if key.told_by is not None:
        _show_other_jobs(WeekStore(home.weeks), key)
    say(f"Report: {home.site / key.name / 'index.html'}")


def _show_other_jobs(store: WeekStore, key: WeekKey) -> None:
    """Which jobs a restated week would have asked for otherwise than its list did."""
    step = GRAPH.steps["week_decisions"]
    said = store.frame(WeekKey(key.monday), step, "jobs")
    told = store.frame(key, step, "jobs")
    if said is None or told is None:
        return
    besides, not_these = other_jobs(said, told)
    for words, jobs in (("asked for besides", besides), ("not asked for", not_these)):
        if jobs:
            line = f"It would have {words}: {', '.join(jobs)}"
            say(line)


def show_jobs(home: Home, listed: ListedJobs, *, every: bool) -> None:
    """The open jobs, those that must be done first on top; all of them if asked.

    Days count to the newest list, as its pages do.
    """
    jobs = listed.jobs
    with in_manner(home.manner()):
        console.print(
            f"As of {day_text(listed.as_of)}, the newest list, with what was written down since; "
            f"'ringland today' counts by now.",
            soft_wrap=True,
        )
        if listed.given_out != listed.monday:
            last = (
                "and no list was given out yet"
                if listed.given_out is None
                else f"the jobs are those of lists given out up to {listed.given_out}"
            )
            why = (
                "is the demo's and asks nothing of anybody"
                if home.is_demo
                else "was worked out for another day than its own, so it asks for nothing"
            )
            console.print(f"The list of {listed.monday} {why}; {last}.", soft_wrap=True)
        shown = jobs if every else jobs.filter(pl.col("state") == OPEN)
        if shown.is_empty():
            console.print("No open job.")
            return
        table = Table(title="Jobs", title_justify="left", box=box.SIMPLE)
        for heading in ("job", "of", "asked on", "due", "state"):
            table.add_column(heading, overflow="fold")
        for row in shown.sort(~pl.col("is_must"), "due_at", "job_id").iter_rows(named=True):
            must = "before it is rented" if row["is_must"] else "by its day"
            table.add_row(
                escape(printable(row["job_id"])),
                must, day_text(row["asked_at"]), day_text(row["due_at"]),
                escape(printable(job_state_text(row, listed.as_of))),
            )  # fmt: skip
    console.print(table)


def _counts(materialization: dg.AssetMaterialization) -> list[dict[str, Any]]:
    """The counts that a record asset reports; none for another asset."""
    counts = materialization.metadata.get("counts")
    return cast("list[dict[str, Any]]", counts.value) if counts is not None else []


def _place_in_order(event: dg.DagsterEvent) -> int:
    """Where a record asset stands in the order of loading."""
    kind = event.materialization.asset_key.path[-1]
    return list(RECORD_KINDS).index(kind) if kind in RECORD_KINDS else len(RECORD_KINDS)
