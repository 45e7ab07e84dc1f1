"""The pages that show on what the week's figures rest: fuel rules, docks, model card, lineage."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from ringland.decision.value.season_rules import SeasonRules
from ringland.pages.docks.docks_page import docks_context, docks_table
from ringland.pages.fuel_rules.fuel_rules_page import rules_context, rules_table
from ringland.pages.lineage.effect_lineage import lineage_table
from ringland.pages.lineage.lineage_page import lineage_context
from ringland.pages.model_card.model_card_page import card_context, card_json
from ringland.pages.week.week_report import WeekReport
from ringland.score.model_card import ModelCard
from ringland.score.score_history import ScoreHistory

CARD_JSON = "tables/model-card.json"


@dataclass(frozen=True)
class FleetProof:
    """What these pages are made from.

    `docks` is `DockRows`; `sets` as `sets_behind` returns them.
    """

    rules: SeasonRules
    docks: pl.DataFrame
    card: ModelCard
    sets: pl.DataFrame


PROOF_PAGES = {
    "rules": "fuel-rules.html",
    "docks": "docks.html",
    "card": "model-card.html",
    "lineage": "behind-the-effects.html",
}
"""The pages by the name the navigation knows them under."""


def proof_contexts(
    report: WeekReport, proof: FleetProof, score: ScoreHistory | None, pages: Mapping[str, str]
) -> dict[str, tuple[str, dict[str, Any]]]:
    """Template and context of each page by its name; `figures` holds the pictures.

    Args:
        report: the week.
        proof: what the pages are made from.
        score: how earlier weeks' advice fared, if that is known.
        pages: the page of each hull, as `hull_pages` returns them.
    """
    control = proof.card.control.sentence
    return {
        "rules": ("fuel_rules.html.j2", rules_context(report, proof.rules, control)),
        "docks": ("docks.html.j2", docks_context(report, proof.docks)),
        "card": ("model_card.html.j2", card_context(report, proof.card, score)),
        "lineage": ("lineage.html.j2", lineage_context(report, proof.sets, pages)),
    }


def proof_tables(report: WeekReport, proof: FleetProof) -> dict[str, pl.DataFrame]:
    """The tables that join the week's exports, by name."""
    return {
        "fuel_rules": rules_table(proof.rules, report.prices.currency),
        "docks_compared": docks_table(proof.docks),
        "piston_sets_behind": lineage_table(proof.sets),
    }


def proof_files(report: WeekReport, proof: FleetProof) -> dict[str, bytes]:
    """What stands beside the tables, by path."""
    return {CARD_JSON: card_json(report, proof.card)}
