import json
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.fuel.tank_ages import age_quantile, share_older
from ringland.fuel.tank_kernel import OLDEST, YOUNGEST, TankRun, Unseen, event_order, mix_tanks
from tests.fuel.parcels import ParcelTank

DAY = 86_400_000_000
HOUR = DAY // 24
REFERENCE = Path(__file__).parents[1] / "reference_values"
OCTANE_TOLERANCE = 1e-9  # the figure the project promises; rounding is a thousand times smaller
SHARE_TOLERANCE = 1e-12  # likewise


@dataclass
class Event:
    at_us: int
    is_fill: bool
    litres: float
    octane: float = 0.0
    age_us: int = 0


def run_one_tank(events: list[Event], capacity_l: float) -> TankRun:
    at = np.array([e.at_us for e in events], np.int64)
    born = np.array([e.at_us - e.age_us for e in events], np.int64)
    quality = np.array([[e.octane, (e.at_us - e.age_us) / DAY] for e in events], float)
    return mix_tanks(
        np.array([0, len(events)]),
        np.array([capacity_l]),
        at,
        np.array([e.is_fill for e in events], np.uint8),
        np.array([e.litres for e in events]),
        quality.reshape(-1, 2),
        born,
    )


def compare_with_parcels(events: list[Event], capacity_l: float, ages_us: list[int]) -> int:
    """Assert that kernel and parcel list agree during every outflow; gives how many compared."""
    run = run_one_tank(events, capacity_l)
    at = np.array([e.at_us for e in events], np.int64)
    rows = np.arange(len(events))
    older = share_older(run, rows, at, np.array(ages_us, np.int64), run)
    tank = ParcelTank(capacity_l)
    compared = 0
    for i, event in enumerate(events):
        if event.is_fill:
            tank.pour(
                event.litres, [(Decimal(1), Decimal(event.octane), event.at_us - event.age_us)]
            )
        if tank.litres > Decimal("1e-9"):
            compared += 1
            assert run.quality[i, 0] == pytest.approx(tank.octane(), abs=OCTANE_TOLERANCE)
            mean_age_d = float((event.at_us - tank.mean_birth_us()) / DAY)
            assert at[i] / DAY - run.quality[i, 1] == pytest.approx(mean_age_d, abs=1e-9)
            for a, age in enumerate(ages_us):
                assert older[i, a] == pytest.approx(
                    tank.share_older(event.at_us, age), abs=SHARE_TOLERANCE
                )
        if not event.is_fill:
            tank.draw(event.litres)
        assert run.after_l[i] == pytest.approx(float(tank.litres), abs=1e-9)
    return compared


def test_two_fills_by_hand_give_the_book_keeping_of_the_reference() -> None:
    reference = json.loads((REFERENCE / "tank_book_keeping.json").read_text())
    events = [
        Event(0, True, 40, 87),
        Event(3 * DAY, False, 25),
        Event(10 * DAY, True, 30, 93),
        Event(12 * DAY, False, 20),
    ]
    run = run_one_tank(events, 70)
    burned = run.moved_l[[1, 3]]
    age = np.array([3.0, 12.0]) - run.quality[[1, 3], 1]

    assert run.after_l[3] == reference["volume_l"]
    assert run.quality[3, 0] == pytest.approx(reference["octane_aki"], rel=1e-9)
    assert age[1] == pytest.approx(reference["mean_age_d"], rel=1e-9)
    assert burned.sum() == reference["burned_l"]
    weighted = (burned * run.quality[[1, 3], 0]).sum() / burned.sum()
    assert weighted == pytest.approx(reference["burn_weighted_octane_aki"], rel=1e-9)
    assert (burned * age).sum() / burned.sum() == pytest.approx(
        reference["burn_weighted_age_d"], rel=1e-9
    )


litres = st.floats(0.1, 60, allow_nan=False).map(lambda x: round(x, 2))
event_lists = st.lists(
    st.builds(
        Event,
        at_us=st.integers(0, 40 * 24).map(lambda h: h * HOUR),
        is_fill=st.booleans(),
        litres=litres | st.just(1000.0),  # more than any tank: empties it, or brims it
        octane=st.floats(80, 100),
        age_us=st.integers(0, 20 * 24).map(lambda h: h * HOUR),
    ),
    max_size=40,
)


@settings(derandomize=True, deadline=None, max_examples=150)
@given(events=event_lists, capacity=st.floats(20, 80))
def test_any_order_of_events_agrees_with_the_parcel_list(
    events: list[Event], capacity: float
) -> None:
    events.sort(key=lambda e: (e.at_us, e.is_fill))
    compare_with_parcels(events, capacity, [0, HOUR, 5 * DAY, 14 * DAY, 28 * DAY])


