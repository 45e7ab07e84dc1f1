"""Steps of the room `score`: past weeks' advice against what happened, and the model card."""

import numpy as np
import polars as pl

from pipelines.asset_figures import Figures, rows, table
from pipelines.rooms.decision import CALLS, CHANCES
from pipelines.weekly.givens import Clock
from pipelines.weekly.step import Earlier, Keep, step
from ringland.contracts.fuel_tables import CurrentExposure
from ringland.decision.week_decisions import WeekDecisions
from ringland.decision.week_tables import WeekTables
from ringland.risk.fleet_hazard import FleetFits
from ringland.score import challenger
from ringland.score import score_history as history
from ringland.score import weeks_ahead as by_week
from ringland.score.challenger import ChallengerChances, contest
from ringland.score.model_card import ModelCard, make_model_card
from ringland.score.score_history import ScoreHistory
from ringland.score.score_outcomes import failures_at_stake, sets_taken_out
from ringland.score.weeks_ahead import WeeksAhead
from ringland.settings.assumptions import Assumptions
from ringland.words.manner import Manner, in_manner

ROOM = "score"
DRAW_SEED = 19140630  # any fixed number: the same weeks must give the same limits


def _score_figures(found: ScoreHistory) -> Figures:
    return {
        "counts": dict(found.counts),
        "flagged_hull_weeks": found.flagged,
        "failed_after_flag": found.failed_after_flag,
        "failed_without_flag": found.failed_without_flag,
        "scores": table(found.scores),
        "said_against_happened": table(found.groups),
    }


@step(
    ROOM,
    earlier={
        "past_chances": CHANCES,
        "past_calls": CALLS,
        "past_exposure": Earlier("current_exposure", "rows", CurrentExposure),
    },
    figures=_score_figures,
)
def score(
    past_chances: pl.DataFrame,
    past_calls: pl.DataFrame,
    past_exposure: pl.DataFrame,
    piston_lives: pl.DataFrame,
    week_decisions: WeekDecisions,
    clock: Clock,
    assumptions: Assumptions,
) -> ScoreHistory:
    """How the advice of earlier weeks fared, as known at this week; backfill weeks to fill it."""
    return history.score_history(
        past_chances,
        past_calls,
        past_exposure,
        failures=failures_at_stake(piston_lives),
        taken_out=sets_taken_out(piston_lives),
        followed_to=clock.as_of,
        assumptions=assumptions,
        rng=np.random.default_rng(DRAW_SEED),
        jobs=week_decisions.jobs,
    )


@step(
    ROOM,
    tables={"rows": WeeksAhead},
    earlier={"past_chances": CHANCES},
    figures=lambda found: {**rows(found.height), "seen_against_said": table(found)},
)
def weeks_ahead(
    past_chances: pl.DataFrame,
    piston_lives: pl.DataFrame,
    week_tables: WeekTables,
    fleet_fits: FleetFits,
    clock: Clock,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """Failures seen against those earlier weeks said, by how many weeks ahead they were said."""
    return by_week.weeks_ahead(
        past_chances,
        failures=failures_at_stake(piston_lives),
        taken_out=sets_taken_out(piston_lives),
        followed_to=clock.as_of,
        common=by_week.common_share(fleet_fits, week_tables.running, assumptions),
        assumptions=assumptions,
    )


@step(
    ROOM,
    tables={"rows": ChallengerChances},
    keep=Keep.SAID,
    figures=lambda found: rows(found.height),
)
def challenger_chances(
    spells: pl.DataFrame,
    current_exposure: pl.DataFrame,
    week_tables: WeekTables,
    fleet_fits: FleetFits,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """What the challenger would have said of each hull, kept to be judged and never shown."""
    return challenger.challenger_chances(
        spells, current_exposure, week_tables.chances, fleet_fits, assumptions
    )


def _card_figures(card: ModelCard) -> Figures:
    checks = {name: found.outcome for name, found in card.checks.items()}
    return {
        "spells_sha256": card.data.sha256,
        "contest": card.contest.verdict,
        "negative_control": card.control.sentence,
        "checks": checks,
    }


@step(
    ROOM,
    earlier={
        "past_chances": CHANCES,
        "past_challenger": Earlier("challenger_chances", "rows", ChallengerChances),
    },
    figures=_card_figures,
)
def model_card(
    past_chances: pl.DataFrame,
    past_challenger: pl.DataFrame,
    piston_lives: pl.DataFrame,
    spells: pl.DataFrame,
    fleet_fits: FleetFits,
    weeks_ahead: pl.DataFrame,
    clock: Clock,
    assumptions: Assumptions,
    manner: Manner,
) -> ModelCard:
    """What the model in use is: its data, priors, checks, negative control and its challenger."""
    with in_manner(manner):  # its verdicts carry figures
        judged = contest(
            past_chances,
            past_challenger,
            failures=failures_at_stake(piston_lives),
            taken_out=sets_taken_out(piston_lives),
            followed_to=clock.as_of,
            assumptions=assumptions,
            rng=np.random.default_rng(DRAW_SEED),
        )
        return make_model_card(
            spells,
            fleet_fits,
            judged,
            as_of=clock.as_of,
            assumptions=assumptions,
            rng=np.random.default_rng(DRAW_SEED),
            ahead=weeks_ahead,
        )
