"""Steps as Dagster assets: what each waits for, how it is kept, and its checks.

An asset does not load what it waits for: whether it has anything to do is told by the hashes
of its inputs, and a step that found its output made already loads nothing at all.
"""

from collections.abc import Iterator, Mapping
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Any, NamedTuple

import dagster as dg
import dataframely as dy
import polars as pl

from pipelines.asset_figures import Markdown
from pipelines.home import Home
from pipelines.partitions import WEEKS
from pipelines.weekly.givens import clock_of, givens_of
from pipelines.weekly.run import Outcome, WeekRun, code_version
from pipelines.weekly.step import Graph, Pages, Step
from pipelines.weekly.store import Made, StoreError, WeekKey, WeekStore

EARLIER_WEEKS = 260
"""Weeks that the graph shows a step to look back on: five years."""


class MadeBy(dg.Config):
    """Who asked for a week and when; told by the command, never asked of the clock."""

    at: str = ""
    by: str = ""
    is_given_out: bool = False
    left_out: dict[str, str] | None = None
    """By hull, why the week is worked out without its records (`pipelines.left_out`)."""


class Weeks(dg.ConfigurableResource):
    """The weeks of one home: as they were known or, given `told_by`, with what was known then."""

    home: str
    told_by: str = ""
    """Instant (ISO 8601) up to which records are looked back on; empty: each as it was known."""

    def key(self, monday: str) -> WeekKey:
        """The key of a week in this run."""
        return WeekKey(monday, datetime.fromisoformat(self.told_by) if self.told_by else None)

    def at_work(self, graph: Graph, monday: str, run_id: str) -> WeekRun:
        """A week of the home; within one run of the graph the same, with all it has loaded."""
        place = (self.home, self.key(monday).name, run_id)
        if place not in _AT_WORK:
            _AT_WORK.clear()  # one week at a time: its values fill the memory
            _AT_WORK[place] = week_at(Home(Path(self.home)), self.key(monday), graph)
        return _AT_WORK[place]


_AT_WORK: dict[tuple[str, str, str], WeekRun] = {}


def week_at(home: Home, key: WeekKey, graph: Graph) -> WeekRun:
    """A week of a home, its steps to be read or made."""
    return WeekRun(WeekStore(home.weeks), key, graph, givens_of(home, key))


class Kept(NamedTuple):
    """What became of a step, on its way to the store."""

    run: WeekRun
    step: Step
    outcome: Outcome


class WeekFiles(dg.ConfigurableIOManager):
    """Keeps what a step makes in the folder of its week, and reads it from there."""

    home: str
    told_by: str = ""

    def handle_output(self, context: dg.OutputContext, obj: Kept) -> None:
        """Write down what became of a step."""
        obj.run.keep(obj.step, obj.outcome)

    def load_input(self, context: dg.InputContext) -> Any:
        """What a step made, for whoever asks Dagster for its value."""
        key = Weeks(home=self.home, told_by=self.told_by).key(context.partition_key)
        store = WeekStore(Home(Path(self.home)).weeks)
        return store.read(key, STEPS[context.asset_key.path[-1]])


STEPS: dict[str, Step] = {}
"""The steps by name, for whoever asks Dagster for a value."""


def week_assets(graph: Graph, records: list[dg.AssetKey]) -> list[dg.AssetsDefinition]:
    """An asset for each step; those that read the warehouse wait for the records."""
    STEPS.update(graph.steps)
    return [
        _live_asset(graph, step, records) if step.reads_live else _asset(graph, step)
        for step in graph.steps.values()
    ]


def key_of(step: Step) -> dg.AssetKey:
    """The key of a step's asset."""
    return dg.AssetKey([step.room, step.name])


def on_page(figures: Mapping[str, Any]) -> dict[str, Any]:
    """Figures as Dagster's page takes them."""
    return {
        name: dg.MetadataValue.md(value.text)
        if isinstance(value, Markdown)
        else dg.MetadataValue.json(value)
        if isinstance(value, (dict, list))
        else value
        for name, value in figures.items()
    }


def _facts(step: Step) -> dict[str, Any]:
    return {
        "name": step.name,
        "key_prefix": step.room,
        "group_name": step.room,
        "partitions_def": WEEKS,
        "description": (step.make.__doc__ or "").strip(),
        "code_version": code_version(),
        "io_manager_key": "week_files",
    }


