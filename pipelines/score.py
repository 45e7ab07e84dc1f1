"""The score of past weeks' advice against what then happened, and the model card it decides."""

import dagster as dg
import numpy as np
import polars as pl

from pipelines.asset_figures import rows, table
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.fuel_exposure import current_exposure, spells
from pipelines.resources import ShopFolders
from pipelines.service_week import week_decisions
from pipelines.weeks import WEEKS
from ringland.contracts.fuel_tables import CurrentExposure, Spells
from ringland.contracts.record_tables import PistonLives
from ringland.contracts.risk_tables import HullChances
from ringland.risk.fleet_hazard import FleetFits
from ringland.score import challenger
from ringland.score.challenger import ChallengerChances, contest
from ringland.score.model_card import ModelCard, make_model_card
from ringland.score.score_history import ScoreHistory, score_history
from ringland.score.score_outcomes import failures_at_stake, sets_taken_out
from ringland.words.manner import in_manner

ROOM = "fleet_risk"
DRAW_SEED = 19140630  # any fixed number: the same weeks must give the same limits


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"python"}, deps=[week_decisions]
)
def score(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.Output[ScoreHistory]:
    """How the advice of earlier weeks fared, as known at this week; backfill weeks to fill it."""
    as_of = shop.as_of(context.partition_key)
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


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[week_decisions, current_exposure, spells],
    ins={"fleet_fits": dg.AssetIn(key_prefix=ROOM)},
)
def challenger_chances(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
) -> dg.MaterializeResult:
    """What the challenger would have said of each hull, kept to be judged and never shown."""
    as_of = shop.as_of(context.partition_key)
    found = challenger.challenger_chances(
        warehouse.read_week("fuel_exposure.spells", Spells, as_of),
        warehouse.read_week("fuel_exposure.current_exposure", CurrentExposure, as_of),
        warehouse.read_week("service_week.hull_chances", HullChances, as_of),
        fleet_fits,
        shop.assumptions(),
    )
    warehouse.write_week(f"{ROOM}.challenger_chances", ChallengerChances, found, as_of)
    return dg.MaterializeResult(metadata={"hulls": found.height, **rows(found.height)})


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"python"},
    deps=[challenger_chances, spells],
    ins={"fleet_fits": dg.AssetIn(key_prefix=ROOM)},
)
def model_card(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
) -> dg.Output[ModelCard]:
    """What the model in use is: its data, priors, checks, negative control and its challenger."""
    as_of = shop.as_of(context.partition_key)
    settings = shop.assumptions()
    lives = warehouse.read_week("shop_records.piston_lives", PistonLives, as_of)
    with in_manner(shop.manner()):  # its verdicts carry figures
        judged = contest(
            earlier_weeks(warehouse, "service_week.hull_chances", as_of),
            earlier_weeks(warehouse, f"{ROOM}.challenger_chances", as_of),
            failures=failures_at_stake(lives),
            taken_out=sets_taken_out(lives),
            followed_to=as_of,
            assumptions=settings,
            rng=np.random.default_rng(DRAW_SEED),
        )
        card = make_model_card(
            warehouse.read_week("fuel_exposure.spells", Spells, as_of),
            fleet_fits,
            judged,
            as_of=as_of,
            assumptions=settings,
            rng=np.random.default_rng(DRAW_SEED),
        )
    return dg.Output(
        card,
        metadata={
            "spells_sha256": card.data.sha256,
            "contest": card.contest.verdict,
            "negative_control": card.control.sentence,
            "checks": dg.MetadataValue.json(
                {name: found.outcome for name, found in card.checks.items()}
            ),
        },
    )


def earlier_weeks(warehouse: DuckDBWarehouse, table: str, as_of: object) -> pl.DataFrame:
    """All weeks of a table before one, in order."""
    return warehouse.read(f"select * from {table} where as_of < ? order by as_of, hull_id", [as_of])
