import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.exposure.exposure_spells import spells
from ringland.exposure.exposure_windows import exposure_windows
from ringland.settings.assumptions import load_assumptions
from tests.exposure.test_exposure_spells import exposure, ride, rides_at_random
from tests.fuel.small_records import day, life, lives

ASSUMPTIONS = load_assumptions()


def test_known_and_assumed_parts_of_each_window_by_hand() -> None:
    """Rides of 10 h on days 0, 40 and 70; the last 25 h hold 5, 10 and 10 h of them; 28 days
    before the end of the last lie after the second.
    """
    rows = [
        ride(0, 10, burn_l=100.0, short=4.0, fuel_age_d=2.0, share_over_28d=0.0),
        ride(10, 10, burn_l=300.0, short=0.0, fuel_age_d=10.0, share_over_28d=0.4,
             unknown_share=0.5, started_at=day(40), ended_at=day(40.5)),
        ride(20, 10, burn_l=200.0, short=1.0, fuel_age_d=4.0, unknown_share=0.25,
             started_at=day(70), ended_at=day(70.5)),
    ]  # fmt: skip
    table = exposure_windows(exposure(*rows), lives(life(exit_h=30.0)), ASSUMPTIONS)
    last = table.row(-1, named=True)

    assert (last["at_h"], last["at"]) == (30.0, day(70.5))
    assert (last["burned_25h_l"], last["burned_28d_l"], last["burned_life_l"]) == pytest.approx(
        (50 + 300 + 200, 200, 600)
    )
    assert last["known_25h_share"] == pytest.approx((50 + 150 + 150) / 550)
    assert last["short_known_25h_on"] == pytest.approx((50 * 4 + 150 * 1) / 550)
    assert last["short_assumed_25h_on"] == pytest.approx(50 * 1 / 550)
    assert (last["short_known_28d_on"], last["short_assumed_28d_on"]) == (0.75, 0.25)
    assert last["age_known_life_d"] == pytest.approx((100 * 2 + 150 * 10 + 150 * 4) / 600)
    assert last["age_assumed_life_d"] == pytest.approx((150 * 10 + 50 * 4) / 600)
    assert last["old_known_life_share"] == pytest.approx(150 * 0.4 / 600)
    assert last["old_assumed_life_share"] == pytest.approx(150 * 0.4 / 600)


def test_a_window_in_which_nothing_burned_says_nothing() -> None:
    first = exposure_windows(
        exposure(ride(0, 10), ride(10, 10)), lives(life(exit_h=20.0)), ASSUMPTIONS
    ).row(0, named=True)

    assert first["burned_life_l"] == 0.0
    assert first["known_life_share"] is None
    assert first["short_known_25h_on"] is None


def test_a_set_without_a_ride_on_record_gives_no_row() -> None:
    table = exposure_windows(exposure(ride(0)), lives(life("H2")), ASSUMPTIONS)

    assert table.height == 0


def test_unknown_octane_counts_in_the_middle_of_its_bounds_and_as_assumed() -> None:
    unknown = ride(
        0, 10, shortfall_on=None, octane_aki=None, octane_margin_on=None, unknown_share=1.0,
        shortfall_low_on=0.0, shortfall_high_on=4.0, hard_running_h=0.0,
    )  # fmt: skip
    last = exposure_windows(exposure(unknown), lives(life(exit_h=10.0)), ASSUMPTIONS).row(
        -1, named=True
    )

    assert (last["short_known_life_on"], last["short_assumed_life_on"]) == (0.0, 2.0)


@settings(derandomize=True, deadline=None, max_examples=15)
@given(seed=st.integers(0, 1000))
def test_parts_add_up_to_the_covariates_at_the_same_stretch(seed: int) -> None:
    """Second route: `spells` holds the litres-weighted age and known share of the 25 h."""
    rows, one = exposure(*rides_at_random(seed)), lives(life(exit_h=55.0))
    both = spells(rows, one, ASSUMPTIONS).join(
        exposure_windows(rows, one, ASSUMPTIONS),
        left_on=["piston_set_id", "start_h"],
        right_on=["piston_set_id", "at_h"],
    )
    seen = both.filter(pl.col("start_h") > 0)

    assert both.height == 11
    assert (both["at"] - both["start_at"]).abs().max().total_seconds() < 1e-3
    for covariate, known, assumed in (
        ("fuel_age_25h_d", "age_known_25h_d", "age_assumed_25h_d"),
        ("share_over_28d_25h", "old_known_25h_share", "old_assumed_25h_share"),
    ):
        gap = seen[covariate] - seen[known] - seen[assumed]
        assert gap.abs().max() < 1e-9  # sums run in another order
    assert (seen["known_share_25h"] - seen["known_25h_share"]).abs().max() < 1e-9


@settings(derandomize=True, deadline=None, max_examples=15)
@given(seed=st.integers(0, 1000), cut=st.integers(5, 50))
def test_later_rides_change_no_window_before_them(seed: int, cut: int) -> None:
    rides = rides_at_random(seed)
    earlier = [row for row in rides if row["set_h_stop"] <= cut]
    one = lives(life(exit_h=earlier[-1]["set_h_stop"]))

    now = exposure_windows(exposure(*earlier), one, ASSUMPTIONS)
    later = exposure_windows(exposure(*rides), one, ASSUMPTIONS)

    assert now.equals(later)
