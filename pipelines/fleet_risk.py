"""Assets of the room `fleet_risk`: what the fleet's lives say about its failures."""

import dagster as dg
import numpy as np

from pipelines.asset_figures import picture, rows, survival_picture, table
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.fuel_exposure import session_exposure, spells
from pipelines.resources import ShopFolders
from pipelines.shop_records import piston_lives
from pipelines.weeks import WEEKS
from ringland.contracts.fuel_tables import SessionExposure, Spells
from ringland.contracts.record_tables import PistonLives
from ringland.decision.hazard_ahead import planning_hazard
from ringland.risk.dock_comparison import DockRows, compare_docks
from ringland.risk.fleet_evidence import FleetEvidence, fleet_evidence
from ringland.risk.fleet_hazard import FleetFits, fit_fleet

ROOM = "fleet_risk"
DRAW_SEED = 19140628  # any fixed number: the same records must give the same draws


@dg.asset(key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"python"}, deps=[spells])
def fleet_fits(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.Output[FleetFits]:
    """The hazard models of the week: ring-land fracture and ring wear, with Cox beside them."""
    as_of = shop.as_of(context.partition_key)
    fits = fit_fleet(
        warehouse.read_week("fuel_exposure.spells", Spells, as_of),
        shop.assumptions(),
        np.random.default_rng(DRAW_SEED),
    )
    return dg.Output(
        fits,
        metadata={
            "failures": dg.MetadataValue.json({fit.mode: fit.n_failures for fit in fits.modes}),
            "doubtful": dg.MetadataValue.json([f.mode for f in fits.modes if f.is_doubtful]),
            "problems": dg.MetadataValue.json([f.problem for f in fits.modes if f.problem]),
            "cannot_separate": dg.MetadataValue.json(list(fits.cannot_separate)),
        },
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"python"},
    deps=[piston_lives, spells],
    ins={"fleet_fits": dg.AssetIn(key_prefix=ROOM)},
)
def evidence(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
) -> dg.Output[FleetEvidence]:
    """Survival curves, cumulative incidence and effects with limits and failure counts."""
    as_of = shop.as_of(context.partition_key)
    lives = warehouse.read_week("shop_records.piston_lives", PistonLives, as_of)
    stretches = warehouse.read_week("fuel_exposure.spells", Spells, as_of)
    found = fleet_evidence(lives, stretches, fleet_fits, shop.assumptions())
    return dg.Output(
        found,
        metadata={
            "piston_sets": found.n_sets,
            "running": found.n_running,
            "failures": table(found.mode_counts),
            "effects": table(found.effects, most=24),
            "ring_land_life": picture(
                survival_picture(found.curves[0].steps), "Share of piston sets still whole by hours"
            ),
        },
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[spells, session_exposure],
    ins={"fleet_fits": dg.AssetIn(key_prefix=ROOM)},
)
def dock_comparison(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
) -> dg.MaterializeResult:
    """Each dock's fuel, failures per 1000 hours and ratio to what was expected, one row a dock."""
    as_of = shop.as_of(context.partition_key)
    settings = shop.assumptions()
    docks = compare_docks(
        warehouse.read_week("fuel_exposure.spells", Spells, as_of),
        warehouse.read_week("fuel_exposure.session_exposure", SessionExposure, as_of),
        None if fleet_fits.cannot_tell else planning_hazard(fleet_fits, settings),
        settings,
    )
    warehouse.write_week(f"{ROOM}.dock_comparison", DockRows, docks, as_of)
    return dg.MaterializeResult(
        metadata={
            "docks": docks.height,
            **rows(docks.height),
            "comparison": table(
                docks.select("dock_id", "n_failures", "rate", "rate_low", "rate_high", "ratio")
            ),
            "failures": dg.MetadataValue.json(
                dict(docks.select("dock_id", "n_failures").iter_rows())
            ),
        }
    )
