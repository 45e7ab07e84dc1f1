"""Every combination worked out at once against each worked out alone."""

from dataclasses import replace
from functools import cache, partial
from types import SimpleNamespace

import numpy as np
import polars as pl
import pytest

from ringland.contracts.decision_tables import AS_OF_LATE, GRADE
from ringland.decision.actions.action_catalogue import Action, Catalogue
from ringland.decision.actions.catalogue_file import own_catalogue
from ringland.decision.value.hazard_ahead import changed, planning_hazard
from ringland.decision.value.what_if import choices, grades_sold, what_ifs
from ringland.risk.exposure_ahead import Change, hazard_along
from tests.decision.small_fleet import CATALOGUE, SETTINGS, small_fleet
from tests.history.record_rows import records

GRADES = (88.0, 90.0, 91.0, 93.0)
CHANCES = [f"chance_{days}d{part}" for days in (7, 30) for part in ("", "_low", "_high")]


@cache
def asked() -> SimpleNamespace:
    fits = small_fleet().fits()
    tables = small_fleet().tables(fits)
    hazard = planning_hazard(fits, SETTINGS)
    table = what_ifs(
        tables.running,
        tables.chances,
        tables.at_hand,
        hazard,
        choices=choices(CATALOGUE),
        grades_aki=GRADES,
        prices=tables.prices,
        assumptions=SETTINGS,
    )
    return SimpleNamespace(tables=tables, hazard=hazard, table=table)


def done_in(row: dict[str, object]) -> list[Action]:
    names = [row["fuel"], *row["steps"]]
    return [action for name, action in CATALOGUE.actions.items() if name in names]


def bounded(covariate: str) -> list[str]:
    """What the record leaves open of the fuel, a step settles too."""
    bounds = ["shortfall_25h_low_on", "shortfall_25h_high_on"]
    return [covariate, *(bounds if covariate == "shortfall_25h_on" else ())]


def alone(hull_id: str, row: dict[str, object], days: float) -> np.ndarray:
    """The hazard by draw of one hull, one combination walked by itself."""
    told = asked().tables.running.filter(pl.col("hull_id") == hull_id)
    actions = done_in(row)
    prices = asked().tables.prices
    items = [action.days_off_item for action in actions]
    off = sum(action.days_off for action in actions)
    off += sum(getattr(prices, item) for item in items if item is not None)
    hours = told["use_h_d"].to_numpy() * max(days - off, 0.0)
    age_h = told["age_h"].to_numpy() * (not any(action.renews_age for action in actions))
    changes = [
        Change(name, partial(changed, effect), action.lasts_h)
        for action in actions
        for effect in action.effects
        for name in bounded(effect.covariate)
    ]
    if row["fuel"] == GRADE:
        short = row["shortfall_on"]
        graded = [Change(name, lambda _: pl.lit(short)) for name in bounded("shortfall_25h_on")]
        changes = graded + changes
    window_h = SETTINGS.number("exposure.trailing_h")
    summed = hazard_along(asked().hazard, told, age_h, hours, window_h=window_h, changes=changes)
    return np.asarray(summed[:, 0])


def test_doing_nothing_gives_the_hulls_own_chances() -> None:
    still = asked().table.filter("is_as_it_stands")
    own = asked().tables.chances.filter(pl.col("chance_30d").is_not_null())

    assert still["hull_id"].to_list() == own["hull_id"].to_list()
    for name in CHANCES:
        assert still[name].to_list() == pytest.approx(own[name].to_list(), rel=1e-12)
    assert still["sure_cost"].unique().to_list() == [0.0]


def test_a_choice_moves_the_chance_by_the_ratio_of_its_hazard_walked_alone() -> None:
    rng = np.random.default_rng(4)
    rows = asked().table.to_dicts()
    nothing = {"fuel": AS_OF_LATE, "steps": [], "shortfall_on": None}
    for row in (rows[number] for number in rng.choice(len(rows), 60, replace=False)):
        own = asked().tables.chances.filter(pl.col("hull_id") == row["hull_id"])
        for days in (7, 30):
            done, still = (alone(row["hull_id"], one, days) for one in (row, nothing))
            mean = [-np.log1p(np.expm1(-hazard).mean()) for hazard in (done, still)]
            want = 1 - (1 - own[f"chance_{days}d"].item()) ** (mean[0] / mean[1])
            # the same sums over rows cut alike: only their order differs
            assert row[f"chance_{days}d"] == pytest.approx(want, rel=1e-9)
            ends = [np.quantile(hazard, 0.975) for hazard in (done, still)]
            high = 1 - (1 - own[f"chance_{days}d_high"].item()) ** (ends[0] / ends[1])
            assert row[f"chance_{days}d_high"] == pytest.approx(high, rel=1e-9)


def test_what_is_paid_for_sure_counts_jobs_lost_days_and_days_of_a_slower_craft() -> None:
    """By hand: the settings' prices; 20 a day for 30 days of three-quarter throttle."""
    prices = asked().tables.prices
    table = asked().table.filter(pl.col("hull_id") == "H03", pl.col("fuel") == AS_OF_LATE)
    sure = {tuple(row["steps"]): row["sure_cost"] for row in table.to_dicts()}

    top_end = prices.top_end_planned + prices.days_lost_planned * prices.lost_rental_day
    assert sure["restrict_throttle",] == 600.0
    assert sure["planned_top_end",] == round(top_end)
    assert sure["planned_top_end", "restrict_throttle"] == round(top_end) + 600.0
    left = table.filter(pl.col("steps").list.len() == 0).row(0, named=True)
    assert left["left_cost"] == round(left["chance_30d"] * prices.unplanned)


def test_each_shortfall_is_worked_out_once_and_a_step_only_where_it_is_meant() -> None:
    table = asked().table
    raised = asked().tables.running.filter(pl.col("is_raised_calibration"))["hull_id"]
    grades = table.filter(pl.col("hull_id") == "H03", pl.col("fuel") == GRADE)

    assert grades["shortfall_on"].unique(maintain_order=True).to_list() == [3.0, 1.0, 0.0]
    mild = table.filter(pl.col("steps").list.contains("mild_calibration"))
    assert set(mild["hull_id"]) <= set(raised)
    assert not mild.is_empty()


def test_a_step_not_offered_is_no_choice_and_one_too_many_is_named() -> None:
    own = own_catalogue("[action.fuel_rule]\noffered = false", "actions.toml", SETTINGS)
    assert [action.name for action in choices(CATALOGUE).fuels] == ["fuel_rule"]
    assert choices(own).fuels == ()

    step = CATALOGUE.actions["restrict_throttle"]
    many = {f"step_{number}": replace(step, name=f"step_{number}") for number in range(6)}
    found = choices(Catalogue(dict(CATALOGUE.actions) | many))
    assert len(found.combinations()) * 7 <= 256
    assert found.left_out[-1].name == "step_5"
    assert len(found.others) + len(found.left_out) == 3 + 6


def test_a_delivery_in_ron_and_mon_is_a_grade_that_can_be_chosen() -> None:
    kept = records(
        deliveries=[
            {"dock_id": "n", "octane_aki": 91.0},
            {"dock_id": "n", "octane_ron": 94.0, "octane_mon": 84.0},
            {"dock_id": "n", "octane_ron": 97.0},
        ]
    )
    assert grades_sold(kept["deliveries"], kept["fills"], SETTINGS) == (89.0, 91.0)
