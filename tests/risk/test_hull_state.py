"""Where each hull stands, how it is used and what things cost: small cases by hand."""

from datetime import UTC, datetime, timedelta

import polars as pl
import pytest

from ringland.contracts.fuel_tables import SessionExposure, TanksNow
from ringland.decision.actions.action_prices import prices
from ringland.decision.value.fuel_burned import dock_fuel, fuel_burned, one_grade_docks
from ringland.history.engine_history import installed_engines
from ringland.pages.week.hull_timeline import hull_events
from ringland.risk.expected_use import expected_use
from ringland.risk.hull_state import open_failures
from tests.decision.small_fleet import SETTINGS, frame, small_fleet
from tests.history.record_rows import records

AS_OF = datetime(2026, 8, 3, tzinfo=UTC)


def days_ago(days: float) -> datetime:
    return AS_OF - timedelta(days=days)


def session(hull_id: str, days: float, hours: float = 2.0, **more: object) -> dict[str, object]:
    return {
        "hull_id": hull_id,
        "dock_id": "north",
        "started_at": days_ago(days),
        "ended_at": days_ago(days) + timedelta(hours=3),
        "engine_h_start": 10.0,
        "engine_h_stop": 10.0 + hours,
        "burn_l": 10.0,
        "unknown_share": 0.0,
    } | more


def stay(
    engine_id: str, hull_id: str, since: float, until: float | None = None
) -> dict[str, object]:
    removed_at = None if until is None else days_ago(until)
    return {
        "engine_id": engine_id,
        "hull_id": hull_id,
        "installed_at": days_ago(since),
        "removed_at": removed_at,
    }


HULLS = records(
    hulls=[
        {"hull_id": "old", "dock_id": "north", "in_service_at": days_ago(400)},
        {"hull_id": "new", "dock_id": "north", "in_service_at": days_ago(4)},
        {"hull_id": "idle", "dock_id": "north", "in_service_at": days_ago(400)},
        {"hull_id": "far", "dock_id": "south", "in_service_at": days_ago(400)},
        {
            "hull_id": "sold",
            "dock_id": "north",
            "in_service_at": days_ago(400),
            "out_of_service_at": days_ago(1),
        },
    ]
)["hulls"]


def test_use_is_the_docks_pace_where_hulls_have_one_block_and_run_alike() -> None:
    """old: 14 sessions of 2 h in 28 days = 1 h/d.  new: 2 of 2 h in 4 days = 1 h/d."""
    sessions = [session("old", day) for day in range(1, 28, 2)]
    sessions += [session("new", 1), session("new", 2)]
    use = expected_use(frame(SessionExposure, sessions), HULLS, AS_OF, SETTINGS)

    now = use.with_columns((pl.col("use_h_d") / pl.col("season_turn")).round(9))
    got = {row["hull_id"]: (row["use_h_d"], row["is_own_use"]) for row in now.to_dicts()}
    assert got == {
        "far": (None, False),
        "idle": (1.0, False),
        "new": (1.0, True),
        "old": (1.0, True),
    }


def test_a_dock_with_one_hull_expects_what_it_ran_of_late() -> None:
    """28 h in 28 days, whatever it ran before."""
    sessions = [session("far", day, dock_id="south") for day in range(1, 28, 2)]
    sessions += [session("far", day, 9.0, dock_id="south") for day in range(29, 300, 3)]
    use = expected_use(frame(SessionExposure, sessions), HULLS, AS_OF, SETTINGS)

    now = use.select("hull_id", pl.col("use_h_d") / pl.col("season_turn"))
    assert dict(now.rows())["far"] == pytest.approx(1.0)


def test_one_busy_month_is_drawn_towards_what_a_hull_runs_in_a_year() -> None:
    """old and idle share the rides of nine months, idle a little more; this month old ran all."""
    sessions = [
        session("old" if (day + at) % 2 else "idle", day, 1.0 + 0.3 * at)
        for day in range(29, 280)
        for at in (0, 1)
    ]
    sessions += [session("old", day, 4.0) for day in range(1, 28)] + [session("idle", 3, 2.0)]
    use = expected_use(frame(SessionExposure, sessions), HULLS, AS_OF, SETTINGS)

    got = {row["hull_id"]: row for row in use.to_dicts()}
    pace = (27 * 4 + 2) / 28 / 2
    assert got["old"]["dock_use_h_d"] == pytest.approx(pace)
    turn = got["old"]["season_turn"]
    assert pace < got["old"]["use_h_d"] / turn < 27 * 4 / 28 * 0.75
    assert got["idle"]["use_h_d"] / turn > 2 * 2 / 28


