"""What each fuel rule goes with over the last year's use, and what it costs at the pump."""

from pathlib import Path

import dagster as dg
import polars as pl

from pipelines.asset_figures import rows
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.fuel_exposure import session_exposure, spells
from pipelines.home import Home
from pipelines.resources import ShopFolders
from pipelines.shop_week import shop_catalogue
from pipelines.weeks import WEEKS
from ringland.contracts.fuel_tables import SessionExposure, Spells
from ringland.decision.action_prices import prices
from ringland.decision.fuel_rules import WHOLE_FLEET
from ringland.decision.hazard_ahead import planning_hazard
from ringland.decision.season_rules import SeasonRuleOutcomes, SeasonRules, season_rules
from ringland.history.known_then import known_by
from ringland.risk.fleet_hazard import FleetFits

ROOM = "service_week"


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[session_exposure, spells],
    ins={"fleet_fits": dg.AssetIn(key_prefix="fleet_risk")},
)
def fuel_rules(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
) -> dg.Output[SeasonRules]:
    """Failures and money under each fuel rule over a year's use, one row per rule and dock."""
    as_of = shop.as_of(context.partition_key)
    settings = shop.assumptions()
    records = known_by(warehouse.read_records(), as_of)
    found = season_rules(
        warehouse.read_week("fuel_exposure.spells", Spells, as_of),
        warehouse.read_week("fuel_exposure.session_exposure", SessionExposure, as_of),
        records["deliveries"],
        None if fleet_fits.cannot_tell else planning_hazard(fleet_fits, settings),
        as_of=as_of,
        prices=prices(records["costs"], as_of.year, settings),
        catalogue=shop_catalogue(Home(Path(shop.home)), settings),
        assumptions=settings,
    )
    warehouse.write_week(f"{ROOM}.fuel_rules", SeasonRuleOutcomes, found.outcomes, as_of)
    fleet = found.outcomes.filter(pl.col("dock_id") == WHOLE_FLEET)
    return dg.Output(
        found,
        metadata={
            "since": found.since.date().isoformat(),
            "failures_behind_the_hazard": found.n_failures,
            "problem": found.problem or "none",
            **rows(found.outcomes.height),
            "verdicts": dg.MetadataValue.json(dict(fleet.select("label", "verdict").iter_rows())),
        },
    )
