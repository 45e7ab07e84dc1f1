"""What stands behind the list, in words: who waits, decisions by hand, kits, renewal."""

from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

from ringland.decision.actions.standing_rules import Standing
from ringland.decision.plan.hand_changes import HandChanges
from ringland.decision.value.booster_offers import BoosterOffer
from ringland.decision.value.fuel_trial import FuelTrial
from ringland.decision.week_decisions import default_limits
from ringland.pages.week.plan_lines import (
    bay_lines,
    hand_lines,
    hull_plan_line,
    instead_lines,
    kit_lines,
    order_lines,
    outlook_line,
    plan_groups,
    reading_lines,
    renewal_line,
    spare_line,
    waiting_groups,
)
from ringland.survival.lives.age_replacement import ReplacementLimits
from ringland.words.number_words import money_text
from tests.decision.small_fleet import AS_OF, CATALOGUE, SETTINGS, frame, small_fleet

FLEET = small_fleet()
FITS = FLEET.fits()
LIMITS = default_limits(CATALOGUE, SETTINGS)
WEEK = FLEET.decisions(FITS)
PAYING = {"fuel_rule", "read_calibration", "test_fuel"}
FORBIDDEN = [
    name for name, jobs in CATALOGUE.bundles().items() if PAYING & {job.name for job in jobs}
]
NO_SLOT = FLEET.decisions(FITS, limits=replace(LIMITS, lift_slots=0))


def test_the_jobs_are_the_lists_own_and_add_up() -> None:
    calls = WEEK.calls.to_dicts()
    groups = plan_groups(WEEK, calls, CATALOGUE)

    planned = [group for group in groups if not group["label"].startswith("Beside the plan")]
    assert len(groups) == len(planned) + 1
    assert [hull for group in planned for hull in group["hulls"]] == [
        hull
        for action in WEEK.calls["action"].drop_nulls().unique(maintain_order=True)
        for hull in WEEK.calls.filter(action=action)["hull_id"]
        if action != "nothing"
    ]
    assert WEEK.plan is not None
    assert sum(group["mechanic_h"] for group in planned) == WEEK.plan.used["mechanic hours"]
    costs = WEEK.calls["action_cost"].sum()
    assert sum(group["cost"] for group in groups) == pytest.approx(costs)


def test_a_hull_without_room_says_what_it_waits_for_and_what_one_more_is_worth() -> None:
    groups = waiting_groups(NO_SLOT.calls.to_dicts(), CATALOGUE)

    assert groups == [
        {"line": "open and repair waits for next week, no lift slot left", "hulls": ["H00"]}
    ]
    broken = NO_SLOT.calls.filter(hull_id="H00").row(0, named=True)
    assert hull_plan_line(broken, CATALOGUE) == (
        "Open, repair and measure before it runs again waits for next week: no lift slot left."
    )
    assert waiting_groups(WEEK.calls.to_dicts(), CATALOGUE) == []
    # The broken hull stands a week for want of a slot: seven days at 400.
    slots = {row["name"]: row for row in bay_lines(NO_SLOT, "USD")}["Lift slots"]
    assert slots == {"name": "Lift slots", "used": "0", "room": "0", "worth": "USD 2,800"}


def test_what_is_decided_by_hand_is_shown_with_its_cost() -> None:
    changes = HandChanges({"H05": "borescope"}, {"H03": FORBIDDEN})
    made = FLEET.decisions(FITS, changes=changes)
    lines = hand_lines(made, CATALOGUE, "USD")

    assert lines[0].startswith("H05: pinned to borescope; costs USD")
    assert lines[1].startswith("H03: something is forbidden on it; it gets nothing; costs")
    assert all(line.endswith("more than the plan without it.") for line in lines)
    assert hand_lines(WEEK, CATALOGUE, "USD") == []
    pinned = made.calls.filter(hull_id="H05").row(0, named=True)
    assert hull_plan_line(pinned, CATALOGUE) == "decided by hand in the week's file."


def test_simple_policies_stand_beside_the_plan_and_none_is_cheaper() -> None:
    lines = instead_lines(replace(WEEK, boosters=()), "USD")

    assert lines[0].startswith("This plan: USD ")
    assert len(lines) == 1 + WEEK.alternatives.height
    assert any(line.startswith("Good fuel for all hulls (") for line in lines)
    assert all("more than the plan" in line or "the same as the plan" in line for line in lines[1:])


def test_booster_until_the_next_delivery_is_priced_beside_the_plan() -> None:
    offer = BoosterOffer("south", 9.0, ("BW-001", "BW-002"), 140.0, 60.0, -140.0, 310.0)

    loses = replace(offer, saving=-30.0)

    *_, line, loss = instead_lines(replace(WEEK, boosters=(offer, loses)), "USD")

    assert line.startswith("Booster at south in fuel below need until the next delivery, 2 hulls")
    assert "9 days: costs USD 140, expected to save USD 60 beyond that (USD -140 to" in line
    assert "costs USD 140, USD 30 of it not expected to come back (" in loss


