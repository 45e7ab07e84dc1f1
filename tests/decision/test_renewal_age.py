"""The planned renewal age against tabulated optima of the age-replacement policy."""

from dataclasses import replace

import numpy as np
import pytest

from ringland.decision.value.renewal_age import renewal_age
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES, running_hulls, weibull_hazard

SETTINGS = load_assumptions()
ONE = running_hulls(1)


def prices_in_ratio(ratio: float):  # type: ignore[no-untyped-def]
    """A planned renewal for 1,000 and a failure for `ratio` times that, no rental lost."""
    return replace(
        PRICES, top_end_planned=1_000.0, full_rebuild_unplanned=1_000.0 * ratio, lost_rental_day=0.0
    )


def weibull(*shapes_and_scales: tuple[float, float]):  # type: ignore[no-untyped-def]
    shape, scale = np.array(shapes_and_scales).T[:, :, None]

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return (stop_h / scale) ** shape - (start_h / scale) ** shape

    return hazard


@pytest.mark.parametrize(
    ("shape", "ratio", "best"),
    [
        # T*/eta from the condition of Barlow and Proschan (1965), chapter 4, solved with
        # mpmath at 40 digits (check F1 of the project's reference values).
        (2.0, 2.0, 1.09079696963), (2.0, 5.0, 0.510655224295), (2.0, 20.0, 0.230426798272),
        (3.0, 2.0, 0.810342027426), (3.0, 10.0, 0.382455531143),
    ],
)  # fmt: skip
def test_renewal_age_is_the_tabulated_one(shape: float, ratio: float, best: float) -> None:
    found = renewal_age(
        weibull((shape, 800.0)), ONE, prices=prices_in_ratio(ratio), assumptions=SETTINGS
    )

    assert found.age == pytest.approx(800 * best, rel=1e-5)
    # 1e-5: the density is taken by differences of the survival
    assert found.limits is not None
    assert found.limits.low == pytest.approx(800 * best, rel=0.02)  # one draw, on the grid


@pytest.mark.parametrize("shape", [1.0, 0.8])
def test_a_hazard_that_does_not_rise_has_no_planned_renewal(shape: float) -> None:
    # Barlow and Proschan (1965): no finite optimum for a shape of 1 or less (check F5).
    found = renewal_age(
        weibull((shape, 800.0)), ONE, prices=prices_in_ratio(5.0), assumptions=SETTINGS
    )

    assert found.age is None
    assert found.reason.startswith("no planned replacement: the cost per hour still falls at")
    assert found.limits is not None
    assert (found.limits.low, found.limits.share_without) == (None, 1.0)


def test_where_a_failure_costs_no_more_there_is_no_planned_renewal() -> None:
    found = renewal_age(
        weibull((3.0, 800.0)), ONE, prices=prices_in_ratio(1.0), assumptions=SETTINGS
    )

    assert found.age is None
    assert "a failure costs no more than a planned job" in found.reason


def test_limits_say_how_often_no_plan_pays() -> None:
    # Half the draws wear out, half do not.
    found = renewal_age(
        weibull((3.0, 800.0), (3.0, 900.0), (0.9, 800.0), (0.9, 900.0)),
        ONE,
        prices=prices_in_ratio(10.0),
        assumptions=SETTINGS,
    )

    assert found.limits is not None
    assert found.limits.share_without == 0.5
    assert found.limits.high is None


def test_a_harder_life_is_renewed_earlier() -> None:
    hazard = weibull_hazard()
    good = ONE.with_columns(shortfall_25h_on=0.0 * ONE["shortfall_25h_on"])
    poor = good.with_columns(shortfall_25h_on=good["shortfall_25h_on"] + 4)
    prices = prices_in_ratio(10.0)

    ages = [
        renewal_age(hazard, exposure, prices=prices, assumptions=SETTINGS).age
        for exposure in (good, poor)
    ]

    assert ages[1] < ages[0]  # type: ignore[operator]


def test_more_than_one_hull_at_a_time_is_refused() -> None:
    with pytest.raises(ValueError, match="exposure has 2 rows; give one hull's"):
        renewal_age(weibull_hazard(), running_hulls(2), prices=PRICES, assumptions=SETTINGS)
