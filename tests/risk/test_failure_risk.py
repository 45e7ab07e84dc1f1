"""Chances against the Weibull formula by hand, and what must hold for any fleet."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special

from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.exposure_error import ExposureError
from ringland.risk.failure_risk import (
    chance_with_range,
    chances_ahead,
    hazards_shown,
    hull_chances,
    hull_drivers,
    log_ratio,
)
from ringland.risk.fleet_hazard import CoxEvidence, FleetFits, ModeFit
from tests.decision.small_fleet import SETTINGS, small_fleet
from tests.survival.hazard_cases import given_hazard

NO_ERROR = ExposureError({}, {}, 0.0, 0.0)
STEPS = 3e-3  # the hazard is held over steps of age 4 % apart


def mode_fit(mode: str, names: tuple[str, ...], draws: list[list[float]]) -> ModeFit:
    """A fit whose draws of (log shape, log scale, effects per step of 1) are given."""
    hazard = given_hazard(names, draws)
    return ModeFit(mode, names, {}, 3, 20, hazard, None, is_doubtful=True, error=NO_ERROR)


def fits_of(*modes: ModeFit) -> FleetFits:
    return FleetFits(modes, CoxEvidence(None, "not fitted"), (), NO_ERROR)


def running_set(**values: Any) -> pl.DataFrame:
    row = dict.fromkeys(COVARIATES, 0.0) | {
        "hull_id": "H1",
        "dock_id": "north",
        "engine_id": "E1",
        "piston_set_id": "P1",
        "age_h": 100.0,
        "use_h_d": 1.0,
        "known_share_25h": 1.0,
        "throttle_known_share": 1.0,
        "shortfall_25h_low_on": 0.0,
        "shortfall_25h_high_on": 0.0,
        "why_not": None,
    }
    return pl.DataFrame([row | values], schema_overrides={"why_not": pl.String})


LAND = ("shortfall_25h_on",)
LOG_2, LOG_1000 = math.log(2.0), math.log(1000.0)


def test_chance_is_the_weibull_conditional_failure_probability() -> None:
    """Shape 2, scale 1,000 h, age 100 h, 30 h ahead: H = (130^2 - 100^2) / 1000^2 = 0.0069."""
    fits = fits_of(mode_fit("ring_land_fracture", (), [[LOG_2, LOG_1000]]))

    chance = chances_ahead(fits, running_set(), np.array([100.0]), np.array([30.0]), SETTINGS)

    assert chance == pytest.approx(1 - math.exp(-0.0069), rel=STEPS)


def test_hazards_of_both_modes_add() -> None:
    """The same mode twice: H = 0.0138."""
    fits = fits_of(
        mode_fit("ring_land_fracture", (), [[LOG_2, LOG_1000]]),
        mode_fit("ring_wear", (), [[LOG_2, LOG_1000]]),
    )

    chance = chances_ahead(fits, running_set(), np.array([100.0]), np.array([30.0]), SETTINGS)

    assert chance == pytest.approx(1 - math.exp(-0.0138), rel=STEPS)


def test_chance_is_the_mean_over_draws_and_shortfall_multiplies_the_hazard() -> None:
    """One octane number short at log 2 doubles H; the other draw has no effect of fuel."""
    fits = fits_of(
        mode_fit("ring_land_fracture", LAND, [[LOG_2, LOG_1000, LOG_2], [LOG_2, LOG_1000, 0.0]])
    )
    chances = hull_chances(fits, running_set(shortfall_25h_on=1.0), SETTINGS)

    by_hand = (1 - math.exp(-0.0138) + 1 - math.exp(-0.0069)) / 2
    assert chances["chance_30d"].item() == pytest.approx(by_hand, rel=STEPS)


def test_fuel_of_late_gives_way_to_the_usual_as_the_window_fills() -> None:
    """Shape 1, scale 1,000 h, log 2 a number: 2^(t/25) over 25 h, then twice the rate.

    From none to one number short: H = (25 / log 2 + 2 x 5) / 1,000.
    """
    fits = fits_of(mode_fit("ring_land_fracture", LAND, [[0.0, LOG_1000, LOG_2]]))
    sets = running_set(usual_shortfall_25h_on=1.0)

    chances = hull_chances(fits, sets, SETTINGS)

    by_hand = 1 - math.exp(-(25 / LOG_2 + 10) / 1000)
    # eight pieces with the exposure held at their middle
    assert chances["chance_30d"].item() == pytest.approx(by_hand, rel=STEPS)


def spread_out(fits: FleetFits, draws: int = 400) -> FleetFits:
    """The same fit on many draws, an engine not on record leaving its exposure open."""
    (mode,) = fits.modes
    assert mode.hazard is not None
    rows = [mode.hazard.theta[0, [0, 1, *range(mode.hazard.plan.n_base, mode.hazard.plan.size)]]]
    hazard = given_hazard(mode.covariates, rows * draws)
    scores = special.ndtri((np.arange(draws) + 0.5) / draws)[:, None]
    return fits_of(replace(mode, hazard=replace(hazard, own_open=np.repeat(scores, 2, axis=1))))


def test_open_fuel_record_widens_the_range_both_ways_but_never_where_fuel_is_above_need() -> None:
    """Bounds 3 numbers apart: sd 3 / sqrt(12) at log 2 a number; 95 % of a normal."""
    fits = spread_out(fits_of(mode_fit("ring_land_fracture", LAND, [[LOG_2, LOG_1000, LOG_2]])))
    closed = hull_chances(fits, running_set(), SETTINGS)
    opened = hull_chances(
        fits,
        running_set(shortfall_25h_on=1.5, shortfall_25h_low_on=0.0, shortfall_25h_high_on=3.0),
        SETTINGS,
    )

    assert closed["chance_30d_low"].item() == pytest.approx(closed["chance_30d_high"].item())
    middle, half = LOG_2 * 1.5, 1.96 * LOG_2 * 3 / math.sqrt(12)
    for end, sign in (("low", -1), ("high", 1)):
        by_hand = 1 - math.exp(-0.0069 * math.exp(middle + sign * half))
        # 400 draws: the outer quantiles lie a little inside
        assert opened[f"chance_30d_{end}"].item() == pytest.approx(by_hand, rel=0.03)


def test_hours_ahead_widen_the_range_and_leave_the_mean() -> None:
    """Log-normal hours of sd 0.4: over 30 days the ends are exp(+-1.96 x 0.4 - 0.08) times."""
    fits = spread_out(fits_of(mode_fit("ring_land_fracture", (), [[LOG_2, LOG_1000]])))

    told = hull_chances(fits, running_set(use_sd_log=0.4), SETTINGS)

    assert told["chance_30d"].item() == pytest.approx(1 - math.exp(-0.0069), rel=0.01)
    for end, sign in (("low", -1), ("high", 1)):
        by_hand = 1 - math.exp(-0.0069 * math.exp(sign * 1.96 * 0.4 - 0.08))
        assert told[f"chance_30d_{end}"].item() == pytest.approx(by_hand, rel=0.03)


def test_all_hulls_bear_one_turn_of_the_season_and_each_its_own_hours() -> None:
    """Two hulls: sums of hours that move as one scatter by their sd, others by root half of it."""
    fits = spread_out(fits_of(mode_fit("ring_land_fracture", (), [[LOG_2, LOG_1000]])))

    def fleet_sd(**spread: float) -> float:
        two = pl.concat(running_set(hull_id=name, **spread) for name in ("A", "B"))
        drawn = hazards_shown(fits, two, np.array([10.0, 10.0]), SETTINGS, days=30.0)
        return float(np.log(drawn).mean(axis=1).std())

    assert fleet_sd(use_sd_log=0.4, turn_sd_log=0.4) == pytest.approx(0.4, rel=0.02)
    assert fleet_sd(use_sd_log=0.4) == pytest.approx(0.4 / math.sqrt(2), rel=0.1)
    both = math.sqrt(0.24**2 + (0.4**2 - 0.24**2) / 2)
    assert fleet_sd(use_sd_log=0.4, turn_sd_log=0.24) == pytest.approx(both, rel=0.1)


def test_a_usual_exposure_not_well_known_widens_the_range() -> None:
    fits = spread_out(fits_of(mode_fit("ring_land_fracture", LAND, [[LOG_2, LOG_1000, LOG_2]])))
    usual = {"shortfall_25h_on": 1.0, "usual_shortfall_25h_on": 1.0}

    known = hull_chances(fits, running_set(**usual), SETTINGS)
    unsure = hull_chances(fits, running_set(**usual, open_usual_shortfall_25h_on=1.0), SETTINGS)

    def width(chances: pl.DataFrame) -> float:
        return float((chances["chance_30d_high"] - chances["chance_30d_low"]).item())

    assert width(known) == pytest.approx(0.0, abs=1e-9)
    assert width(unsure) > 0.01


def test_a_hazard_that_rounds_to_less_than_nothing_is_no_ratio() -> None:
    """A set half an hour old: 1e-24 in one draw of 1,000, a rounding below nothing with other
    fuel, and the hull's chance was no number, which ended the week."""
    there, here = np.array([[-1e-24, 0.0, 2.0, 1.0]]), np.array([[1e-24, 1e-24, 1.0, 0.0]])

    assert log_ratio(there, here) == pytest.approx(np.array([[0.0, 0.0, np.log(2.0), 0.0]]))