def test_both_readings_of_the_record_say_what_their_plan_would_do() -> None:
    lines = reading_lines(WEEK, "USD")

    assert len(lines) == 2
    assert lines[0].startswith("As the trade holds")
    assert "This plan puts" in lines[0]
    assert lines[1].startswith("As a sceptic would")
    assert "The plan would put" in lines[1]


def test_the_cheapest_way_to_find_out_says_who_gets_what_and_what_it_costs_and_tells() -> None:
    trial = FuelTrial("north", ("BW-001", "BW-003"), ("BW-002",), 410.0, 120.0, 2600.0, 0.31)

    *_, line = reading_lines(replace(WEEK, trial=trial), "USD")

    assert "at north, fill BW-001, BW-003 only with fuel that meets the need" in line
    assert "leave BW-002 as they are" in line
    assert "costs USD 410, USD 120 of it not expected to come back" in line
    assert "worth about USD 2,600" in line
    assert "31 %" in line


def test_rules_begun_are_told_by_name_and_a_docks_order_with_its_price() -> None:
    assert WEEK.plan is not None
    begun = WEEK.plan.rows.filter(WEEK.plan.rows["begins"].list.len() > 0)["hull_id"].sort()

    assert begun.to_list()
    assert f"Begins: fuel rule on {', '.join(begun)}" in order_lines(WEEK, CATALOGUE, "USD")


def test_a_rule_is_ended_with_what_keeping_it_would_cost_more() -> None:
    """Held against the plan solved again with the rule pinned to the hull."""
    standing = frame(
        Standing,
        [{"hull_id": hull, "action": "restrict_throttle", "begun_at": AS_OF - timedelta(days=7),
          "is_rule": True} for hull in WEEK.plan.rows["hull_id"]],  # type: ignore[union-attr]
    )  # fmt: skip
    week = FLEET.decisions(FITS, standing=standing)
    assert week.plan is not None
    ended = week.plan.rows.filter(pl.col("ends").list.contains("restrict_throttle"))
    free = ended.filter(~pl.col("is_bound") & (pl.col("option") == "read_calibration"))[
        "hull_id"
    ].sort()
    pinned = HandChanges(pins={free[0]: "restrict_throttle"})

    lines = order_lines(
        replace(week, plan=replace(week.plan, rows=ended.filter(hull_id=free[0]))), CATALOGUE, "USD"
    )

    dearer = FLEET.decisions(FITS, standing=standing, changes=pinned).plan
    assert dearer is not None
    more = money_text(dearer.hand_changes[free[0]], "USD")
    assert lines == [
        f"Ends, for keeping it would cost {more} more: three-quarter throttle on {free[0]}"
    ]


def test_kits_are_told_by_quantile_and_the_season_by_its_spread() -> None:
    lines = kit_lines(WEEK)

    assert lines[0] == "No kit to order for this week's jobs."
    assert WEEK.outlook is not None
    kits = WEEK.outlook.filter(quantity="kits: top_end_kit").row(0, named=True)
    said = f"keep {kits['q80']:.0f}"
    assert any("top end kit" in line and said in line for line in lines)
    assert "most likely between" in outlook_line(WEEK, "USD")
    within = replace(LIMITS, parts_lead_d={"top_end_kit": 3.0, "bottom_end_kit": 3.0})
    none_left = replace(within, parts_on_hand=dict.fromkeys(within.parts_on_hand, 0))
    assert "Order now: 1 top end kit" in " ".join(
        kit_lines(FLEET.decisions(FITS, limits=none_left))
    )


def test_the_renewal_age_is_told_with_limits_or_none() -> None:
    assert WEEK.renewal is not None
    limits = ReplacementLimits(300.0, None, 0.4, 400, 0.95, "")
    at = replace(WEEK, renewal=replace(WEEK.renewal, age=512.3, limits=limits))
    none = replace(WEEK, renewal=replace(WEEK.renewal, age=None, limits=limits))

    assert renewal_line(at) == (
        "Planned renewal of a piston set pays best at 512 engine hours for a typical hull here "
        "(300 to never; that none pays at all is 40 % likely)."
    )
    assert renewal_line(none) == (
        "By the best estimate renewing piston sets by their age alone does not pay; the record "
        "leaves 60 % that at some age it would."
    )
    assert renewal_line(replace(WEEK, renewal=None)) == ""


def test_days_off_are_told_with_what_a_spare_is_worth() -> None:
    line = spare_line(WEEK, "USD")

    # Seven days of the broken hull and half a day of the one check.
    assert line.startswith("7.5 hull-days off the water this week, 0.0 made good by a spare")
    spared = FLEET.decisions(FITS, limits=replace(LIMITS, spare_hulls=1))
    assert "7.0 made good by a spare" in spare_line(spared, "USD")
