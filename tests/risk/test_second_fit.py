"""The second program agrees with ours, and a planted error of ours is seen on every page."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from ringland.pages.site.report_page import build_site
from ringland.risk.fleet_hazard import CoxEvidence, FleetFits
from ringland.risk.second_fit import second_fit
from ringland.settings.assumptions import load_assumptions
from tests.decision.small_fleet import SmallFleet, small_fleet

SETTINGS = load_assumptions()
DOUBT = b"a second program gives other figures"


def with_shifted_effect(fits: FleetFits, by: float) -> FleetFits:
    """The fits with the first Cox coefficient wrong by so many standard errors."""
    fit = fits.cox.fit
    assert fit is not None
    coef = fit.coef.copy()
    coef[0] += by * float(np.sqrt(fit.covariance[0, 0]))
    return replace(fits, cox=CoxEvidence(replace(fit, coef=coef), None))


@pytest.fixture(scope="module")
def fleet() -> SmallFleet:
    return small_fleet()


def test_lifelines_gives_the_same_curve_and_effects(fleet: SmallFleet) -> None:
    fits = fleet.fits()
    found = second_fit(fleet.spells, fits, SETTINGS)
    assert fits.cox.fit is not None
    assert found.rows["quantity"].to_list() == ["survival", *fits.cox.fit.names]
    assert found.differs == ()
    # lifelines stops at 1e-12 in its gradient; both solve the same equations
    assert found.rows["second"].to_numpy() == pytest.approx(found.rows["ours"].to_numpy(), rel=1e-6)


def test_an_effect_that_is_off_is_a_doubt_on_every_page(fleet: SmallFleet) -> None:
    report = fleet.report()
    fits = with_shifted_effect(report.fits, by=0.02)
    second = second_fit(fleet.spells, fits, SETTINGS)
    doubted = replace(report, evidence=replace(report.evidence, second=second))
    assert len(second.differs) == 1
    pages = {name: text for name, text in build_site(doubted).items() if name.endswith(".html")}
    shown = [name for name, text in pages.items() if DOUBT in text]
    assert set(pages) - set(shown) <= {"mail/digest.html"}
    assert not any(DOUBT in text for text in build_site(report).values())


def test_without_a_failure_there_is_no_second_fit_and_it_says_why(fleet: SmallFleet) -> None:
    none = fleet.spells.with_columns(mode=pl.lit(None, pl.String))
    quiet = replace(fleet, spells=none)
    found = second_fit(none, quiet.fits(), SETTINGS)
    assert found.differs == ()
    assert found.problem
