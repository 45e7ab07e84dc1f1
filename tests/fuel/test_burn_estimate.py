import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.fuel.burn_estimate import burn_factors, rated_litres, with_burns
from ringland.fuel.craft_record import craft_record
from ringland.fuel.explain_levels import Explained, TankHabits, explain_levels
from ringland.settings.assumptions import load_assumptions
from tests.fuel.small_records import engine_sessions, outside_fill, records, session

ASSUMPTIONS = load_assumptions()


def explain(
    events: list[tuple[str, float]],
    first_level: float = 0.0,
    filled_to: float = float("nan"),
    estimated: bool = True,
    capacity: float = 70.0,
) -> Explained:
    is_fill = np.array([kind == "fill" for kind, _ in events], np.uint8)
    habits = TankHabits(
        *(np.array([x]) for x in (capacity, 40.0, first_level, filled_to, 0.4 * 40.0))
    )
    return explain_levels(
        np.array([0, len(events)]),
        is_fill,
        0.15 * ((is_fill == 0) & estimated),
        np.array([litres for _, litres in events], float),
        habits,
        gain=0.5,
    )


def test_rated_litres_split_hours_by_throttle() -> None:
    """By hand: one hour, a quarter of it at 60 l/h and the rest at 20 l/h."""
    row = rated_litres(engine_sessions(session(1)), ASSUMPTIONS).row(0, named=True)

    assert row["full_l"] == pytest.approx(15.0)
    assert row["cruise_l"] == pytest.approx(15.0)


def test_measured_litres_stand_and_are_not_scaled() -> None:
    rated = rated_litres(engine_sessions(session(1, burned_l=12.5)), ASSUMPTIONS)
    record = craft_record(rated, records(), ["H1"], ASSUMPTIONS)
    row = with_burns(record, burn_factors(record, ["H1"], ASSUMPTIONS)).row(0, named=True)

    assert row["volume_l"] == 12.5
    assert row["stretch"] == 0.0


def test_a_hull_without_fills_keeps_the_rated_burn_and_the_full_error() -> None:
    rated = rated_litres(engine_sessions(session(1)), ASSUMPTIONS)
    record = craft_record(rated, records(), ["H1"], ASSUMPTIONS)
    row = burn_factors(record, ["H1"], ASSUMPTIONS).row(0, named=True)

    assert (row["cruise_factor"], row["full_factor"]) == (1.0, 1.0)
    assert row["cruise_se"] == row["full_se"] == ASSUMPTIONS.number("fuel.burn_factor_sd")
    assert row["fill_level_sd_l"] is None


@pytest.mark.parametrize("missing", [0.0, 0.2], ids=["all fills", "a fifth missing"])
def test_fills_tell_a_hulls_own_consumption(missing: float) -> None:
    """A hull that burns 1.2 times the rated cruise and 0.9 times the rated full-throttle litres.

    Both factors within two standard errors: about 91 % of seeds by chance alone, so fewer
    than 7 of 10 has a chance of about 1 %.
    """
    held = 0
    for seed in range(10):
        rng = np.random.default_rng(seed)
        rides, fills = [], []
        for number in range(400):
            share = float(rng.uniform(0.1, 0.5))
            rides.append(session(number, full_throttle_share=share))
            litres = 1.2 * 20 * (1 - share) + 0.9 * 60 * share
            put_back = litres * float(np.exp(rng.normal(0, 0.05))) + float(rng.normal(0, 2))
            if rng.random() >= missing:
                fills.append(outside_fill(number + 0.1, max(put_back, 0.1)))
        rated = rated_litres(engine_sessions(*rides), ASSUMPTIONS)
        record = craft_record(rated, records(fills=fills), ["H1"], ASSUMPTIONS)
        row = burn_factors(record, ["H1"], ASSUMPTIONS).row(0, named=True)
        held += (
            abs(row["cruise_factor"] - 1.2) < 2 * row["cruise_se"]
            and abs(row["full_factor"] - 0.9) < 2 * row["full_se"]
        )
    assert held >= 7


def test_a_possible_record_is_left_as_it_is() -> None:
    events = [("fill", 60.0), ("burn", 30.0), ("fill", 25.0), ("burn", 50.0)]
    explained = explain(events)

    assert explained.volume_l.tolist() == [60.0, 30.0, 25.0, 50.0]
    assert not explained.unrecorded_l.any()
    assert not explained.unexplained_l.any()


def test_a_burn_a_little_beyond_the_tank_is_stretched_to_fit() -> None:
    explained = explain([("fill", 60.0), ("burn", 32.0), ("burn", 32.0)])

    assert explained.volume_l[1:].sum() == pytest.approx(60.0)
    assert not explained.unrecorded_l.any()


