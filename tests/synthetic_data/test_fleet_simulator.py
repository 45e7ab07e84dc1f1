import ast
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import polars as pl
import pytest

import synthetic_data
from ringland.contracts.record_kinds import RECORD_KINDS
from synthetic_data.fleet_simulator import Fleet, simulate_fleet
from synthetic_data.record_files import record_csv, truth_json
from synthetic_data.scenario import Scenario, no_fuel_effect

SMALL = Scenario(hulls=12, seasons=(2025, 2026))


@cache
def clean_fleet() -> Fleet:
    return simulate_fleet(replace(Scenario(), with_faults=False), 11)


@cache
def faulty_fleet() -> Fleet:
    return simulate_fleet(Scenario(), 11)


def test_same_seed_gives_the_same_bytes_and_another_seed_does_not():
    one, two, other = (simulate_fleet(SMALL, seed) for seed in (3, 3, 4))
    for kind in one.records:
        assert record_csv(one, kind) == record_csv(two, kind)
    assert truth_json(one) == truth_json(two)
    assert one.truth_sessions.equals(two.truth_sessions)
    assert record_csv(one, "sessions") != record_csv(other, "sessions")


def test_simulator_reads_no_clock():
    """No module calls now, today, time or a global random generator."""
    folder = Path(synthetic_data.__file__).parent
    forbidden = {"now", "today", "utcnow", "time", "perf_counter", "random_state"}
    for path in folder.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Attribute):
                assert node.attr not in forbidden, f"{path.name}: {node.attr}"
            if isinstance(node, ast.Import):
                assert not {a.name for a in node.names} & {"time", "random"}, path.name


@pytest.mark.parametrize("kind", list(RECORD_KINDS))
def test_clean_records_keep_their_contract(kind):
    frame = clean_fleet().records[kind]
    good, bad = RECORD_KINDS[kind].schema.filter(frame)
    assert frame.height > 0
    assert bad.counts() == {}
    assert good.height == frame.height
    assert frame.select(RECORD_KINDS[kind].key).is_unique().all()


def test_clean_records_name_only_what_is_on_record():
    records = clean_fleet().records
    checked = 0
    for kind, about in RECORD_KINDS.items():
        for column, named in about.refers_to.items():
            key = RECORD_KINDS[named].key[0]
            unknown = set(records[kind][column].drop_nulls()) - set(records[named][key])
            assert not unknown, f"{kind}.{column}: {unknown}"
            checked += 1
    assert checked >= 10


@pytest.mark.parametrize("fleet", [clean_fleet, faulty_fleet])
def test_litres_in_are_litres_burned_and_litres_left(fleet):
    litres = fleet().truth["litres"]
    came = litres["opening_l"] + litres["delivered_l"] + litres["outside_l"]
    went = litres["burned_l"] + litres["drained_l"]
    went += litres["left_in_docks_l"] + litres["left_in_craft_l"]
    assert came == pytest.approx(went, abs=0.1)  # of 700,000 l; the figures are rounded to a ml
    assert fleet().truth_sessions["burn_l"].sum() == pytest.approx(litres["burned_l"], abs=0.1)


def test_recorded_fills_explain_what_was_burned():
    """Second route to the balance, from a clean fleet's records and what it left unwritten."""
    fleet = clean_fleet()
    moves = fleet.records["transfers"]
    unwritten = fleet.truth["unwritten_l"]
    flows = [
        fleet.records["fills"].select("hull_id", "volume_l"),
        moves.select("volume_l", hull_id="to_hull_id"),
        moves.select(-pl.col("volume_l"), hull_id="from_hull_id"),
        fleet.records["drains"].select("hull_id", -pl.col("volume_l").fill_null(0.0)),
        pl.DataFrame({"hull_id": list(unwritten), "volume_l": list(unwritten.values())}),
    ]
    came = pl.concat([flow.select("hull_id", "volume_l") for flow in flows])
    came = came.group_by("hull_id").agg(pl.col("volume_l").sum())
    burned = fleet.truth_sessions.group_by("hull_id").agg(pl.col("burn_l").sum())
    hulls = fleet.records["hulls"].join(came, on="hull_id").join(burned, on="hull_id")
    left = hulls["volume_l"] - hulls["burn_l"]
    assert (left > -0.01).all()  # rounding of a thousand sums
    assert (left <= hulls["tank_l"] + 0.01).all()


def test_no_tank_runs_dry_or_over():
    tank = clean_fleet().truth_sessions.join(
        clean_fleet().records["hulls"].select("hull_id", "tank_l"), on="hull_id"
    )
    assert (tank["tank_before_l"] <= tank["tank_l"] + 1e-9).all()
    assert (tank["burn_l"] < tank["tank_before_l"]).all()


def test_what_is_truly_burned_lies_between_the_grades_sold():
    truth = clean_fleet().truth_sessions
    # 87 to 93 plus boosters of 3 at most, loads 0.2 ON (sd) about their label.
    assert truth["octane_aki"].is_between(86.0, 97.0).all()
    assert (truth["fuel_age_d"] > 0).all()
    assert truth["share_over_28d"].is_between(0, 1).all()
    short = (truth["octane_need_aki"] - truth["octane_aki"]).clip(lower_bound=0)
    assert (truth["shortfall"] - short).abs().max() < 1e-9


