"""The weekly plan against trying out every plan there is, and its promises about limits."""

import itertools
import time

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.contracts.plan_tables import WeekOptions
from ringland.decision.actions.action_catalogue import NOTHING
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.actions.week_limits import (
    LIFT_SLOTS,
    MECHANIC_H,
    RENTAL_DAYS,
    SPARE_DAYS,
    LimitError,
    WeekLimits,
)
from ringland.decision.plan.hand_changes import HandChanges
from ringland.decision.plan.week_planner import plan_week, price_every_option
from ringland.decision.plan.week_solver import choice_from, solve
from ringland.decision.value.action_options import option_table
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES, running_hulls, weibull_hazard

SETTINGS = load_assumptions()
SPARE = 300.0
JOBS = {
    NOTHING: (0.0, 0, 0.0, []),
    "drain": (1.0, 0, 0.0, []),
    "top_end": (12.0, 1, 3.0, ["kit"]),
    "check": (1.5, 0, 0.5, []),
}


def week_options(costs: np.ndarray) -> pl.DataFrame:
    """A `WeekOptions` table with the costs given, hull by row and job by column."""
    rows = []
    for i, hull_costs in enumerate(costs):
        for (name, (mechanic_h, slots, days, parts)), cost in zip(
            JOBS.items(), hull_costs, strict=True
        ):
            saving = hull_costs[0] - cost
            rows.append(
                {
                    "hull_id": f"H{i}", "option": name, "expected_cost": cost, "cost_low": cost,
                    "cost_high": cost, "saving": saving, "saving_low": saving,
                    "saving_high": saving, "chance_it_saves": float(saving > 0), "chance": 0.1,
                    "chance_low": 0.1, "chance_high": 0.1, "sure_cost": 0.0,
                    "mechanic_h": mechanic_h, "lift_slots": slots, "days_off": days,
                    "parts": parts, "follow_up_chance": 0.0, "own_option": name, "fuel_way": "",
                    "dock_id": None, "fuel_per_l": 0.0, "planned_cost": cost, "change_cost": 0.0,
                    "week_later": cost, "begins": [], "ends": [],
                }
            )  # fmt: skip
    frame = pl.DataFrame(
        rows,
        schema_overrides={
            "lift_slots": pl.Int64,
            "parts": pl.List(pl.String),
            "dock_id": pl.String,
            "begins": pl.List(pl.String),
            "ends": pl.List(pl.String),
        },
    )
    return WeekOptions.validate(frame)


def random_costs(seed: int, n: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, 2_000, (n, len(JOBS))).round(2)


def plan(options: pl.DataFrame, limits: WeekLimits, **more: object):  # type: ignore[no-untyped-def]
    return plan_week(options, limits, spare_day_worth=SPARE, **more)  # type: ignore[arg-type]


def least_cost_by_trying_all(costs: np.ndarray, limits: WeekLimits) -> float | None:
    """Every assignment of jobs to hulls, its spare days used as far as they go."""
    jobs = list(JOBS.values())
    best = None
    for picked in itertools.product(range(len(jobs)), repeat=len(costs)):
        mechanic_h = sum(jobs[j][0] for j in picked)
        slots = sum(jobs[j][1] for j in picked)
        days_off = sum(jobs[j][2] for j in picked)
        kits = sum(len(jobs[j][3]) for j in picked)
        spared = min(days_off, 7.0 * limits.spare_hulls)
        ready = 7 * len(costs) - days_off + spared
        if (
            mechanic_h > limits.mechanic_h + 1e-9
            or slots > limits.lift_slots
            or (kits > limits.parts_on_hand["kit"] and not limits.can_order("kit"))
            or ready < limits.rental_days_needed - 1e-9
        ):
            continue
        cost = sum(costs[i, j] for i, j in enumerate(picked)) - SPARE * spared
        best = cost if best is None else min(best, cost)
    return best


limits_st = st.builds(
    WeekLimits,
    lift_slots=st.integers(0, 3),
    mechanic_h=st.integers(0, 40).map(float),
    parts_on_hand=st.integers(0, 3).map(lambda n: {"kit": n}),
    parts_lead_d=st.sampled_from([{}, {"kit": 3.0}, {"kit": 9.0}]),
    spare_hulls=st.integers(0, 1),
    rental_days_needed=st.integers(0, 28).map(float),
)


