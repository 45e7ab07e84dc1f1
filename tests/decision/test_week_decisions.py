"""The week's decisions from the tables of the week, in one call."""

from dataclasses import replace
from datetime import timedelta

import polars as pl

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.plan.hand_changes import HandChanges
from ringland.decision.week_decisions import WeekDecisions, default_limits
from tests.decision.small_fleet import AS_OF, SETTINGS, small_fleet

CATALOGUE = default_catalogue(SETTINGS)
FLEET = small_fleet()
FITS = FLEET.fits()
TABLES = FLEET.tables(FITS)
KITS = ("top_end_kit", "bottom_end_kit")


def decisions(**changed: object) -> WeekDecisions:
    return FLEET.decisions(FITS, **changed)


def test_a_week_is_decided_in_one_call_and_the_same_each_time() -> None:
    first, second = decisions(), decisions()

    assert first.plan is not None
    assert second.plan is not None
    assert first.plan.rows.equals(second.plan.rows)
    assert first.calls.equals(second.calls)
    assert first.options.equals(second.options)
    assert first.outlook.equals(second.outlook)  # type: ignore[union-attr, arg-type]
    assert first.bound is not None
    assert first.renewal is not None


def test_the_list_is_the_plan() -> None:
    """Each hull's action, price and cost of leaving it are those of the plan's own table."""
    made = decisions()
    assert made.plan is not None
    planned = made.plan.rows.select("hull_id", "option").join(
        made.options.filter(pl.col("fuel_way").is_in(["", "outside"])), on=["hull_id", "option"]
    )
    waiting = made.options.filter(option="nothing").select("hull_id", left="expected_cost")
    both = made.calls.drop_nulls("cost_of_waiting").join(planned, on="hull_id")
    both = both.join(waiting, on="hull_id")

    assert both.height == made.calls["rank"].drop_nulls().len()
    assert (both["action"] == both["option"]).all()
    beside = made.jobs.filter(because="own_fuel").select("hull_id", more="price")
    cost = both.join(beside, on="hull_id", how="left").with_columns(pl.col("more").fill_null(0.0))
    assert beside.height > 2
    assert (cost["action_cost"] - cost["more"] - cost["sure_cost"]).abs().max() < 1e-9
    assert (both["cost_of_waiting"] == both["left"]).all()


def test_default_limits_count_every_kit_the_catalogue_uses() -> None:
    limits = default_limits(CATALOGUE, SETTINGS)

    assert limits.parts_on_hand == {"bottom_end_kit": 1, "top_end_kit": 1}
    assert not limits.can_order("top_end_kit")


def test_a_pin_reaches_the_plan_and_its_renewal_the_outlook() -> None:
    hull = TABLES.running.filter(pl.col("why_not").is_null())["hull_id"][0]
    limits = replace(default_limits(CATALOGUE, SETTINGS), parts_on_hand=dict.fromkeys(KITS, 3))

    pinned = decisions(changes=HandChanges(pins={hull: "planned_top_end"}), limits=limits)

    assert pinned.plan is not None
    assert pinned.plan.hand_changes[hull] > 0
    call = pinned.calls.filter(hull_id=hull).row(0, named=True)
    assert (call["action"], call["decided_by"]) == ("planned_top_end", "hand")
    kits = pinned.outlook.filter(pl.col("quantity") == "kits: top_end_kit")  # type: ignore[union-attr]
    assert kits["q05"].item() >= 1


def test_a_pin_that_a_safety_rule_overrules_is_set_aside_and_said() -> None:
    pinned = decisions(changes=HandChanges(pins={"H04": "fuel_rule", "H01": "leak_down_check"}))

    call = pinned.calls.filter(hull_id="H04").row(0, named=True)
    assert call["action"] == "find_the_leak"  # its last test failed
    assert pinned.set_aside == (
        "H04 pinned to 'fuel rule' is set aside: a safety rule comes first.",
        "H01 pinned to 'leak-down check' is set aside: nothing is planned on it this week.",
    )


def test_after_the_season_there_is_a_plan_and_no_outlook() -> None:
    over = decisions(season_ends_at=AS_OF - timedelta(days=1))

    assert over.outlook is None
    assert over.plan is not None
    assert over.plan.rows.height > 0


def test_near_the_seasons_end_the_plan_looks_no_further() -> None:
    last = decisions(season_ends_at=AS_OF + timedelta(days=12))
    broken = last.calls.filter(action="repair").row(0, named=True)

    assert last.horizon_d == 12
    # 7,000 and ten days of rental now; begun a week later only twelve of seventeen days count.
    assert broken["action_cost"] == 7_000 + 10 * 400
    assert broken["cost_of_waiting"] == 7_000 + 12 * 400


def test_where_no_hull_has_a_chance_safety_still_speaks() -> None:
    why_not = pl.when(pl.col("why_not").is_null()).then(pl.lit("no rental on record"))
    unknown = TABLES.running.with_columns(why_not=why_not.otherwise("why_not"))
    empty = TABLES.chances.with_columns(
        pl.lit(None, dtype=pl.Float64).alias(name)
        for name in ("chance_7d", "chance_7d_low", "chance_7d_high", "chance_30d")
    )
    made = decisions(tables=replace(TABLES, running=unknown, chances=empty))
    by_hull = {row["hull_id"]: row for row in made.calls.to_dicts()}

    assert (by_hull["H00"]["call"], by_hull["H00"]["action"]) == ("do_not_rent", "repair")
    assert (by_hull["H04"]["call"], by_hull["H04"]["action"]) == ("do_not_rent", "find_the_leak")
    assert by_hull["H04"]["cost_of_waiting"] is None
    assert by_hull["H06"]["call"] == "not_enough_record"
    assert made.outlook is None
    assert set(made.advice["about"]) >= {"fuel", "record", "chance"}


def test_no_room_for_a_check_or_a_repair_keeps_the_hull_ashore() -> None:
    made = decisions(limits=replace(default_limits(CATALOGUE, SETTINGS), mechanic_h=1.0))
    by_hull = {row["hull_id"]: row for row in made.calls.to_dicts()}

    for hull, wants in (("H00", "repair"), ("H04", "find_the_leak")):
        row = by_hull[hull]
        assert (row["call"], row["action"]) == ("do_not_rent", "take_out_of_use")
        assert (row["waits_for"], row["no_room_in"]) == (wants, "mechanic hours")
        assert "room" in row["reason"]
