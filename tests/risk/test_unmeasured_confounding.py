"""E-values against published worked examples."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.risk.unmeasured_confounding import e_value, e_value_with_limit


@pytest.mark.parametrize(
    ("ratio", "published"),
    [
        # Smoking and lung cancer, 10.73 (8.02 to 14.36): 20.94777 and 15.52336 are printed by
        # the vignette "unmeasured-confounding" of the R package EValue 4.1.3 (read 2026-11-25).
        (10.73, 20.94777),
        (8.02, 15.52336),
        # VanderWeele and Ding (2017): 3.9 gives 7.26 (value from memory, confirmed by the
        # printed example 7.263034 of the R function morie_e_value, read 2026-11-25).
        (3.9, 7.263034),
    ],
)
def test_e_value_is_the_published_one(ratio: float, published: float) -> None:
    assert e_value(ratio) == pytest.approx(published, abs=5e-6)  # printed to five decimals


def test_limit_is_judged_by_the_end_nearer_to_no_effect() -> None:
    # Same vignette: 10.73 (8.02, 14.36) has E-values 20.95 and 15.52.
    value = e_value_with_limit(10.73, 8.02, 14.36)

    assert (value.point, value.limit) == pytest.approx((20.94777, 15.52336), abs=5e-6)


def test_a_range_that_holds_no_effect_needs_nothing_unrecorded() -> None:
    assert e_value_with_limit(1.5, 0.9, 2.4).limit == 1.0


@given(st.floats(0.01, 100))
@settings(derandomize=True, deadline=None)
def test_a_ratio_and_its_inverse_have_one_e_value_and_no_effect_has_one(ratio: float) -> None:
    assert e_value(ratio) == pytest.approx(e_value(1 / ratio))
    assert e_value(ratio) >= 1
    assert e_value(1.0) == 1.0


def test_a_limit_below_one_is_read_from_its_upper_end() -> None:
    assert e_value_with_limit(0.5, 0.4, 0.8).limit == pytest.approx(e_value(0.8))


@pytest.mark.parametrize("ratio", [0.0, -1.0, float("inf"), float("nan")])
def test_a_ratio_that_is_none_is_refused(ratio: float) -> None:
    with pytest.raises(ValueError, match="give a number above zero"):
        e_value(ratio)


def test_limits_must_enclose_the_estimate() -> None:
    with pytest.raises(ValueError, match="lies outside its limits"):
        e_value_with_limit(3.0, 1.0, 2.0)