def test_sessions_of_a_hull_do_not_overlap_and_need_an_engine():
    records = clean_fleet().records
    sessions = records["sessions"].sort("hull_id", "started_at")
    overlap = sessions.filter(pl.col("started_at") < pl.col("ended_at").shift(1).over("hull_id"))
    assert overlap.is_empty()
    stays = records["installations"]
    served = sessions.join_where(
        stays.rename({"hull_id": "in_hull"}),
        pl.col("hull_id") == pl.col("in_hull"),
        pl.col("started_at") >= pl.col("installed_at"),
        pl.col("ended_at") <= pl.col("removed_at").fill_null(pl.lit(sessions["ended_at"].max())),
    )
    assert served.height == sessions.height


def test_stays_of_an_engine_and_of_a_hull_do_not_overlap():
    stays = clean_fleet().records["installations"]
    for who in ("engine_id", "hull_id"):
        ordered = stays.sort(who, "installed_at")
        before = pl.col("removed_at").shift(1).over(who)
        clash = ordered.filter(
            (pl.int_range(pl.len()).over(who) > 0)
            & (before.is_null() | (before > pl.col("installed_at")))
        )
        assert clash.is_empty()


def test_a_found_failure_takes_the_engine_out_and_a_new_set_goes_in():
    records = clean_fleet().records
    fitted = records["piston_sets"]
    end = records["sessions"]["ended_at"].max()
    for row in records["failures"].iter_rows(named=True):
        mine = pl.col("engine_id") == row["engine_id"]
        out = records["installations"].filter(mine)["removed_at"].drop_nulls()
        assert any(0 < (o - row["found_at"]).total_seconds() < 2 * 86400 for o in out)
        later = records["sessions"].filter(pl.col("started_at") > row["found_at"])
        assert later["started_at"].max() is None or later["started_at"].max() <= end
        rebuilt = records["rebuilds"].filter(mine & (pl.col("rebuilt_at") > row["found_at"]))
        if rebuilt.height:
            first = rebuilt["rebuilt_at"].min()
            assert (fitted.filter(mine)["fitted_at"] == first).any()


def test_every_true_failure_that_was_found_is_on_record():
    fleet = clean_fleet()
    on_record = {
        (row["engine_id"], row["mode"], row["found_at"].strftime("%Y-%m-%dT%H:%M:%SZ"))
        for row in fleet.records["failures"].iter_rows(named=True)
    }
    true = {
        (f["engine_id"], f["mode"], f["found_at"])
        for f in fleet.truth["failures"]
        if f["found_at"] is not None
    }
    assert on_record == true
    assert all(
        f["found_at"] is None or f["struck_at"] <= f["found_at"] for f in fleet.truth["failures"]
    )


def test_faults_change_the_papers_and_not_the_world():
    clean, faulty = clean_fleet(), faulty_fleet()
    assert clean.truth_sessions.equals(faulty.truth_sessions)
    assert clean.truth["failures"] == faulty.truth["failures"]
    assert clean.truth["faults"] == []
    assert clean.raw_cells == {}


def test_no_effect_scenario_has_zero_effects_and_about_as_many_broken_lands():
    truth = no_fuel_effect().ring_land
    assert (truth.beta_shortfall, truth.beta_age, truth.beta_raised) == (0.0, 0.0, 0.0)
    assert all(mode.beta_age == 0.0 for mode in no_fuel_effect().other_modes)
    counts = []
    for scenario in (Scenario(), no_fuel_effect()):
        fleets = [simulate_fleet(replace(scenario, with_faults=False), s) for s in range(31, 35)]
        counts.append(
            np.mean([(f.truth_sessions["struck"] == "ring_land_fracture").sum() for f in fleets])
        )
    # Four fleets of about 20 each: the ratio of two such Poisson means has an sd of 0.16.
    assert 0.6 < counts[0] / counts[1] < 1.6


@pytest.mark.parametrize("hulls", [1, 5, 12])
def test_small_operators_can_be_simulated(hulls):
    fleet = simulate_fleet(replace(SMALL, hulls=hulls), 8)
    assert fleet.records["hulls"].height == hulls
    hours = fleet.truth_sessions["running_h"].sum() / hulls / 2
    assert 60 < hours < 300  # 165 h a season and hull is meant; popularity varies by a quarter


def test_fuel_varies_within_docks_and_apart_from_age():
    """What makes octane and age separable from each other and from the dock."""
    truth = clean_fleet().truth_sessions.with_columns(dock=pl.col("hull_id").str.head(2))
    by_dock = truth.group_by("dock").agg(
        pl.col("shortfall_25h_on").std(),
        pl.corr("shortfall_25h_on", "fuel_age_25h_d").alias("together"),
    )
    assert by_dock["shortfall_25h_on"].min() > 0.3
    assert by_dock["together"].abs().max() < 0.6