@given(seed=st.integers(0, 10_000), limits=limits_st)
@settings(derandomize=True, deadline=None, max_examples=60)
def test_no_plan_is_cheaper_than_the_solvers(seed: int, limits: WeekLimits) -> None:
    costs = random_costs(seed, 4)

    found = solve(choice_from(week_options(costs), SPARE, 0), limits)

    assert found.cost == pytest.approx(least_cost_by_trying_all(costs, limits), abs=1e-4)
    # 1e-4: HiGHS keeps whole numbers to 1e-6 and costs reach 2,000


@given(seed=st.integers(0, 10_000), n=st.integers(1, 9), limits=limits_st)
@settings(derandomize=True, deadline=None, max_examples=60)
def test_the_plan_gives_each_hull_one_option_and_keeps_every_limit(
    seed: int, n: int, limits: WeekLimits
) -> None:
    needed = min(limits.rental_days_needed, 7.0 * n)
    limits = WeekLimits(
        limits.lift_slots, limits.mechanic_h, limits.parts_on_hand, limits.parts_lead_d,
        limits.spare_hulls, needed,
    )  # fmt: skip
    result = plan(week_options(random_costs(seed, n)), limits)

    jobs = [JOBS[option] for option in result.rows["option"]]
    days_off = sum(days for _, _, days, _ in jobs)
    kits = sum(len(parts) for *_, parts in jobs)
    slack = 1e-6  # the solver's own
    assert sorted(result.rows["hull_id"].to_list()) == [f"H{i}" for i in range(n)]
    assert sum(hours for hours, *_ in jobs) <= limits.mechanic_h + slack
    assert sum(slots for _, slots, *_ in jobs) <= limits.lift_slots
    assert kits <= limits.parts_on_hand["kit"] + result.to_order.get("kit", 0)
    assert result.to_order.get("kit", 0) == 0 or limits.can_order("kit")
    assert result.spare_days <= min(days_off, 7.0 * limits.spare_hulls) + slack
    assert 7 * n - days_off + result.spare_days >= needed - slack
    assert result.total_cost <= result.cost_of_nothing + slack


@given(seed=st.integers(0, 10_000), limits=limits_st)
@settings(derandomize=True, deadline=None, max_examples=30)
def test_one_more_of_a_limit_never_costs_more_and_is_worth_what_it_saves(
    seed: int, limits: WeekLimits
) -> None:
    options = week_options(random_costs(seed, 5))
    result = plan(options, limits)

    for name in (LIFT_SLOTS, MECHANIC_H, SPARE_DAYS):
        wider = plan(options, limits.with_one_more(name))
        assert result.worth_of_one_more[name] >= 0
        assert result.worth_of_one_more[name] == pytest.approx(
            result.total_cost - wider.total_cost, abs=0.01
        )  # stated to the cent


ROOMY = WeekLimits(9, 200.0, {"kit": 9})
TIGHT = WeekLimits(1, 200.0, {"kit": 9})
# Leaving, draining, top end, check: H0 gains 900 from a top end, H1 500, H2 nothing.
COSTS = np.array(
    [[1000.0, 1200, 100, 1100], [1000.0, 1200, 500, 1100], [100.0, 300, 900, 200]]
)  # fmt: skip


def option_of(result, hull: str) -> str:  # type: ignore[no-untyped-def]
    return str(result.rows.filter(pl.col("hull_id") == hull)["option"].item())


def test_the_one_slot_goes_to_the_hull_that_saves_most_and_the_other_hears_why() -> None:
    result = plan(week_options(COSTS), TIGHT)

    assert (option_of(result, "H0"), option_of(result, "H1")) == ("top_end", NOTHING)
    row = result.rows.filter(pl.col("hull_id") == "H1").row(0, named=True)
    assert (row["wanted"], row["given_up"]) == ("top_end", 500.0)
    assert row["short_of"] == [LIFT_SLOTS]
    assert result.worth_of_one_more[LIFT_SLOTS] == 500.0


def test_a_pin_is_kept_and_priced() -> None:
    result = plan(week_options(COSTS), TIGHT, changes=HandChanges(pins={"H1": "top_end"}))

    assert (option_of(result, "H0"), option_of(result, "H1")) == (NOTHING, "top_end")
    assert result.hand_changes == {"H1": 400.0}  # saves 500 where 900 could be saved
    short = dict(result.rows.select("hull_id", "short_of").iter_rows())
    assert short == {"H0": [LIFT_SLOTS], "H1": [], "H2": []}


