"""How a change made today enters exposure that looks back over 25 hours, by hand."""

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.decision.actions.action_catalogue import Action, Effect, MarkedNumber
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.hazard_ahead import after_actions, changed, changes_of
from ringland.risk.exposure_ahead import hazard_along
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import running_hulls, weibull_hazard

WINDOW_H = 25.0
SHORT = pl.col("shortfall_25h_on")


def effect(covariate: str, how: str, value: float) -> Effect:
    return Effect(covariate, how, MarkedNumber(value, "A", "made up"))


def linear_in_shortfall(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
    """0.01 an hour and octane number: the integral can be done by hand."""
    return (0.01 * (stop_h - start_h) * exposure["shortfall_25h_on"].to_numpy())[None, :]


def summed(
    hours: float, *actions: Action, shortfall: float = 4.0, usual: float | None = None
) -> float:
    sets = pl.DataFrame({"shortfall_25h_on": [shortfall], "is_raised_calibration": [True]})
    if usual is not None:
        sets = sets.with_columns(usual_shortfall_25h_on=pl.lit(usual))
    out = hazard_along(
        linear_in_shortfall,
        sets,
        np.array([100.0]),
        np.array([hours]),
        changes=changes_of(actions, sets),
        window_h=WINDOW_H,
    )
    return float(out[0, 0])


GOOD_FUEL = Action("a", "a", effects=(effect("shortfall_25h_on", "set", 0.0),))


def test_without_a_change_the_hazard_is_that_of_today() -> None:
    assert summed(60.0) == pytest.approx(0.01 * 4 * 60)


def test_good_fuel_from_today_leaves_half_a_window_of_the_old_hazard() -> None:
    # The mean over the window falls in a straight line from 4 to 0: a triangle of 25 h x 4 / 2.
    assert summed(60.0, GOOD_FUEL) == pytest.approx(0.01 * 4 * WINDOW_H / 2)


def test_within_the_window_the_fall_is_cut_where_the_hours_end() -> None:
    # After 10 of 25 h the mean has come down from 4 to 2.4: the pieces' middles are exact
    # on a straight line.
    assert summed(10.0, GOOD_FUEL) == pytest.approx(0.01 * (4 + 2.4) / 2 * 10)


def test_one_good_tank_takes_off_just_the_hours_it_lasts() -> None:
    # In and out of the window alike: the area taken off is the hours held times 4.
    tank = Action("a", "a", effects=GOOD_FUEL.effects, lasts_h=3.0)

    assert summed(60.0, tank) == pytest.approx(0.01 * 4 * (60 - 3))


def test_a_hull_on_good_fuel_by_a_rule_goes_back_to_its_usual_fuel_without_it() -> None:
    # Today's window is clean, the dock's fuel is 4 below: a triangle, then 35 h at 4.
    assert summed(60.0, shortfall=0.0, usual=4.0) == pytest.approx(0.01 * 4 * (25 / 2 + 35))
    assert summed(60.0, GOOD_FUEL, shortfall=0.0, usual=4.0) == 0


def test_what_turns_with_the_season_stands_above_the_usual_near_and_below_it_later() -> None:
    """Fuel usually 10 d old, 15 for 40 h of the days ahead, 5 after: by fine steps of an hour.

    A cap of 12 days holds whatever the season: it is laid on what the season makes of it.
    """
    sets = pl.DataFrame(
        {"fuel_age_25h_d": [10.0], "usual_fuel_age_25h_d": [10.0], "near_h": [40.0],
         "turn_fuel_age_25h_d": [1.5], "later_turn_fuel_age_25h_d": [0.5]}
    )  # fmt: skip
    capped = Action("a", "a", effects=(effect("fuel_age_25h_d", "cap", 12.0),))

    def by_hand(near: float) -> float:
        burned = np.r_[np.full(400, near), np.full(1600, 5.0)]  # tenths of an hour
        window = np.convolve(np.r_[np.full(250, 10.0), burned], np.ones(250) / 250, "valid")
        return float(window[: len(burned)].sum() / 10)

    for actions, near in (([], 15.0), ([capped], 12.0)):
        out = hazard_along(
            lambda start, stop, told: (
                (stop - start) * told["fuel_age_25h_d"].to_numpy()
            )[None, :],
            sets, np.array([100.0]), np.array([200.0]),
            changes=changes_of(actions, sets), window_h=WINDOW_H,
        )  # fmt: skip
        assert float(out[0, 0]) == pytest.approx(by_hand(near), rel=0.04)


def test_usual_running_as_of_late_changes_nothing() -> None:
    for actions in ([], [GOOD_FUEL]):
        assert summed(60.0, *actions, usual=4.0) == pytest.approx(summed(60.0, *actions))


def test_two_effects_on_one_covariate_follow_each_other() -> None:
    # First 3 h of good fuel, and a need eased by one for good: 4 - 1 = 3 from then on.
    tank = Action("a", "a", effects=GOOD_FUEL.effects, lasts_h=3.0)
    eased = Action("b", "b", effects=(effect("shortfall_25h_on", "add", -1.0),))

    # Before today's running has left the window: a triangle of 25 x 4 / 2; of the running
    # from today each hour counts in full once it has passed through the window, and the
    # last 25 h half on average.
    by_hand = 0.01 * (25 * 4 / 2 + 3 * (60 - 25 / 2 - 3))
    assert summed(60.0, tank, eased) == pytest.approx(by_hand)


def test_what_does_not_look_back_changes_at_once() -> None:
    sets = pl.DataFrame({"is_raised_calibration": [True]})
    mild = Action("a", "a", effects=(effect("is_raised_calibration", "set", 0.0),))

    def only_if_raised(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return ((stop_h - start_h) * exposure["is_raised_calibration"].to_numpy())[None, :]

    out = hazard_along(
        only_if_raised,
        sets,
        np.zeros(1),
        np.array([40.0]),
        changes=changes_of([mild], sets),
        window_h=WINDOW_H,
    )

    assert out.item() == 0.0


def test_what_lasts_is_done_only_where_it_is_done_and_a_tank_of_fuel_does_not_last() -> None:
    sets = pl.DataFrame({"build_number": [1, 2], "shortfall_25h_on": [4.0, 4.0]})
    renewal = Action("a", "a", effects=(effect("build_number", "add", 1.0),))
    tank = Action("b", "b", effects=(effect("shortfall_25h_on", "set", 0.0),), lasts_h=3.0)

    after = after_actions(sets, [renewal, tank], where=np.array([True, False]))

    assert after["build_number"].to_list() == [2.0, 2.0]
    assert after["shortfall_25h_on"].to_list() == [4.0, 4.0]


@pytest.mark.parametrize(
    ("how", "value", "after"),
    [("set", 1.0, 1.0), ("cap", 1.0, 1.0), ("cap", 9.0, 4.0), ("scale", 0.5, 2.0),
     ("add", -1.0, 3.0), ("add", -5.0, 0.0)],
)  # fmt: skip
def test_an_effect_sets_caps_scales_or_adds_and_stops_at_zero(
    how: str, value: float, after: float
) -> None:
    frame = pl.DataFrame({"shortfall_25h_on": [4.0]})

    assert frame.select(changed(effect("shortfall_25h_on", how, value), SHORT)).item() == after


def test_an_effect_on_the_unknown_stays_unknown() -> None:
    frame = pl.DataFrame({"shortfall_25h_on": [None]}, schema={"shortfall_25h_on": pl.Float64})

    assert frame.select(changed(effect("shortfall_25h_on", "cap", 1.0), SHORT)).item() is None


@given(hours=st.floats(0.5, 300), lasts_h=st.floats(0.5, 300), shortfall=st.floats(0, 6))
@settings(derandomize=True, deadline=None)
def test_better_fuel_for_longer_never_raises_the_hazard(
    hours: float, lasts_h: float, shortfall: float
) -> None:
    for_a_while = Action("a", "a", effects=GOOD_FUEL.effects, lasts_h=lasts_h)

    never, some, always = (
        summed(hours, *actions, shortfall=shortfall) for actions in ([], [for_a_while], [GOOD_FUEL])
    )

    slack = 1e-12  # rounding of sums of a dozen pieces
    assert always <= some + slack
    assert some <= never + slack


@pytest.mark.parametrize("hours", [10.0, 60.0])
def test_cutting_the_window_finer_moves_no_hazard_by_one_percent(
    hours: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    hulls, hazard = running_hulls(40), weibull_hazard(n_draws=20)
    age = hulls["age_h"].to_numpy()

    def each_option() -> list[np.ndarray]:
        return [
            hazard_along(
                hazard,
                hulls,
                age,
                np.full(40, hours),
                changes=changes_of(actions, hulls),
                window_h=WINDOW_H,
            ).mean(axis=0)
            for actions in default_catalogue(load_assumptions()).bundles().values()
        ]

    coarse = each_option()
    monkeypatch.setattr("ringland.risk.exposure_ahead.PIECES", 64)
    for at_8, at_64 in zip(coarse, each_option(), strict=True):
        assert at_8 == pytest.approx(at_64, rel=0.01)
