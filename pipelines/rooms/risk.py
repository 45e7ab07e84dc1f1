"""Steps of the room `risk`: what the fleet's lives say about its failures."""

import numpy as np
import polars as pl

from pipelines.asset_figures import Figures, picture, rows, survival_picture, table
from pipelines.weekly.step import step
from ringland.decision.value.hazard_ahead import planning_hazard
from ringland.risk import dock_comparison as docks
from ringland.risk.dock_comparison import DockRows
from ringland.risk.fleet_evidence import FleetEvidence, fleet_evidence
from ringland.risk.fleet_hazard import FleetFits, fit_fleet
from ringland.risk.shared_effects import SharedEffects
from ringland.settings.assumptions import Assumptions

ROOM = "risk"
DRAW_SEED = 19140628  # any fixed number: the same records must give the same draws


def _fit_figures(fits: FleetFits) -> Figures:
    return {
        "failures": {fit.mode: fit.n_failures for fit in fits.modes},
        "doubtful": [fit.mode for fit in fits.modes if fit.is_doubtful],
        "problems": [fit.problem for fit in fits.modes if fit.problem],
        "cannot_separate": list(fits.cannot_separate),
    }


@step(ROOM, figures=_fit_figures)
def fleet_fits(
    spells: pl.DataFrame, assumptions: Assumptions, shared_effects: SharedEffects | None
) -> FleetFits:
    """The hazard models of the week: ring-land fracture and ring wear, with Cox beside them."""
    return fit_fleet(spells, assumptions, np.random.default_rng(DRAW_SEED), shared_effects)


def _evidence_figures(found: FleetEvidence) -> Figures:
    drawing = survival_picture(found.curves[0].steps)
    return {
        "piston_sets": found.n_sets,
        "running": found.n_running,
        "failures": table(found.mode_counts),
        "effects": table(found.effects, most=24),
        "ring_land_life": picture(drawing, "Share of piston sets still whole by hours"),
    }


@step(ROOM, figures=_evidence_figures)
def evidence(
    piston_lives: pl.DataFrame,
    spells: pl.DataFrame,
    fleet_fits: FleetFits,
    assumptions: Assumptions,
    shared_effects: SharedEffects | None,
) -> FleetEvidence:
    """Survival curves, cumulative incidence and effects with limits and failure counts."""
    return fleet_evidence(piston_lives, spells, fleet_fits, assumptions, shared_effects)


def _dock_figures(found: pl.DataFrame) -> Figures:
    shown = found.select("dock_id", "n_failures", "rate", "rate_low", "rate_high", "ratio")
    return {**rows(found.height), "comparison": table(shown)}


@step(ROOM, tables={"rows": DockRows}, figures=_dock_figures)
def dock_comparison(
    spells: pl.DataFrame,
    session_exposure: pl.DataFrame,
    fleet_fits: FleetFits,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """Each dock's fuel, failures per 1000 hours and ratio to what was expected, one row a dock."""
    hazard = None if fleet_fits.cannot_tell else planning_hazard(fleet_fits, assumptions)
    return docks.compare_docks(spells, session_exposure, hazard, assumptions)