def test_a_hull_with_a_reason_gets_no_chance() -> None:
    fits = fits_of(mode_fit("ring_land_fracture", (), [[LOG_2, LOG_1000]]))
    chances = hull_chances(fits, running_set(why_not="no rental on record"), SETTINGS)

    numbers = [name for name in chances.columns if name.startswith(("chance", "expected"))]
    assert chances.select(numbers).row(0) == (None,) * len(numbers)
    assert chances["why_not"].item() == "no rental on record"


def test_driver_is_its_distance_from_the_middle_times_its_coefficient() -> None:
    """Shortfalls 0, 1, 4 have middle 1; at log 2 per number the parts are -1, 0, 3 times log 2."""
    fits = fits_of(mode_fit("ring_land_fracture", LAND, [[LOG_2, LOG_1000, LOG_2]]))
    running = pl.concat(
        running_set(hull_id=f"H{short}", shortfall_25h_on=float(short)) for short in (0, 1, 4)
    )
    drivers = hull_drivers(fits, running, SETTINGS).filter(pl.col("factor") == LAND[0])

    parts = dict(zip(drivers["hull_id"], drivers["log_hazard_part"], strict=True))
    assert parts == pytest.approx({"H0": -LOG_2, "H1": 0.0, "H4": 3 * LOG_2}, abs=1e-12)  # floats


