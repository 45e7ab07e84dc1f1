"""The one place where assets, checks, jobs, schedule, sensor and resources are put together."""

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import dagster as dg

from pipelines import week_checks
from pipelines.asset_story import told
from pipelines.drop_folder import drop_folder_sensor
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.home import Home
from pipelines.kept_backups import week_backup
from pipelines.resources import ShopFolders
from pipelines.rooms import intake
from pipelines.week_graph import GRAPH
from pipelines.week_site import site_asset
from pipelines.weekly.assets import (
    WeekFiles,
    Weeks,
    contract_checks,
    key_of,
    made_config,
    week_assets,
)
from pipelines.weekly.step import Keep
from pipelines.weekly.store import Made
from pipelines.weeks import current_week

RECORD_ASSETS = [*intake.record_assets, intake.corrections, intake.set_aside]
_RECORDS = dg.AssetSelection.assets(*RECORD_ASSETS)
_SAID = [key_of(step) for step in GRAPH.steps.values() if step.keep is Keep.SAID]
load_records = dg.define_asset_job(
    "load_records",
    selection=_RECORDS,
    description="Take in the record files of the drop folder.",
)
week_report = dg.define_asset_job(
    "week_report",
    selection=dg.AssetSelection.all() - _RECORDS,
    description="From the records known at an as-of week to its report.",
)
past_week = dg.define_asset_job(
    "past_week",
    selection=dg.AssetSelection.assets(*_SAID).upstream() - _RECORDS,
    description="A past week's chances and calls from what was known then, without its pages.",
)


past_advice = dg.define_asset_job(
    "past_advice",
    selection=dg.AssetSelection.assets(key_of(GRAPH.steps["week_decisions"])).upstream() - _RECORDS,
    description="A past week's chances and calls alone, without the challenger's: for the demo.",
)


def monday_schedule(zone: ZoneInfo) -> dg.ScheduleDefinition:
    """Asks for a week's report on the morning it begins, on the shop's clock."""

    @dg.schedule(job=week_report, cron_schedule="0 5 * * 1", execution_timezone=zone.key)
    def every_monday(context: dg.ScheduleEvaluationContext) -> dg.RunRequest:
        """The report of the week that begins today."""
        asked_at = context.scheduled_execution_time
        made = Made(asked_at.isoformat(), "the schedule", is_given_out=True)
        return dg.RunRequest(
            partition_key=current_week(asked_at, zone), run_config=made_config(made)
        )

    return every_monday


def build_definitions(
    home: Home,
    records_folder: Path | None = None,
    progress: dg.LoggerDefinition | None = None,
    told_by: datetime | None = None,
) -> dg.Definitions:
    """The whole graph for one shop; records come from its drop folder unless told otherwise.

    Given `told_by`, weeks are worked out with what was known at that later instant.
    """
    assets = [*RECORD_ASSETS, *week_assets(GRAPH, intake.ALL_RECORDS), site_asset, week_backup]
    key = {"home": str(home.folder), "told_by": told_by.isoformat() if told_by else ""}
    return dg.Definitions(
        assets=dg.map_asset_specs(told, assets),
        asset_checks=[
            *dg.load_asset_checks_from_modules([intake, week_checks]),
            *contract_checks(GRAPH),
        ],
        jobs=[load_records, week_report, past_week, past_advice],
        schedules=[monday_schedule(home.facts().zone)],
        sensors=[drop_folder_sensor(home.drop, load_records)],
        # One DuckDB file takes one writer; several processes would only wait for each other.
        executor=dg.in_process_executor,
        loggers={"progress": progress} if progress else None,
        resources={
            "warehouse": DuckDBWarehouse(database=str(home.database)),
            "shop": ShopFolders(home=str(home.folder), records=str(records_folder or home.drop)),
            "weeks": Weeks(**key),
            "week_files": WeekFiles(**key),
        },
    )


defs = build_definitions(Home.here())