def test_a_pin_gets_an_option_that_the_plan_itself_would_not_offer() -> None:
    result = plan(week_options(COSTS), ROOMY, changes=HandChanges(pins={"H2": "top_end"}))

    assert option_of(result, "H2") == "top_end"
    assert result.hand_changes == {"H2": 800.0}


def test_a_forbidden_option_is_not_given_and_is_priced() -> None:
    result = plan(week_options(COSTS), TIGHT, changes=HandChanges(forbids={"H0": ["top_end"]}))

    assert (option_of(result, "H0"), option_of(result, "H1")) == (NOTHING, "top_end")
    assert result.hand_changes == {"H0": 400.0}


def test_each_option_of_a_hull_is_priced_by_the_week_it_leaves() -> None:
    prices = price_every_option("H1", week_options(COSTS), TIGHT, spare_day_worth=SPARE)

    assert prices == {NOTHING: 0.0, "check": 100.0, "drain": 200.0, "top_end": 400.0}


def test_an_option_that_fits_no_plan_has_no_price() -> None:
    no_slots = WeekLimits(0, 200.0, {"kit": 9})

    prices = price_every_option("H1", week_options(COSTS), no_slots, spare_day_worth=SPARE)

    assert prices["top_end"] is None


def test_what_it_takes_to_change_a_rule_is_part_of_what_the_plan_costs() -> None:
    # H0 gains 900 from a top end; a change that costs more than that is not made.
    changing = pl.when(pl.col("option") == "top_end").then(901.0).otherwise(0.0)
    options = week_options(COSTS).with_columns(change_cost=changing)

    result = plan(options, ROOMY)

    assert option_of(result, "H0") == NOTHING
    assert result.total_cost == 2100.0


def with_orders(options: pl.DataFrame, dear: float) -> pl.DataFrame:
    """Every option again as one dock could order fuel for all three: each costs `dear` more."""
    here = options.with_columns(dock_id=pl.lit("north"))
    ordered = here.with_columns(
        fuel_way=pl.lit("dock@91"), planned_cost=pl.col("planned_cost") + dear,
        expected_cost=pl.col("expected_cost") + dear,
    )  # fmt: skip
    return pl.concat([here, ordered])


@pytest.mark.parametrize(("dear", "is_ordered"), [(-1.0, True), (1.0, False)])
def test_what_a_dock_orders_all_of_its_hulls_get_or_none(dear: float, is_ordered: bool) -> None:
    # The order is worth 200 to H0 and costs the two others 100 and a little each, or less.
    options = with_orders(week_options(COSTS), 100.0 + dear)
    helped = (pl.col("fuel_way") != "") & (pl.col("hull_id") == "H0")
    options = options.with_columns(
        planned_cost=pl.when(helped).then(pl.col("planned_cost") - 300.0).otherwise("planned_cost")
    )

    result = plan(options, ROOMY)

    assert set(result.rows["fuel_way"]) == {"dock@91" if is_ordered else ""}
    assert result.rows.filter(pl.col("given_up") > 1e-6).is_empty()


def test_a_hull_decided_by_hand_goes_with_what_its_dock_orders() -> None:
    options = with_orders(week_options(COSTS), -100.0)

    result = plan(options, ROOMY, changes=HandChanges(pins={"H2": "check"}))

    assert option_of(result, "H2") == "check"
    assert set(result.rows["fuel_way"]) == {"dock@91"}


def test_a_safety_rule_binds_whatever_it_costs_and_yields_to_room_by_standing_ashore() -> None:
    # H2 must be checked or stand a week (here 'top_end' stands for that); both cost more
    # than leaving it, and neither is likely to save.
    bound = {"H2": frozenset({"check", "top_end"})}
    no_hours = WeekLimits(1, 12.0, {"kit": 9})

    assert option_of(plan(week_options(COSTS), ROOMY, bound=bound), "H2") == "check"
    tight = plan(
        week_options(COSTS).with_columns(
            mechanic_h=pl.when(pl.col("option") == "check").then(13.0).otherwise("mechanic_h")
        ),
        no_hours,
        bound=bound,
    )
    row = tight.rows.filter(pl.col("hull_id") == "H2").row(0, named=True)
    assert (row["option"], row["wanted"], row["short_of"]) == ("top_end", "check", [MECHANIC_H])
    assert row["is_bound"]


def test_a_kit_that_comes_within_the_week_is_ordered() -> None:
    result = plan(week_options(COSTS), WeekLimits(9, 200.0, {"kit": 1}, {"kit": 4.0}))

    assert result.to_order == {"kit": 1}