def _asset(graph: Graph, step: Step) -> dg.AssetsDefinition:
    def made(context: dg.AssetExecutionContext, weeks: Weeks) -> dg.Output[Any]:
        run = weeks.at_work(graph, context.partition_key, context.run.run_id)
        outcome = run.outcome(step)
        if outcome.found is not None:
            found = {"unchanged": f"as in the week of {outcome.found[0].name}"}
            return dg.Output(Kept(run, step, outcome), metadata=found)
        return dg.Output(Kept(run, step, outcome), metadata=on_page(step.figures(outcome.value)))

    asset: dg.AssetsDefinition = dg.asset(
        **_facts(step),
        kinds={"html"} if step.hint == Pages else {"parquet"},
        deps=list(_deps(graph, step)),
    )(made)
    return asset


def _live_asset(graph: Graph, step: Step, records: list[dg.AssetKey]) -> dg.AssetsDefinition:
    def made(context: dg.AssetExecutionContext, weeks: Weeks, config: MadeBy) -> dg.Output[Any]:
        run = weeks.at_work(graph, context.partition_key, context.run.run_id)
        made_by = Made(config.at, config.by, config.is_given_out)
        begin_week(run, Home(Path(weeks.home)), made_by, config.left_out)
        outcome = run.outcome(step)
        return dg.Output(Kept(run, step, outcome), metadata=on_page(step.figures(outcome.value)))

    asset: dg.AssetsDefinition = dg.asset(
        **_facts(step), kinds={"parquet", "duckdb"}, deps=records
    )(made)
    return asset


def made_config(made: Made, left_out: Mapping[str, str] | None = None) -> dict[str, Any]:
    """The run's configuration that says who asked for the week, and which hulls it leaves out."""
    live = next(step for step in STEPS.values() if step.reads_live)
    config = asdict(made) | {"left_out": dict(left_out or {})}
    return {"ops": {f"{live.room}__{live.name}": {"config": config}}}


def begin_week(
    run: WeekRun, home: Home, made: Made, left_out: Mapping[str, str] | None = None
) -> None:
    """Note who works a week out, and without whose records.

    Raises:
        StoreError: it was given out as its week's list and is asked for again later.
    """
    before = run.store.listed(run.key).made
    if before.is_given_out and not made.is_given_out:
        raise StoreError(
            f"The list of the week of {run.key.monday} was given out on {before.at} by {before.by} "
            f"and stays as it was. To work it out with what is known now: "
            f"ringland week --as-of {run.key.monday} --restate"
        )
    clock = clock_of(home, run.key)
    run.store.begin(run.key, clock.as_of, clock.told_by, made, left_out)


def _deps(graph: Graph, step: Step) -> Iterator[dg.AssetDep]:
    """What a step waits for: steps of its week, and what earlier weeks said."""
    same_week = {one.name for one in graph.steps_behind(step)}
    looked_back_on = {earlier.step for earlier in graph.earlier_behind(step)}
    for name in sorted(same_week | looked_back_on):
        weeks = None
        if name in looked_back_on:
            weeks = dg.TimeWindowPartitionMapping(
                start_offset=-EARLIER_WEEKS,
                end_offset=0 if name in same_week else -1,
            )
        yield dg.AssetDep(key_of(graph.steps[name]), partition_mapping=weeks)


def contract_result(frame: pl.DataFrame | None, schema: type[dy.Schema]) -> dg.AssetCheckResult:
    """Whether every row of a table of the week passes the rules of its contract."""
    if frame is None:
        return dg.AssetCheckResult(passed=False, metadata={"rows": "the table is not there"})
    faults = schema.filter(frame.select(schema.column_names()), cast=True).failure.counts()
    return dg.AssetCheckResult(
        passed=not faults, metadata={"rows": frame.height, "faults": dg.MetadataValue.json(faults)}
    )


def contract_checks(graph: Graph) -> list[dg.AssetChecksDefinition]:
    """A check for each table of the week: its rows keep their contract."""
    return [
        _check(step, place, schema)
        for step in graph.steps.values()
        for place, schema in step.tables.items()
    ]


def table_name(step: Step, place: str) -> str:
    """What a table of a step is called, e.g. 'piston_lives' or 'week_tables_chances'."""
    return step.name if place == "rows" else f"{step.name}_{place}"


def _check(step: Step, place: str, schema: type[dy.Schema]) -> dg.AssetChecksDefinition:
    name = table_name(step, place)

    @dg.asset_check(
        asset=key_of(step),
        name=f"{name}_keep_their_contract",
        description=f"Every row of {name} for the week passes the rules of its contract.",
        blocking=True,
    )
    def check(context: dg.AssetCheckExecutionContext, weeks: Weeks) -> dg.AssetCheckResult:
        store = WeekStore(Home(Path(weeks.home)).weeks)
        return contract_result(store.frame(weeks.key(context.partition_key), step, place), schema)

    return check
