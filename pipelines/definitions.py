"""The one place where assets, checks, jobs, schedule, sensor and resources are put together."""

from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import dagster as dg

from pipelines import (
    failure_causes,
    fleet_risk,
    fuel_exposure,
    fuel_rules,
    score,
    service_week,
    shop_records,
    week_checks,
    week_pages,
)
from pipelines.asset_story import told
from pipelines.drop_folder import drop_folder_sensor
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.home import Home
from pipelines.resources import ShopFolders
from pipelines.weeks import current_week

_RECORDS = dg.AssetSelection.assets(
    *shop_records.record_assets, shop_records.corrections, shop_records.set_aside
)
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
    selection=dg.AssetSelection.assets(
        service_week.week_decisions, score.challenger_chances
    ).upstream()
    - _RECORDS,
    description="A past week's chances and calls from what was known then, without its pages.",
)


def monday_schedule(zone: ZoneInfo) -> dg.ScheduleDefinition:
    """Asks for a week's report on the morning it begins, on the shop's clock."""

    @dg.schedule(job=week_report, cron_schedule="0 5 * * 1", execution_timezone=zone.key)
    def every_monday(context: dg.ScheduleEvaluationContext) -> dg.RunRequest:
        """The report of the week that begins today."""
        return dg.RunRequest(partition_key=current_week(context.scheduled_execution_time, zone))

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
    rooms = [
        shop_records,
        fuel_exposure,
        fleet_risk,
        service_week,
        fuel_rules,
        score,
        failure_causes,
        week_pages,
    ]
    return dg.Definitions(
        assets=dg.map_asset_specs(
            told,
            [
                asset
                for asset in dg.load_assets_from_modules(rooms)
                if isinstance(asset, dg.AssetsDefinition)  # the rooms hold no other kind
            ],
        ),
        asset_checks=dg.load_asset_checks_from_modules([*rooms, week_checks]),
        jobs=[load_records, week_report, past_week],
        schedules=[monday_schedule(home.facts().zone)],
        sensors=[drop_folder_sensor(home.drop, load_records)],
        # One DuckDB file takes one writer; several processes would only wait for each other.
        executor=dg.in_process_executor,
        loggers={"progress": progress} if progress else None,
        resources={
            "warehouse": DuckDBWarehouse(
                database=str(home.database), told_by=told_by.isoformat() if told_by else ""
            ),
            "shop": ShopFolders(home=str(home.folder), records=str(records_folder or home.drop)),
        },
    )


defs = build_definitions(Home.here())