@pytest.mark.parametrize("heel", [0.05, 0.4, 0.8], ids=["drained", "usual", "topped up"])
def test_more_than_ten_thousand_fills_agree_with_the_parcel_list(heel: float) -> None:
    rng = np.random.default_rng(4)
    events: list[Event] = []
    level = 0.0
    for step in range(10_050):
        fill = round(float(rng.uniform(0.5, 1.0)) * (60 - level), 2)
        age = int(rng.integers(0, 10 * 24)) * HOUR
        events.append(Event(step * 4 * HOUR, True, fill, float(rng.choice([87, 91, 93])), age))
        level += fill
        burn = round(level * (1 - heel) * float(rng.uniform(0.6, 1.0)), 2)
        events.append(Event((step * 4 + 2) * HOUR, False, burn))
        level -= burn
    # Only the end is held against the list: that is where error would have piled up.
    run = run_one_tank(events, 60)
    tank = ParcelTank(60)
    at = np.array([e.at_us for e in events], np.int64)
    rows = np.arange(len(events) - 40, len(events))
    older = share_older(run, rows, at[rows], np.array([14 * DAY, 28 * DAY]), run)
    for i, event in enumerate(events):
        if event.is_fill:
            born = event.at_us - event.age_us
            tank.pour(event.litres, [(Decimal(1), Decimal(event.octane), born)])
        if i >= rows[0]:
            assert run.quality[i, 0] == pytest.approx(tank.octane(), abs=OCTANE_TOLERANCE)
            for a, age in enumerate([14 * DAY, 28 * DAY]):
                assert older[i - rows[0], a] == pytest.approx(
                    tank.share_older(event.at_us, age), abs=SHARE_TOLERANCE
                )
        if not event.is_fill:
            tank.draw(event.litres)
    assert 0 < older[-1, 0] < 1 or heel < 0.1


@settings(derandomize=True, deadline=None, max_examples=60)
@given(data=st.data())
def test_two_tanks_in_series_agree_with_the_parcel_list(data: st.DataObject) -> None:
    """A dock's tank feeds two craft; every craft event is held against the parcels."""
    steps = data.draw(
        st.lists(
            st.tuples(
                st.integers(1, 60), st.sampled_from(["delivery", "fill", "burn"]),
                st.integers(0, 1), litres, st.floats(85, 95),
            ),
            max_size=30,
        )
    )  # fmt: skip
    now = 0
    dock, craft = ParcelTank(500), [ParcelTank(70), ParcelTank(70)]
    dock.pour(200, [(Decimal(1), Decimal(90), -3 * DAY)])
    dock_rows: list[tuple[int, bool, float, float, int]] = [(0, True, 200.0, 90.0, -3 * DAY)]
    craft_rows: list[tuple[int, int, bool, float, int]] = []
    expected = []
    ages = [DAY, 7 * DAY, 28 * DAY]
    for hours, kind, which, volume, octane in steps:
        now += hours * HOUR
        tank = craft[which]
        if kind == "delivery":
            dock.pour(volume, [(Decimal(1), Decimal(octane), now - 2 * DAY)])
            dock_rows.append((now, True, volume, octane, now - 2 * DAY))
            continue
        if kind == "fill":
            poured = float(min(Decimal(volume), tank.capacity_l - tank.litres, dock.litres))
            if poured < 0.01:
                continue
            dock_rows.append((now, False, poured, 0.0, now))
            craft_rows.append((which, now, True, poured, len(dock_rows) - 1))
            tank.pour(poured, dock.draw(poured))
        else:
            craft_rows.append((which, now, False, volume, -1))
        if tank.litres > Decimal("1e-6"):
            shares = [tank.share_older(now, age) for age in ages]
            age_d = float((now - tank.mean_birth_us()) / DAY)
            expected.append((which, now, tank.octane(), age_d, shares))
        else:
            expected.append((which, now, None, None, None))
        if kind == "burn":
            tank.draw(volume)
    if not craft_rows:
        return
    at, fill, volume_l, octane_on, born = map(np.array, zip(*dock_rows, strict=True))
    up = mix_tanks(
        np.array([0, len(at)]), np.array([500.0]), at.astype(np.int64), fill.astype(np.uint8),
        volume_l, np.stack([octane_on, born / DAY], axis=1), born.astype(np.int64),
    )  # fmt: skip
    tank_of, at, fill, volume_l, source = map(np.array, zip(*craft_rows, strict=True))
    order = np.argsort(tank_of, kind="stable")
    at, fill, volume_l, source = at[order], fill[order], volume_l[order], source[order]
    starts = np.searchsorted(tank_of[order], [0, 1, 2])
    quality = np.where(source[:, None] >= 0, up.quality[source], 0.0)
    run = mix_tanks(
        starts, np.array([70.0, 70.0]), at, fill.astype(np.uint8), volume_l, quality,
        at.copy(), source,
    )  # fmt: skip
    rows = np.arange(len(at))
    older = share_older(run, rows, at, np.array(ages), up)
    for i, k in enumerate(order):
        _, now, octane, age_d, shares = expected[k]
        if octane is not None:
            assert run.quality[i, 0] == pytest.approx(octane, abs=OCTANE_TOLERANCE)
            assert now / DAY - run.quality[i, 1] == pytest.approx(age_d, abs=1e-9)
            assert older[i] == pytest.approx(shares, abs=SHARE_TOLERANCE)


