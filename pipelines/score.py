"""The score of past weeks' advice: what was said of each hull, against what then happened."""

import dagster as dg
import numpy as np
import polars as pl

from pipelines.asset_figures import table
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.resources import ShopFolders
from pipelines.service_week import week_decisions
from pipelines.weeks import WEEKS, as_of_week
from ringland.fleet_risk.score_history import ScoreHistory, score_history
from ringland.fleet_risk.score_outcomes import failures_at_stake, sets_taken_out
from ringland.shop_records.tables import PistonLives

ROOM = "fleet_risk"
DRAW_SEED = 19140630  # any fixed number: the same weeks must give the same limits


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"python"}, deps=[week_decisions]
)
def score(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.Output[ScoreHistory]:
    """How the advice of earlier weeks fared, as known at this week; backfill weeks to fill it."""
    as_of = as_of_week(context.partition_key)
    lives = warehouse.read_week("shop_records.piston_lives", PistonLives, as_of)
    found = score_history(
        earlier_weeks(warehouse, "service_week.hull_chances", as_of),
        earlier_weeks(warehouse, "service_week.hull_calls", as_of),
        earlier_weeks(warehouse, "fuel_exposure.current_exposure", as_of),
        failures=failures_at_stake(lives),
        taken_out=sets_taken_out(lives),
        followed_to=as_of,
        assumptions=shop.assumptions(),
        rng=np.random.default_rng(DRAW_SEED),
    )
    return dg.Output(
        found,
        metadata={
            "counts": dg.MetadataValue.json(dict(found.counts)),
            "flagged_hull_weeks": found.flagged,
            "failed_after_flag": found.failed_after_flag,
            "failed_without_flag": found.failed_without_flag,
            "scores": table(found.scores),
            "said_against_happened": table(found.groups),
        },
    )


def earlier_weeks(warehouse: DuckDBWarehouse, table: str, as_of: object) -> pl.DataFrame:
    """All weeks of a table before one, in order."""
    return warehouse.read(f"select * from {table} where as_of < ? order by as_of, hull_id", [as_of])