LAST_YEAR = 364.0


def test_expected_use_is_recent_use_times_the_seasons_turn() -> None:
    sessions = [session("old", day) for day in range(1, 28, 2)]
    sessions += [session("old", LAST_YEAR + 40, 1.0), session("old", LAST_YEAR + 10, 28.0)]
    sessions += [session("old", LAST_YEAR - 10, 60.0), session("old", 40, 1.0)]
    # Last year's 60 h in 30 days after 28 h in 28: twice, as this year's 28 h stand level.
    use = expected_use(frame(SessionExposure, sessions), HULLS, AS_OF, SETTINGS)

    old = use.row(by_predicate=pl.col("hull_id") == "old", named=True)
    assert old["use_h_d"] == pytest.approx(old["season_turn"])
    assert 1.6 < old["season_turn"] < 2.0


def test_the_engine_in_a_hull_is_the_one_fitted_last_and_not_lifted() -> None:
    stays = records(
        installations=[
            stay("E1", "A", 90, 9),
            stay("E2", "A", 9),
            stay("E3", "B", 9, 1),
            stay("E4", "C", -1),
        ]
    )["installations"]
    assert installed_engines(stays, AS_OF).select("hull_id", "engine_id").rows() == [("A", "E2")]


def test_a_failure_is_open_until_a_rebuild_or_a_new_piston_set() -> None:
    shop = records(
        failures=[
            {"engine_id": engine, "found_at": days_ago(10), "mode": "ring_wear"}
            for engine in ("open", "rebuilt", "new_set", "rebuilt_before")
        ],
        rebuilds=[
            {"engine_id": "rebuilt", "rebuilt_at": days_ago(5)},
            {"engine_id": "rebuilt_before", "rebuilt_at": days_ago(50)},
        ],
        piston_sets=[{"engine_id": "new_set", "fitted_at": days_ago(10)}],
    )
    found = open_failures(shop["failures"], shop["rebuilds"], shop["piston_sets"])

    assert found["engine_id"].to_list() == ["open", "rebuilt_before"]


def test_the_shops_latest_price_counts_and_the_rest_come_from_the_settings() -> None:
    costs = records(
        costs=[
            {"item": "check", "season": 2024, "amount": 150.0, "currency": "USD"},
            {"item": "check", "season": 2026, "amount": 190.0, "currency": "USD"},
            {"item": "check", "season": 2027, "amount": 999.0, "currency": "USD"},
            {"item": "sandwich", "season": 2026, "amount": 9.0, "currency": "EUR"},
        ]
    )["costs"]
    found = prices(costs, 2026, SETTINGS)

    assert (found.check, found.currency) == (190.0, "USD")
    assert found.drain_refill == SETTINGS.number("cost.drain_refill")
    assert "check" not in found.from_settings
    assert "drain_refill" in found.from_settings
    assert found.unplanned == 7000 + 10 * 400
    assert found.planned_renewal == 3500 + 3 * 400


def test_two_currencies_in_use_are_refused() -> None:
    costs = records(
        costs=[
            {"item": "check", "season": 2026, "amount": 190.0, "currency": "USD"},
            {"item": "drain_refill", "season": 2026, "amount": 190.0, "currency": "EUR"},
        ]
    )["costs"]
    with pytest.raises(ValueError, match="EUR, USD; give every item"):
        prices(costs, 2026, SETTINGS)