def test_a_kit_that_comes_too_late_limits_the_plan_and_is_worth_what_it_would_save() -> None:
    result = plan(week_options(COSTS), WeekLimits(9, 200.0, {"kit": 1}, {"kit": 8.0}))

    assert option_of(result, "H1") == NOTHING
    assert result.worth_of_one_more["kit"] == 500.0


@pytest.mark.parametrize(
    ("limits", "changes", "says"),
    [
        (TIGHT, {"pins": {"H0": "top_end", "H1": "top_end"}}, "lift slots: short by 1"),
        (WeekLimits(9, 20.0, {"kit": 9}), {"pins": {"H0": "top_end", "H1": "top_end"}},
         "mechanic hours: short by 4"),
        (WeekLimits(9, 99.0, {"kit": 1}), {"pins": {"H0": "top_end", "H1": "top_end"}},
         "kit: short by 1"),
        (WeekLimits(9, 99.0, {"kit": 9}, {}, 0, 22.0), {}, "rental days needed: short by 1"),
        (ROOMY, {"pins": {"H7": "top_end"}}, "H7 has no options this week"),
        (ROOMY, {"pins": {"H0": "polish"}}, "H0 has no option 'polish'; it has"),
        (ROOMY, {"forbids": {"H0": list(JOBS)}}, "every option of H0 is forbidden; allow one"),
        (ROOMY, {"pins": {"H0": "check"}, "forbids": {"H0": ["check"]}}, "pinned and forbidden"),
        (WeekLimits(9, 99.0), {}, "kits on hand: no count for kit; give how many"),
    ],
)  # fmt: skip
def test_a_week_that_cannot_be_planned_says_which_limit_or_change_is_in_the_way(
    limits: WeekLimits, changes: dict[str, dict[str, str]], says: str
) -> None:
    with pytest.raises(LimitError, match=says):
        plan(week_options(COSTS), limits, changes=HandChanges(**changes))  # type: ignore[arg-type]


def test_a_negative_limit_is_refused_by_name() -> None:
    with pytest.raises(LimitError, match=r"mechanic hours is -1\.0; give a number of zero"):
        WeekLimits(1, -1.0)


def test_hulls_not_assessed_count_as_ready_for_rent() -> None:
    needs_all = WeekLimits(9, 99.0, {"kit": 9}, {}, 0, 28.0)

    result = plan(week_options(COSTS), needs_all, not_assessed=["H9"])

    assert result.not_assessed == ("H9",)
    assert result.used[RENTAL_DAYS] == 0.0


def test_the_same_week_gives_the_same_plan() -> None:
    options = week_options(random_costs(3, 8))

    assert plan(options, TIGHT).rows.equals(plan(options, TIGHT).rows)


@pytest.mark.benchmark
def test_five_hundred_hulls_are_planned_to_a_proven_optimum_within_ten_seconds() -> None:
    """`pytest -m benchmark -k five_hundred -s tests/decision/test_week_planner.py`.

    Ten seconds of processor are the owner's figure; the ratio to listing the options is printed
    beside.  Docks that can order better grades tie their hulls to each other.
    """
    docks = ["north", "south"]
    offers = pl.DataFrame(
        {"dock_id": docks, "grade_aki": [91.0, 93.0], "own_aki": [87.0, 89.0],
         "per_l": [0.03, 0.05], "next_delivery_d": [4.0, 9.0]}
    )  # fmt: skip
    start = time.process_time()
    options = option_table(
        running_hulls(500),
        weibull_hazard(n_draws=200, scale_h=500.0),
        catalogue=default_catalogue(SETTINGS),
        prices=PRICES,
        horizon_d=90.0,
        assumptions=SETTINGS,
        offers=offers,
    )
    listed = time.process_time() - start
    kits = {"top_end_kit": 5, "bottom_end_kit": 1}
    start = time.process_time()
    result = plan(options, WeekLimits(6, 80.0, kits, {}, 2, 3_480.0))
    planned = time.process_time() - start

    print(f"\noptions {listed:.2f} s; plan {planned:.2f} s, {planned / listed:.2f} x, "
          f"gap {result.gap:.1e}; {options.height} options; "
          f"worth {result.worth_of_one_more}")  # fmt: skip
    assert options["dock_id"].unique().sort().to_list() == docks
    assert result.rows.height == 500
    assert result.gap == 0
    assert listed + planned < 10