@settings(derandomize=True, deadline=None, max_examples=100)
@given(events=event_lists, capacity=st.floats(20, 80))
def test_litres_in_are_litres_out_and_left(events: list[Event], capacity: float) -> None:
    events.sort(key=lambda e: (e.at_us, e.is_fill))
    run = run_one_tank(events, capacity)
    is_fill = np.array([e.is_fill for e in events], bool)
    left = run.after_l[-1] if events else 0.0

    assert run.moved_l[is_fill].sum() == pytest.approx(run.moved_l[~is_fill].sum() + left, abs=1e-9)
    assert (run.after_l >= 0).all()
    assert (run.after_l <= capacity + 1e-9).all()


@settings(derandomize=True, deadline=None, max_examples=100)
@given(events=event_lists)
def test_blend_lies_between_the_lowest_and_the_highest_fill(events: list[Event]) -> None:
    events.sort(key=lambda e: (e.at_us, e.is_fill))
    run = run_one_tank(events, 70)
    poured = [e.octane for e in events if e.is_fill]
    seen = run.quality[~np.isnan(run.quality[:, 0]), 0]

    assert (seen >= min(poured, default=0) - 1e-9).all()
    assert (seen <= max(poured, default=0) + 1e-9).all()


def test_an_emptied_tank_forgets_what_it_held() -> None:
    events = [
        Event(0, True, 50, 87),
        Event(30 * DAY, False, 50),
        Event(30 * DAY, True, 20, 93),
        Event(31 * DAY, False, 5),
    ]
    run = run_one_tank(events, 70)
    older = share_older(run, np.array([3]), np.array([31 * DAY]), np.array([2 * DAY]), run)

    assert run.quality[3, 0] == 93.0
    assert older[0, 0] == 0.0


def test_before_any_fill_nothing_is_known() -> None:
    run = run_one_tank([Event(DAY, False, 5), Event(2 * DAY, True, 30, 91)], 70)
    rows, at = np.array([0]), np.array([DAY])

    assert run.moved_l[0] == 0.0
    assert np.isnan(run.quality[0]).all()
    assert np.isnan(share_older(run, rows, at, np.array([DAY]), run)).all()
    assert np.isnan(age_quantile(run, rows, at, np.array([np.nan]), 0.9, run)).all()


def test_age_quantile_is_the_age_that_share_of_litres_do_not_exceed() -> None:
    """By hand: 10 l of 20 days, 10 l of 5 days, 20 l of 1 day."""
    events = [
        Event(0, True, 10, 90), Event(15 * DAY, True, 10, 90), Event(19 * DAY, True, 20, 90),
        Event(20 * DAY, False, 1),
    ]  # fmt: skip
    run = run_one_tank(events, 70)
    rows, at = np.array([3]), np.array([20 * DAY])

    for share, age_d in [(0.25, 1), (0.5, 1), (0.6, 5), (0.75, 5), (0.9, 20)]:
        mean = np.array([6.75 * DAY])  # (10 x 20 + 10 x 5 + 20 x 1) / 40
        found = age_quantile(run, rows, at, mean, share, run)[0] / DAY
        assert found == pytest.approx(age_d, abs=1 / 24)  # found to the hour


def test_older_is_strict_to_the_microsecond() -> None:
    run = run_one_tank([Event(0, True, 10, 90), Event(5 * DAY, False, 1)], 70)
    rows, at = np.array([1]), np.array([5 * DAY])

    assert share_older(run, rows, at, np.array([5 * DAY]), run)[0, 0] == 0.0
    assert share_older(run, rows, at, np.array([5 * DAY - 1]), run)[0, 0] == 1.0


