"""The plan by number of lift slots is the planner's own plan for each number."""

from dataclasses import replace

import pytest

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.actions.week_limits import WeekLimits
from ringland.decision.plan.slot_trials import slot_trials
from ringland.decision.plan.week_planner import plan_week
from ringland.decision.value.action_options import option_table, spare_day_worth
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES, running_hulls, weibull_hazard

# new sets at their price, so that there are jobs for every slot
SETTINGS = load_assumptions().changed(planning__renewal_doubt=0.0)
OPTIONS = option_table(
    running_hulls(12),
    weibull_hazard(scale_h=150.0),
    catalogue=default_catalogue(SETTINGS),
    prices=PRICES,
    horizon_d=30.0,
    assumptions=SETTINGS,
)
LIMITS = WeekLimits(2, 90.0, {"top_end_kit": 6, "bottom_end_kit": 6}, {}, 1)
REST = {
    "spare_day_worth": spare_day_worth(OPTIONS, PRICES, 30.0),
    "not_assessed": ["H900"],
}


def trials_of(**more):  # type: ignore[no-untyped-def]
    return slot_trials(OPTIONS, LIMITS, assumptions=SETTINGS, **REST, **more)


def test_each_trial_is_the_plan_of_the_planner_with_so_many_slots() -> None:
    trials = trials_of()

    assert [trial.lift_slots for trial in trials] == [0, 1, 2, 3, 4, 5, 6]
    for trial in trials:
        plan = plan_week(OPTIONS, replace(LIMITS, lift_slots=trial.lift_slots), **REST)
        assert trial.total_cost == pytest.approx(plan.total_cost, rel=1e-9)  # one solver, one model
        assert trial.options == dict(plan.rows.select("hull_id", "option").iter_rows())


def test_more_slots_never_cost_more_and_here_they_let_hulls_in() -> None:
    trials = trials_of()
    costs = [trial.total_cost for trial in trials]
    on_lift = set(OPTIONS.filter(OPTIONS["lift_slots"] > 0).select("hull_id", "option").rows())
    jobs = [len(on_lift & set(trial.options.items())) for trial in trials]

    assert costs == sorted(costs, reverse=True)
    assert costs[0] > costs[-1]
    assert jobs[0] == 0
    assert jobs[-1] > jobs[2] > 0
    assert trials[-1].failures < trials[0].failures


def test_the_next_slots_saving_is_what_the_plan_says_one_more_is_worth() -> None:
    trials = {trial.lift_slots: trial for trial in trials_of()}
    plan = plan_week(OPTIONS, LIMITS, **REST)

    saved = trials[2].total_cost - trials[3].total_cost
    assert saved == pytest.approx(plan.worth_of_one_more["lift slots"], abs=0.0051)  # to the cent


def test_numbers_of_slots_with_which_no_plan_is_safe_are_left_out() -> None:
    """Two hulls that a rule sends to a job on the lift need two slots."""
    needy = OPTIONS.filter(OPTIONS["lift_slots"] > 0)["hull_id"].unique().sort()[:2].to_list()
    on_lift = frozenset(OPTIONS.filter(OPTIONS["lift_slots"] > 0)["option"].unique())
    trials = trials_of(bound=dict.fromkeys(needy, on_lift))

    assert [trial.lift_slots for trial in trials] == [2, 3, 4, 5, 6]
