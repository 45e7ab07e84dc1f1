"""What the pages of proof are made from, for the small fleet."""

from __future__ import annotations

import numpy as np

from ringland.fleet_risk.challenger import Contest
from ringland.fleet_risk.dock_comparison import compare_docks
from ringland.fleet_risk.model_card import make_model_card
from ringland.service_week.action_prices import prices
from ringland.service_week.catalogue_file import default_catalogue
from ringland.service_week.hazard_ahead import planning_hazard
from ringland.service_week.season_rules import season_rules
from ringland.week_pages.effect_lineage import sets_behind
from ringland.week_pages.proof_pages import FleetProof
from tests.service_week.small_fleet import AS_OF, SETTINGS, SmallFleet

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
