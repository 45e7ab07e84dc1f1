import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synthetic_data.fuel_supply import MixedTank

litres = st.floats(1.0, 60.0)
octane = st.floats(85.0, 98.0)


def tank_with(volume_l: float, octane_aki: float, birth_d: float) -> MixedTank:
    tank = MixedTank(100.0)
    tank.add(volume_l, octane_aki, birth_d, {birth_d: volume_l})
    return tank


def test_twenty_litres_of_93_in_forty_of_87_make_89():
    """Volume blending by hand: (20 x 93 + 40 x 87) / 60 = 89."""
    tank = tank_with(40.0, 87.0, 0.0)
    tank.add(20.0, 93.0, 10.0, {10.0: 20.0})
    assert tank.octane_aki == pytest.approx(89.0, abs=1e-12)  # a few roundings of doubles
    assert tank.birth_d == pytest.approx(10 / 3, abs=1e-12)


def test_share_older_than_a_day_count_is_exact_by_hand():
    """30 l of day 0 and 10 l of day 20; half is burned: on day 30 three quarters are over 28 d."""
    tank = tank_with(30.0, 91.0, 0.0)
    tank.add(10.0, 91.0, 20.0, {20.0: 10.0})
    tank.burn(20.0)
    assert tank.share_older(30.0, 28.0) == pytest.approx(0.75, abs=1e-12)
    assert tank.share_older(30.0, 5.0) == pytest.approx(1.0, abs=1e-12)
    assert tank.share_older(28.0, 28.0) == 0.0


@given(heel=litres, heel_aki=octane, fill=litres, fill_aki=octane, share=st.floats(0.0, 0.9))
@settings(derandomize=True, deadline=None)
def test_mix_lies_between_its_parts_and_no_litre_is_lost(heel, heel_aki, fill, fill_aki, share):
    tank = tank_with(heel, heel_aki, 0.0)
    tank.add(fill, fill_aki, 5.0, {5.0: fill})
    low, high = sorted((heel_aki, fill_aki))
    assert low - 1e-9 <= tank.octane_aki <= high + 1e-9
    drawn = tank.take(share * tank.volume_l)
    # Traces under a tenth of a millilitre a lot are forgotten.
    assert sum(drawn.values()) + sum(tank.lots.values()) == pytest.approx(heel + fill, abs=1e-3)
    assert tank.volume_l + sum(drawn.values()) == pytest.approx(heel + fill, abs=1e-3)


@given(heel=litres, fill=litres, burned=st.floats(0.0, 0.9))
@settings(derandomize=True, deadline=None)
def test_a_draw_does_not_change_the_mix(heel, fill, burned):
    tank = tank_with(heel, 87.0, 0.0)
    tank.add(fill, 93.0, 5.0, {5.0: fill})
    before = (tank.octane_aki, tank.birth_d, tank.share_older(40.0, 37.0))
    tank.burn(burned * tank.volume_l)
    after = (tank.octane_aki, tank.birth_d, tank.share_older(40.0, 37.0))
    assert after == pytest.approx(before, abs=1e-9)
