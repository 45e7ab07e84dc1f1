"""Run the graph in this process, without a daemon, telling a listener how far it is."""

import logging
import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import dagster as dg

from pipelines.command_parts import FULL, TOLD_IN_WORDS
from pipelines.definitions import build_definitions
from pipelines.home import Home
from pipelines.left_out import left_out_of_week
from pipelines.old_weeks import carry_over
from pipelines.run_log import quick_log
from pipelines.week_graph import GRAPH
from pipelines.week_views import make_views
from pipelines.weekly.assets import made_config
from pipelines.weekly.retention import tidy
from pipelines.weekly.store import Made, WeekKey

Listener = Callable[[str, str], None]
"""Called with an asset's name and 'started' or 'done'."""

_STEP_EVENTS = {"STEP_START": "started", "STEP_SUCCESS": "done"}


class GraphRunError(RuntimeError):
    """A step of the graph failed, or a blocking check did; the message says which and why."""


def run_graph(
    home: Home,
    job: str,
    *,
    listener: Listener,
    partition_key: str | None = None,
    records_folder: Path | None = None,
    told_by: datetime | None = None,
    made: Made | None = None,
) -> dg.ExecuteInProcessResult:
    """The result of one job, e.g. 'load_records' or 'week_report'.

    Given `told_by`, the week is restated: worked out with what was known at that instant, into
    a folder of its own beside the week as it was known.  `made` says who asked for a week.
    A week that the records of single hulls end is worked out again without them.

    Raises:
        GraphRunError: a step failed; the text is its own error, without the traceback.
    """
    os.environ["DAGSTER_HOME"] = str(home.dagster)
    os.environ["DAGSTER_DISABLE_TELEMETRY"] = "1"
    config: dict[str, Any] = {"loggers": {"progress": {}}}
    if partition_key is not None:
        carry_over(home)
        config |= made_config(made or Made())
    with quick_log(home.dagster), dg.DagsterInstance.get() as instance:
        definitions = build_definitions(home, records_folder, _listening_logger(listener), told_by)

        def run() -> dg.ExecuteInProcessResult:
            return definitions.resolve_job_def(job).execute_in_process(
                instance=instance,
                partition_key=partition_key,
                run_config=config,
                raise_on_error=False,
            )

        result = run()
        step = _ended_by_records(result)
        if partition_key is not None and step is not None:
            listener(f"whose records end {step}", "started")
            left_out = left_out_of_week(home, WeekKey(partition_key, told_by), GRAPH, step)
            if left_out:
                config |= made_config(made or Made(), left_out)
                result = run()
    if not result.success:
        raise GraphRunError(_why(result))
    if partition_key is not None:
        tidy(home, GRAPH, WeekKey(partition_key, told_by))
        make_views(home)  # a cut-off run may have left the last file of a table that is tidied away
    return result


def _listening_logger(listener: Listener) -> dg.LoggerDefinition:
    class Handler(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            event = getattr(record, "dagster_meta", {}).get("dagster_event")
            if event is not None and event.event_type_value in _STEP_EVENTS:
                listener(event.step_key, _STEP_EVENTS[event.event_type_value])

    @dg.logger
    def progress(_context: dg.InitLoggerContext) -> logging.Logger:
        logger = logging.Logger("ringland.progress", logging.DEBUG)
        logger.addHandler(Handler())
        return logger

    return progress


def _ended_by_records(result: dg.ExecuteInProcessResult) -> str | None:
    """The step that failed by what nobody foresaw; None: none did."""
    for event in result.all_events:
        if event.event_type_value == "STEP_FAILURE" and (error := _cause(event)) is not None:
            step = str(event.step_key).rpartition("__")[2]
            is_foreseen = error.cls_name in TOLD_IN_WORDS or _is_full(error.message)
            return None if is_foreseen or step not in GRAPH.steps else step
    return None


def _cause(event: dg.DagsterEvent) -> Any:
    """What a step failed by, Dagster's own wrappings taken off."""
    error = event.step_failure_data.error
    while error is not None and error.cause is not None and error.cls_name not in TOLD_IN_WORDS:
        error = error.cause
    return error


def _is_full(message: str) -> bool:
    return "No space left on device" in message or "database or disk is full" in message


def _why(result: dg.ExecuteInProcessResult) -> str:
    for event in result.all_events:
        if event.event_type_value == "STEP_FAILURE":
            error = _cause(event)
            message = error.message.strip() if error is not None else "no reason given"
            if _is_full(message):
                return f"{event.step_key}: {FULL} ({message})"
            if error is not None and error.cls_name in TOLD_IN_WORDS:
                return message.split(": ", 1)[-1]  # Dagster puts the class before it
            return f"{event.step_key}: {message}"
    for evaluation in result.get_asset_check_evaluations():
        if not evaluation.passed and evaluation.severity is dg.AssetCheckSeverity.ERROR:
            facts = "; ".join(f"{name}: {fact.value}" for name, fact in evaluation.metadata.items())
            return f"check not passed: {evaluation.check_name.replace('_', ' ')}: {facts}"
    return "the run did not succeed; see the Dagster page for its log"