def test_a_burn_far_beyond_the_tank_shows_an_unrecorded_fill_of_the_usual_size() -> None:
    explained = explain([("fill", 60.0), ("burn", 40.0), ("burn", 40.0)])

    assert explained.unrecorded_l.tolist() == [0.0, 0.0, 40.0]
    assert explained.volume_l.tolist() == [60.0, 40.0, 40.0]


def test_an_unrecorded_fill_comes_as_soon_as_there_is_room() -> None:
    """70 l tank brimmed, rides of 30 l: after the second there is room for the usual 40 l."""
    explained = explain([("fill", 70.0)] + [("burn", 30.0)] * 3)

    assert explained.unrecorded_l.tolist() == [0.0, 0.0, 0.0, 40.0]
    explained = explain([("fill", 70.0), ("burn", 41.0), ("burn", 5.0), ("burn", 60.0)])
    assert explained.unrecorded_l.tolist() == [0.0, 0.0, 40.0, 0.0]


def test_a_fill_without_room_shows_litres_that_left_unexplained() -> None:
    explained = explain([("fill", 60.0), ("burn", 10.0), ("fill", 60.0)])

    assert explained.volume_l[1] == pytest.approx(11.5)  # stretched by 15 % first
    assert explained.unexplained_l[2] == pytest.approx(38.5)


def test_measured_burns_are_never_stretched() -> None:
    explained = explain([("fill", 60.0), ("burn", 62.0)], estimated=False)

    assert explained.volume_l[1] == 62.0
    assert explained.unrecorded_l[1] == pytest.approx(2.0)


def test_a_hull_filled_to_a_steady_level_shows_a_missing_fill_at_once() -> None:
    """It fills to 66 l; 66 - 20 - 20 + 20 l is 20 l short of that: one fill is not on record."""
    events = [
        ("fill", 66.0), ("burn", 20.0), ("burn", 20.0), ("fill", 20.0),
        ("burn", 20.0), ("fill", 20.0),
    ]  # fmt: skip

    assert explain(events, filled_to=66.0).unrecorded_l.sum() == pytest.approx(20.0)
    assert explain(events).unrecorded_l.sum() == 0.0


def test_a_small_fill_made_good_by_the_next_is_no_missing_fill() -> None:
    events = [
        ("fill", 66.0), ("burn", 20.0), ("burn", 20.0), ("fill", 20.0),
        ("burn", 20.0), ("fill", 40.0),
    ]  # fmt: skip

    assert explain(events, filled_to=66.0).unrecorded_l.sum() == 0.0


def test_litres_on_hand_before_the_record_count_as_unrecorded() -> None:
    explained = explain([("burn", 30.0)], first_level=70.0)

    assert explained.unrecorded_l.tolist() == [70.0]


events = st.lists(
    st.tuples(st.sampled_from(["fill", "burn"]), st.floats(0.1, 150))
    | st.just(("emptied", float("nan"))),
    min_size=1,
    max_size=30,
)


@settings(derandomize=True, deadline=None)
@given(
    events=events,
    first=st.floats(0, 70),
    filled_to=st.floats(30, 70) | st.just(float("nan")),
    estimated=st.booleans(),
)
def test_levels_stay_within_the_tank_and_burns_within_the_stretch(
    events: list[tuple[str, float]], first: float, filled_to: float, estimated: bool
) -> None:
    explained = explain(events, first, filled_to, estimated)
    level = 0.0
    for i, (kind, litres) in enumerate(events):
        level += explained.unrecorded_l[i]
        assert level <= 70 + 1e-6
        level -= explained.unexplained_l[i]
        assert level >= -1e-6
        if kind == "emptied":
            assert explained.volume_l[i] == pytest.approx(level, abs=1e-6)  # sums run otherwise
            level = 0.0
            continue
        ratio = explained.volume_l[i] / litres
        if kind == "fill":
            assert ratio == 1.0
            level += min(litres, 70.0)  # what a tank of that size can take at all
            assert level <= 70 + 1e-6
        else:
            assert 0.85 - 1e-9 <= ratio <= 1.15 + 1e-9
            level -= min(explained.volume_l[i], level if litres > 60 else np.inf)
            assert level >= -1e-6


def test_a_missing_throttle_share_is_assumed_for_the_burn_too() -> None:
    rides = engine_sessions(session(1, full_throttle_share=None))
    row = rated_litres(rides, ASSUMPTIONS).row(0, named=True)
    share = ASSUMPTIONS.number("exposure.full_throttle_share")

    assert row["is_throttle_assumed"]
    assert row["full_l"] == pytest.approx(60 * share)