def test_a_bucket_of_tanks_gives_what_each_tank_gives_alone() -> None:
    rng = np.random.default_rng(8)
    tanks = [
        sorted(
            (
                Event(int(t) * HOUR, bool(f), float(v), float(o))
                for t, f, v, o in zip(
                    rng.integers(0, 900, 30), rng.integers(0, 2, 30), rng.uniform(1, 40, 30),
                    rng.uniform(87, 93, 30), strict=True,
                )
            ),
            key=lambda e: (e.at_us, e.is_fill),
        )
        for _ in range(5)
    ]  # fmt: skip
    flat = [event for tank in tanks for event in tank]
    at = np.array([e.at_us for e in flat])
    together = mix_tanks(
        np.arange(6) * 30, np.full(5, 60.0), at, np.array([e.is_fill for e in flat], np.uint8),
        np.array([e.litres for e in flat]), np.array([[e.octane, 0.0] for e in flat]), at,
    )  # fmt: skip
    for number, tank in enumerate(tanks):
        alone = run_one_tank(tank, 60)
        part = slice(number * 30, number * 30 + 30)
        np.testing.assert_array_equal(together.quality[part, 0], alone.quality[:, 0])
        np.testing.assert_array_equal(together.after_l[part], alone.after_l)


def test_burns_come_before_fills_at_one_instant() -> None:
    order = event_order(np.array([0, 0, 0]), np.array([5, 5, 1]), np.array([1, 0, 1], np.uint8))

    assert order.tolist() == [2, 1, 0]


@pytest.mark.parametrize(
    ("events", "message"),
    [
        ([Event(0, True, -1.0)], "event 0: volume -1.0"),
        ([Event(0, True, float("nan"))], "event 0: volume nan"),
        ([Event(DAY, True, 5), Event(0, False, 1)], "event 1: out of order"),
        ([Event(DAY, True, 5, 90, -DAY)], "event 0: fuel filled before it was born"),
    ],
)
def test_impossible_events_are_refused(events: list[Event], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        run_one_tank(events, 70)


def test_what_may_have_come_unseen_may_have_been_fresh_or_old() -> None:
    """40 l of day 0 and perhaps 10 l nobody wrote down before day 30: by hand.

    Ages were bounded as if all fuel were on record; two in seventeen lay outside.
    """
    at = np.array([0, 30 * DAY], np.int64)
    none, ten = np.zeros(2), np.array([0.0, 10.0])
    unseen = Unseen(
        low_gap_l=none, high_gap_l=none, slack_l=none, unseen_l=ten, chance=np.full(2, 0.1),
        is_bounded=np.ones(2, np.uint8), lowest_aki=np.full(2, 87.0),
        highest_aki=np.full(2, 93.0), oldest_d=60.0,
    )  # fmt: skip
    quality = np.zeros((2, 7))
    quality[0, :3] = 91.0

    run = mix_tanks(np.array([0, 2]), np.array([70.0]), at, np.array([1, 0], np.uint8),
                    np.array([40.0, 20.0]), quality, at, None, unseen)  # fmt: skip

    youngest_d, oldest_d = 30 - run.quality[1, YOUNGEST], 30 - run.quality[1, OLDEST]
    assert youngest_d == pytest.approx((40 * 30 + 10 * 0) / 50)
    assert oldest_d == pytest.approx((40 * 30 + 10 * 60) / 50)


def test_what_a_level_was_off_by_fades_with_every_fill_and_new_doubt_adds_by_squares() -> None:
    """30 l of 91 AKI and 30 l of 87 to 93, the level perhaps 6 l off, then 60 l of the same.

    The second fill's best is 93, the blend's 91, so its share may be understated: by a heel 6 l
    smaller, 2 x 30 x 6 / (60 x 54) = 1/9 of a number above.  The third fill halves that, and as
    its best is the highest there is, a heel 6 l smaller adds 1 x 60 x 6 / (120 x 114) of one.
    """
    n = 3
    at = DAY * np.arange(n)
    none = np.zeros(n)
    gap = np.array([0.0, 6.0, 6.0])
    unseen = Unseen(
        low_gap_l=gap, high_gap_l=none, slack_l=none, unseen_l=none, chance=none,
        is_bounded=np.ones(n, np.uint8), lowest_aki=np.full(n, 87.0),
        highest_aki=np.full(n, 93.0), oldest_d=60.0,
    )  # fmt: skip
    quality = np.zeros((n, 7))
    quality[:, 0:3] = [[91.0, 91.0, 91.0], [93.0, 93.0, 93.0], [93.0, 93.0, 93.0]]

    run = mix_tanks(np.array([0, n]), np.array([200.0]), at, np.ones(n, np.uint8),
                    np.array([30.0, 30.0, 60.0]), quality, at, None, unseen)  # fmt: skip

    first = 2 * 30 * 6 / (60 * 54)
    second = np.hypot(0.5 * first, 1 * 60 * 6 / (120 * 114))
    assert run.quality[1, 2] - 92.0 == pytest.approx(first)
    assert run.quality[2, 2] - 92.5 == pytest.approx(second)