def test_fuel_below_need_is_a_share_of_litres_whose_margin_is_known() -> None:
    """10 l at -2, 30 l at +1, 20 l unknown: a quarter of the known 40 l, short by 2."""
    sessions = [
        session("A", 1, octane_margin_on=-2.0, fuel_age_d=30.0),
        session("A", 2, octane_margin_on=1.0, burn_l=30.0, fuel_age_d=10.0),
        session("A", 3, burn_l=20.0, unknown_share=1.0),
        session("A", 90, octane_margin_on=-9.0, burn_l=500.0),
    ]
    row = fuel_burned(frame(SessionExposure, sessions), "hull_id", AS_OF, SETTINGS).row(
        0, named=True
    )

    assert row["burned_l"] == 60
    assert row["below_need_share"] == 0.25
    assert row["shortfall_on"] == 2.0
    assert row["fuel_age_d"] == 15.0
    assert row["oldest_fuel_d"] == 30.0
    assert row["unknown_share"] == pytest.approx(1 / 3)


def test_a_dock_whose_octane_hardly_varies_sold_one_grade() -> None:
    """87, 87, 87.4 spread by 0.23; 87, 91 by 2.8; one rental alone tells nothing."""
    octane = {"one": [87.0, 87.0, 87.4], "two": [87.0, 91.0], "lone": [87.0]}
    sessions = [
        session("A", day, dock_id=dock, octane_aki=value)
        for dock, values in octane.items()
        for day, value in enumerate(values, start=1)
    ]

    assert one_grade_docks(frame(SessionExposure, sessions), SETTINGS) == ("one",)


def test_a_drain_stands_on_the_hulls_time_line_with_its_litres_and_reason() -> None:
    noon = AS_OF - timedelta(days=9)
    drained = [
        {"hull_id": "H1", "drained_at": noon, "volume_l": 12.6, "why": "old fuel"},
        {"hull_id": "H1", "drained_at": noon + timedelta(days=1)},
    ]

    events = hull_events(records(drains=drained))

    assert events.rows() == [
        ("H1", noon, "Drain", "13 l, old fuel"),
        ("H1", noon + timedelta(days=1), "Drain", "emptied"),
    ]


def test_a_dock_without_rentals_or_deliveries_stays_with_nulls() -> None:
    docks = records(docks=[{"dock_id": "north"}])["docks"]
    row = dock_fuel(frame(SessionExposure, []), frame(TanksNow, []), docks, AS_OF, SETTINGS).row(
        0, named=True
    )

    assert row.pop("dock_id") == "north"
    assert set(row.values()) == {None}


def test_an_engines_events_follow_it_from_hull_to_hull() -> None:
    shop = records(
        installations=[
            stay("E1", "A", 90, 30),
            stay("E1", "B", 20),
        ],
        calibrations=[
            {"engine_id": "E1", "in_force_at": days_ago(100), "calibration": "stock"},
            {"engine_id": "E1", "in_force_at": days_ago(5), "calibration": "raised"},
        ],
        failures=[{"engine_id": "E1", "found_at": days_ago(25), "mode": "ring_wear"}],
        rebuilds=[{"engine_id": "E9", "rebuilt_at": days_ago(3), "scope": "full"}],
    )
    events = hull_events(shop).select("hull_id", "lane").rows()

    assert events == [("A", "Calibration"), ("A", "Failure"), ("B", "Calibration")]


def test_running_sets_say_why_no_chance_is_given() -> None:
    fleet = small_fleet()
    why = dict(fleet.tables(fleet.fits()).running.select("hull_id", "why_not").rows())

    assert why.pop("H00") == "a failure was found and no rebuild is on record"
    assert why.pop("H01") == "no engine on record for this hull"
    assert why.pop("H02") == "only 20 % of the fuel it burned of late is on record"
    assert set(why.values()) == {None}


def test_a_hull_silent_for_long_gets_no_chance() -> None:
    fleet = small_fleet()
    is_silent = pl.col("hull_id") == "H05"
    silent = pl.col("started_at") < pl.col("started_at").min() + timedelta(days=20)
    exposure = fleet.exposure.filter(~is_silent | silent)
    running = type(fleet)(**(vars(fleet) | {"exposure": exposure})).tables(fleet.fits()).running

    reason = running.filter(is_silent)["why_not"].item()
    assert reason.startswith("no rental on record for ")
    assert running["why_not"].null_count() == 8