def test_age_counts_as_a_driver_through_the_shape() -> None:
    """With shape 1 the hazard has no age: no part.  With shape 2 the older set has more."""
    running = pl.concat(
        running_set(hull_id=hull, age_h=age)
        for hull, age in (("A", 50.0), ("B", 100.0), ("C", 400.0))
    )

    def age_parts(log_shape: float) -> list[float]:
        fits = fits_of(mode_fit("ring_land_fracture", (), [[log_shape, LOG_1000]]))
        drivers = hull_drivers(fits, running, SETTINGS).filter(pl.col("factor") == "age_h")
        return drivers.sort("hull_id")["log_hazard_part"].to_list()

    assert age_parts(0.0) == pytest.approx([0, 0, 0], abs=1e-12)  # floats
    young, middle, old = age_parts(LOG_2)
    assert young < middle == 0 < old


def test_a_driver_on_an_open_record_is_called_assumed() -> None:
    names = ("shortfall_25h_on", "full_throttle_25h")
    fits = fits_of(mode_fit("ring_land_fracture", names, [[LOG_2, LOG_1000, LOG_2, 0.1]]))
    running = pl.concat(
        running_set(hull_id=f"H{known}", known_share_25h=known, throttle_known_share=1.5 - known)
        for known in (0.6, 0.9)
    )
    drivers = hull_drivers(fits, running, SETTINGS)

    fuel = drivers.filter(pl.col("factor") == names[0]).sort("hull_id")
    assert fuel["is_assumed"].to_list() == [True, False]
    throttle = drivers.filter(pl.col("factor") == names[1]).sort("hull_id")
    assert throttle["is_assumed"].to_list() == [False, True]
    assert not drivers.filter(pl.col("factor") == "age_h")["is_assumed"].any()


draw = st.tuples(st.floats(-0.7, 1.2), st.floats(4.5, 9.0), st.floats(-1.5, 1.5))


@given(
    draws=st.lists(draw, min_size=1, max_size=12),
    age=st.floats(0, 900),
    hours=st.floats(0, 200),
    more=st.floats(0, 200),
    short=st.floats(0, 5),
    spread=st.floats(0, 2),
)
@settings(derandomize=True, deadline=None)
def test_chance_lies_in_its_range_and_grows_with_use(
    *,
    draws: list[tuple[float, float, float]],
    age: float,
    hours: float,
    more: float,
    short: float,
    spread: float,
) -> None:
    fits = fits_of(mode_fit("ring_land_fracture", LAND, [list(row) for row in draws]))
    sets = running_set(
        age_h=age,
        shortfall_25h_on=short,
        shortfall_25h_low_on=max(0.0, short - spread),
        shortfall_25h_high_on=short + spread,
    )
    middle, low, high = chance_with_range(fits, sets, np.array([hours]), SETTINGS)
    longer, _, _ = chance_with_range(fits, sets, np.array([hours + more]), SETTINGS)

    assert 0 <= low.item() <= middle.item() <= high.item() <= 1
    assert longer.item() >= middle.item() - 1e-12  # the mean of equal floats may round down


def test_every_hull_of_a_fleet_has_chances_in_order() -> None:
    fleet = small_fleet()
    chances = fleet.tables(fleet.fits()).chances.filter(pl.col("why_not").is_null())

    assert chances.height == 9
    for name in ("7d", "30d"):
        low, middle, high = (chances[f"chance_{name}{end}"] for end in ("_low", "", "_high"))
        assert ((low >= 0) & (low <= middle) & (middle <= high) & (high <= 1)).all()
    assert (chances["chance_30d"] >= chances["chance_7d"]).all()
