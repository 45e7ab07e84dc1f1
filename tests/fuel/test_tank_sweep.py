import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.fuel.tank_ages import share_older
from ringland.fuel.tank_kernel import mix_tanks
from ringland.fuel.tank_sweep import Clustered, cluster_by_tank, sweep_tanks

DAY = 86_400_000_000
HOUR = DAY // 24
CAPACITY_L = 60.0


def random_events(seed: int, tanks: int, n: int) -> Clustered:
    rng = np.random.default_rng(seed)
    tank = np.sort(rng.integers(0, tanks, n)).astype(np.int32)
    at_us = rng.integers(0, 60 * 24, n) * HOUR
    is_fill = rng.integers(0, 2, n).astype(np.uint8)
    order = np.lexsort((is_fill, at_us, tank))
    volume = np.where(rng.random(n) < 0.1, 500.0, rng.uniform(0.1, 45, n))  # some empty or brim it
    return Clustered(
        tank[order], at_us[order], is_fill[order], volume[order], rng.uniform(87, 93, n)[order]
    )


@settings(derandomize=True, deadline=None, max_examples=40)
@given(seed=st.integers(0, 10_000), fill_age_d=st.sampled_from([0, 3, 30]))
def test_the_sweep_gives_what_the_general_kernel_gives(seed: int, fill_age_d: int) -> None:
    events = random_events(seed, tanks=4, n=200)
    ages = np.array([0, DAY, 14 * DAY, 28 * DAY])
    swept = sweep_tanks(
        events.tank, CAPACITY_L, events.at_us, events.is_fill, events.volume_l, events.octane,
        fill_age_d * DAY, ages,
    )  # fmt: skip
    numbers = np.unique(events.tank)
    born = events.at_us - fill_age_d * DAY
    run = mix_tanks(
        np.append(np.searchsorted(events.tank, numbers), len(events.tank)),
        np.full(len(numbers), CAPACITY_L), events.at_us, events.is_fill, events.volume_l,
        np.stack([events.octane, born / DAY], axis=1), born,
    )  # fmt: skip
    burns = np.flatnonzero(events.is_fill == 0)
    at = events.at_us[burns]

    np.testing.assert_allclose(swept.octane, run.quality[burns, 0], atol=1e-9, rtol=0)
    np.testing.assert_allclose(
        swept.mean_age_us / DAY, at / DAY - run.quality[burns, 1], atol=1e-9, rtol=0
    )
    np.testing.assert_allclose(
        swept.share_older, share_older(run, burns, at, ages, run), atol=1e-12, rtol=0
    )


def test_more_fills_than_the_first_working_space_are_swept_alike() -> None:
    n = 5000
    at_us = np.arange(n, dtype=np.int64) * HOUR
    is_fill = (np.arange(n) % 2 == 0).astype(np.uint8)
    volume = np.full(n, 20.0)
    swept = sweep_tanks(
        np.zeros(n, np.int32), CAPACITY_L, at_us, is_fill, volume, np.full(n, 91.0), 0,
        np.array([12 * HOUR]),
    )  # fmt: skip

    assert len(swept.octane) == n // 2
    assert swept.octane[-1] == pytest.approx(91.0)
    assert swept.share_older[-1, 0] == 0.0  # the tank is emptied at every ride


def test_a_tank_never_filled_is_not_a_number() -> None:
    swept = sweep_tanks(
        np.array([0, 1], np.int32), CAPACITY_L, np.array([5, 1]), np.array([0, 1], np.uint8),
        np.array([10.0, 10.0]), np.array([0.0, 91.0]), 0, np.array([DAY]),
    )  # fmt: skip

    assert np.isnan(swept.octane).all()
    assert np.isnan(swept.share_older).all()


@pytest.mark.parametrize(("tank", "at"), [([0, 0], [5, 4]), ([1, 0], [4, 5])], ids=["time", "tank"])
def test_events_out_of_order_are_refused(tank: list[int], at: list[int]) -> None:
    with pytest.raises(ValueError, match="event 1: out of order"):
        sweep_tanks(
            np.array(tank, np.int32), CAPACITY_L, np.array(at), np.ones(2, np.uint8), np.ones(2),
            np.ones(2), 0, np.array([DAY]),
        )  # fmt: skip


@settings(derandomize=True, deadline=None, max_examples=40)
@given(seed=st.integers(0, 10_000))
def test_clustering_gives_what_sorting_gives(seed: int) -> None:
    events = random_events(seed, tanks=7, n=300)
    later = np.argsort(events.at_us, kind="stable")
    fill = later[events.is_fill[later] == 1]
    ride = later[events.is_fill[later] == 0]
    clustered = cluster_by_tank(
        (events.tank[fill], events.at_us[fill], events.volume_l[fill], events.octane[fill]),
        (events.tank[ride], events.at_us[ride], events.volume_l[ride]),
        7,
    )

    for column in ("tank", "at_us", "is_fill", "volume_l"):
        np.testing.assert_array_equal(getattr(clustered, column), getattr(events, column))
    fills = clustered.is_fill == 1
    np.testing.assert_array_equal(clustered.octane[fills], events.octane[fills])


def test_records_out_of_time_are_not_clustered() -> None:
    fills = (np.zeros(2, np.int32), np.array([2, 1]), np.ones(2), np.ones(2))
    rides = (np.zeros(1, np.int32), np.array([1]), np.ones(1))
    with pytest.raises(ValueError, match="in order of time"):
        cluster_by_tank(fills, rides, 1)
