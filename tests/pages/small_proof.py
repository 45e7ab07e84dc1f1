"""What the pages of proof are made from, for the small fleet."""

from __future__ import annotations

import numpy as np

from ringland.decision.actions.action_prices import prices
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.hazard_ahead import planning_hazard
from ringland.decision.value.season_rules import season_rules
from ringland.pages.lineage.effect_lineage import sets_behind
from ringland.pages.site.proof_pages import FleetProof
from ringland.risk.dock_comparison import compare_docks
from ringland.score.challenger import Contest
from ringland.score.model_card import make_model_card
from tests.decision.small_fleet import AS_OF, SETTINGS, SmallFleet

UNDECIDED = Contest(0, 0, 0, None, None, None, True, "Not enough scored weeks to say.")


def small_proof(fleet: SmallFleet) -> FleetProof:
    """The proof as the pipeline makes it, no week scored yet."""
    fits = fleet.fits()
    hazard = planning_hazard(fits, SETTINGS)
    return FleetProof(
        rules=season_rules(
            fleet.spells,
            fleet.exposure,
            fleet.records["deliveries"],
            hazard,
            as_of=AS_OF,
            prices=prices(fleet.records["costs"], AS_OF.year, SETTINGS),
            catalogue=default_catalogue(SETTINGS),
            assumptions=SETTINGS,
        ),
        docks=compare_docks(fleet.spells, fleet.exposure, hazard, SETTINGS),
        card=make_model_card(
            fleet.spells,
            fits,
            UNDECIDED,
            as_of=AS_OF,
            assumptions=SETTINGS,
            rng=np.random.default_rng(5),
        ),
        sets=sets_behind(fleet.lives, fleet.spells, fleet.records),
    )
