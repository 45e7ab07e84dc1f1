"""The studies' worlds: what they do with fuel, hours and luck, and what gets written down."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from ringland.bench.bench_station import station_pressures
from ringland.bench.bench_tests import judge_bench_tests
from ringland.bench.standing_tests import complete_passes
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.network.buckets import cut_by_operator
from synthetic_data.worlds.failure_law import Law
from synthetic_data.worlds.fleet_state import first_state
from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.looking_back import LookingBack
from synthetic_data.worlds.network_of_operators import operator_files
from synthetic_data.worlds.record_book import WRITTEN
from synthetic_data.worlds.season_ahead import Bearing, Standing, costs_by_hull
from synthetic_data.worlds.true_chances import own_given_past, true_chances
from synthetic_data.worlds.world_shapes import HARMLESS, SHAPES, draw_error_world, draw_world
from tests.studies.loaded_records import LoadedRecords

PRICES = Bearing(11000.0, 4700.0, 3.0, 150.0, 170.0)


def lived(shape: str, hulls: int, seed: int, days: int) -> LivingFleet:
    fleet = LivingFleet(draw_world(shape, hulls, seed))
    fleet.live_to(fleet.world.opening(fleet.world.years[0]) + days)
    return fleet


def test_the_same_world_writes_the_same_records_and_another_seed_others() -> None:
    one, two, other = (lived("frail engines", 8, seed, 40).hand_in() for seed in (3, 3, 4))

    assert one == two
    assert one["sessions"] != other["sessions"]


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_writes_records_of_the_contracts_columns(shape: str) -> None:
    files = lived(shape, 8, 1, 60).hand_in()

    assert {"docks", "hulls", "engines", "piston_sets", "fills", "sessions"} <= set(files)
    for kind, text in files.items():
        columns = RECORD_KINDS[kind].schema.column_names()
        header, *rows = text.splitlines()
        assert set(header.split(",")) <= set(columns)
        assert header.split(",") == WRITTEN[kind].split()
        assert all(row.count(",") == header.count(",") for row in rows)


def test_two_acts_meet_the_same_renters_weather_and_loads() -> None:
    """Otherwise the luck of the draw would be counted to one policy and not to the other."""
    world = replace(draw_world("log-linear", 8, 2), fails_per_season=0.0)
    quiet = replace(world, law=replace(world.law, scale=0.0, early_part=0.0, wearing=(1.0, 1e12),
                                       others=((1.0, 1e12),) * 4))  # fmt: skip
    one, other = LivingFleet(quiet), LivingFleet(quiet)
    other.state.good_fuel[:] = True
    for fleet in (one, other):
        fleet.live_to(quiet.opening(2024) + 50)

    assert one.failures == other.failures == []
    np.testing.assert_allclose(one.state.engine_h, other.state.engine_h, rtol=1e-12)
    assert (one.state.tanks.octane < other.state.tanks.octane).any()


def test_looking_back_weighs_the_oldest_ride_by_the_part_that_still_counts() -> None:
    """Three rides of 10 h, 25 h looked back over: half of the first counts."""
    back, at = LookingBack(1, 25.0), np.array([0])
    for short, age in ((2.0, 30.0), (0.0, 10.0), (1.0, 20.0)):
        back.add(at, np.array([[10.0, 5.0, 5.0 * short, 200.0, 200.0 * age]]))

    short_on, fuel_d, share, has = back.means(at)

    assert has[0]
    assert short_on[0] == pytest.approx((2.5 * 2 + 5 * 0 + 5 * 1) / 12.5)
    assert fuel_d[0] == pytest.approx((100 * 30 + 200 * 10 + 200 * 20) / 500)
    assert share[0] == pytest.approx(0.5)


def test_a_set_s_window_forgets_rides_of_long_ago() -> None:
    back, at = LookingBack(2, 25.0), np.array([1])
    for ride in range(300):
        back.add(at, np.array([[0.5, 0.1, 0.1 * (ride < 200), 10.0, 10.0 * ride]]))

    short_on, fuel_d, _, _ = back.means(at)

    assert short_on[0] == pytest.approx(0.0, abs=1e-9)
    assert fuel_d[0] == pytest.approx(np.arange(250, 300).mean())


def test_true_chances_are_borne_out_by_what_then_breaks() -> None:
    """Twelve fleets: failures in 30 days within three Poisson deviations of the sum of chances."""
    expected, broken = 0.0, 0
    for seed in range(1, 13):
        fleet = lived("early faults and wear", 24, seed, 60)
        now = fleet.day
        expected += float(true_chances(fleet.world, fleet.state, now, seed).in_30d.sum())
        fleet.live_to(now + 30)
        broken += len({at for day, at, mode in fleet.failures if day >= now and mode < 2})

    assert broken > 10
    assert abs(broken - expected) < 3 * np.sqrt(expected)


def test_an_engine_that_broke_often_is_taken_to_be_frail() -> None:
    world = draw_world("frail engines", 8, 1)
    state = first_state(world, np.random.default_rng(1))
    state.base_spent[:] = 1.0
    state.engine_fails[0] = 4

    drawn = own_given_past(world.law, state, 200, np.random.default_rng(2)).reshape(200, 8)

    assert drawn[:, 0].mean() > drawn[:, 1:].mean() + 0.3


@pytest.mark.parametrize("shape", HARMLESS)
def test_good_fuel_saves_nothing_where_fuel_is_harmless(shape: str) -> None:
    fleet = lived(shape, 8, 1, 30)
    as_is, good = costs_by_hull(
        fleet.world, fleet.state, fleet.day, fleet.day + 60, [Standing(), Standing(good_fuel=True)],
        prices=PRICES, copies=4, seed=1, knows_own=True,
    )  # fmt: skip
    _, only_paid = costs_by_hull(
        fleet.world, fleet.state, fleet.day, fleet.day + 60, [Standing(), Standing(good_fuel=True)],
        prices=replace(PRICES, failure=0.0), copies=4, seed=1, knows_own=True,
    )  # fmt: skip

    np.testing.assert_allclose(good - as_is, only_paid, rtol=1e-9)
    assert only_paid.min() >= 0
    assert only_paid.sum() > 0


def test_good_fuel_saves_where_a_jump_waits_below_need() -> None:
    fleet = lived("threshold", 12, 1, 30)
    as_is, good = costs_by_hull(
        fleet.world, fleet.state, fleet.day, fleet.day + 60, [Standing(), Standing(good_fuel=True)],
        prices=replace(PRICES, failure=1e6), copies=4, seed=1, knows_own=True,
    )  # fmt: skip

    assert good.sum() < 0.8 * as_is.sum()


def test_a_set_fitted_after_a_failure_may_fail_in_its_turn() -> None:
    """A fault found in use: only a first failure was counted over two seasons, so that whatever
    kept a worn set through this season seemed to save nothing, and the oracle lost to doing
    nothing."""
    fleet = lived("wear only", 8, 1, 10)
    fleet.state.age_h[:] = 6000.0
    (cost,) = costs_by_hull(
        fleet.world, fleet.state, fleet.day, fleet.day + 365 + 100, [Standing()],
        prices=PRICES, copies=4, seed=1, knows_own=True,
    )  # fmt: skip

    assert cost.min() > PRICES.failure


def test_messy_records_lose_and_garble_more_than_usual_ones() -> None:
    usual, messy = (lived(shape, 12, 5, 120).hand_in() for shape in ("log-linear", "messy records"))

    def grade_missing(files: dict[str, str]) -> float:
        rows = [row.split(",") for row in files["fills"].splitlines()[1:] if "outside" in row]
        return float(np.mean([row[5:9] == [""] * 4 for row in rows]))

    assert messy["fills"].count("n/a") > usual["fills"].count("n/a")
    assert grade_missing(messy) > grade_missing(usual)


def test_a_law_of_nothing_breaks_nothing() -> None:
    world = replace(
        draw_world("wear only", 8, 1),
        law=Law(scale=0.0, wearing=(1.0, 1e12), others=((1.0, 1e12),) * 4),
    )
    fleet = LivingFleet(world)
    fleet.live_to(world.opening(2024) + 153)

    assert fleet.failures == []


def test_a_dock_that_orders_a_grade_gets_no_load_below_it_and_pays_for_the_better_ones() -> None:
    """2.5 cents a litre and octane number, over what would have come."""
    as_it_comes, ordered = (LivingFleet(draw_world("hard riders", 12, 1)) for _ in range(2))
    ordered.state.order_aki[:] = 93.0
    for fleet in (as_it_comes, ordered):
        fleet.live_to(fleet.world.opening(2024) + 60)

    def lowest_grade(fleet: LivingFleet) -> float:
        rows = [line.split(",") for line in fleet.hand_in()["deliveries"].splitlines()[1:]]
        return min(float(row[3]) for row in rows if row[3])

    assert lowest_grade(ordered) >= 93.0 > lowest_grade(as_it_comes)
    assert ordered.state.paid_for_grade[0] > 0
    assert as_it_comes.state.paid_for_grade.sum() == 0


def test_a_build_is_handed_over_with_a_whole_test_that_passes() -> None:
    """A fault found in use: nothing was written down of it, so that a set fitted because a test
    had failed was tested once more, at the price of a check and half a day."""
    fleet = lived("threshold", 8, 1, 60)
    fleet.hand_in()
    fleet.shop.renew(2, fleet.day, 3.0)
    fleet.live_to(fleet.day + 1)
    records = LoadedRecords()
    records.load(lived("threshold", 8, 1, 60).hand_in(), "before")
    records.load(fleet.hand_in(), "after")

    rows = records.frames["inspections"].filter(engine_id=fleet.shop.engine_ids[2])
    built = records.frames["rebuilds"].filter(engine_id=fleet.shop.engine_ids[2])["rebuilt_at"]
    read = rows.filter(pl.col("rebuilt_at") == built.max())
    air = station_pressures(
        read, *(records.frames[name] for name in ("installations", "hulls", "docks"))
    )
    bench = judge_bench_tests(read, records.frames["engines"], air)
    passed = complete_passes(bench, records.frames["engines"])
    assert set(passed["measure"]) == {"compression", "leak_down"}


def test_an_error_in_the_written_need_changes_the_paper_and_nothing_else() -> None:
    files = []
    for error_on in (0.0, 1.0):
        fleet = LivingFleet(draw_error_world(8, 1, error_on))
        fleet.live_to(fleet.world.opening(2024) + 40)
        files.append(fleet.hand_in())

    right, wrong = files
    assert right.pop("calibrations") != wrong.pop("calibrations")
    assert right == wrong


def test_operators_of_a_network_share_no_id_and_are_made_alike_alone_or_among_others() -> None:
    loaded = {}
    for number in (1, 2):
        records = LoadedRecords()
        records.load(operator_files(number, 4, 3, season_days=10), "all")
        assert records.rows_set_aside < 0.02 * records.rows_in
        loaded[number] = records.frames

    both = {kind: pl.concat([rows, loaded[2][kind]]) for kind, rows in loaded[1].items()}
    cut = cut_by_operator(both, "nobody")

    assert list(cut) == ["operator 001", "operator 002"]
    own = {kind: rows for kind, rows in loaded[1].items() if kind not in ("costs", "hulls")}
    assert all(cut["operator 001"][kind].equals(rows) for kind, rows in own.items())
    assert cut["operator 001"]["hulls"]["operator"].to_list() == ["operator 001"] * 4
    assert operator_files(2, 4, 3, season_days=10) == operator_files(2, 4, 3, season_days=10)
