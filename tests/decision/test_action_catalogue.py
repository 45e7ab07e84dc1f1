"""The action catalogue: what it must say, and what it says when it does not."""

from dataclasses import replace

import pytest

from ringland.decision.actions.action_catalogue import NOTHING, CatalogueError
from ringland.decision.actions.action_prices import as_on_record
from ringland.decision.actions.catalogue_file import (
    default_catalogue,
    own_catalogue,
    read_catalogue,
)
from ringland.settings.assumptions import MARKS, load_assumptions
from tests.decision.plan_cases import PRICES

SETTINGS = load_assumptions()

SMALL = """
[action.renew]
label = "New piston set"
cost = { value = 3000, mark = "A", source = "made up" }
renews_age = true

[action.test]
label = "Test"
[action.test.test]
follow_up = "renew"
sensitivity = { value = 0.5, mark = "A", source = "made up" }
specificity = { value = 0.9, mark = "A", source = "made up" }
reach_d = { value = 30, mark = "A", source = "made up" }

[together]
"""


def test_the_catalogue_holds_every_kind_of_action_the_shop_asked_for() -> None:
    catalogue = default_catalogue(SETTINGS)

    assert set(catalogue.actions) >= {
        "drain_refill", "fuel_rule", "restrict_throttle", "mild_calibration", "leak_down_check",
        "borescope", "planned_top_end", "full_rebuild", "take_out_of_use",
    }  # fmt: skip
    assert catalogue.bundles()[NOTHING] == ()


def test_each_action_that_fits_a_new_set_counts_it() -> None:
    renewing = [
        action for action in default_catalogue(SETTINGS).actions.values() if action.renews_age
    ]

    assert renewing
    for action in renewing:
        told = [(effect.covariate, effect.how, effect.by.value) for effect in action.effects]
        assert told == [("build_number", "add", 1.0)], action.name


def test_every_number_of_the_catalogue_has_a_mark_and_a_source() -> None:
    for action in default_catalogue(SETTINGS).actions.values():
        numbers = [*action.numbers.values(), *(effect.by for effect in action.effects)]
        if action.test:
            numbers += [action.test.sensitivity, action.test.specificity, action.test.reach_d]
        for number in numbers:
            assert number.mark in MARKS, action.name
            assert len(number.source) > 3, action.name


def test_how_well_a_test_finds_a_cracked_land_is_marked_an_assumption() -> None:
    # The domain brief: compression may be normal with a cracked land; sensitivity unknown.
    for action in default_catalogue(SETTINGS).actions.values():
        if action.test:
            assert action.test.sensitivity.mark == "A"


def test_a_number_given_as_a_setting_is_the_settings_number() -> None:
    changed = SETTINGS.changed(action__check_sensitivity=0.7)

    test = default_catalogue(changed).actions["leak_down_check"].test

    assert test is not None
    assert test.sensitivity.value == 0.7


def test_a_bundle_is_an_option_beside_its_single_actions() -> None:
    bundles = default_catalogue(SETTINGS).bundles()

    names = [action.name for action in bundles["fuel_and_top_end"]]

    assert names == ["fuel_rule", "planned_top_end"]
    assert "fuel_rule" in bundles


def _with(old: str, new: str) -> str:
    assert old in SMALL
    return SMALL.replace(old, new)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[action", "own.toml: not valid TOML"),
        ("", "own.toml: no action in it; add"),
        ("[actions.a]\nlabel='x'", "own.toml: unknown field actions; known: action, together"),
        (SMALL + 'both = ["renew", "gone"]', "together.both: no such action: gone"),
        (SMALL + 'both = ["renew"]', "together.both: list two or more different actions"),
        (SMALL + 'renew = ["renew", "test"]', "together.renew: an action has this name"),
        (SMALL + 'both = ["renew", "test"]', "test and renew do not go together"),
        (_with('label = "New piston set"', "name = 1"), "action.renew: unknown field name"),
        (_with('label = "New piston set"\n', ""), "action.renew: needs a label"),
        (_with('mark = "A", source = "made up" }\nrenews', 'mark = "Z", source = "" }\nrenews'),
         "action.renew.cost: mark is 'Z'; use one of P"),
        (_with("value = 3000", "value = -1"), "action.renew.cost.value: is -1; give zero or more"),
        (_with("value = 3000", "value = nan"), "action.renew.cost.value: is nan; give a number"),
        (_with("renews_age = true", 'renews_age = "yes"'), "renews_age: is 'yes'; give true or"),
        (_with("renews_age = true", ""), "action.test.test: follow_up 'renew' must name an action"),
        (_with("value = 0.5", "value = 1.5"), "test.sensitivity: 1.5 is no share; give 0 to 1"),
        (_with("cost = {", "cost_item = 'check'\ncost = {"), "give cost or cost_item, not both"),
        (_with("renews_age", "parts = { kit = 1.5 }\nrenews_age"), "parts.kit: is 1.5; give"),
        (_with("renews_age", "only_where = { colour = 1 }\nrenews_age"),
         "no such covariate: 'colour'"),
        (_with("renews_age", "effect = [{ covariate = 'is_forged', how = 'double', by = {} }]\n"
               "renews_age"), "action.renew.effect: how is 'double'; use one of set, cap"),
        (_with("{ value = 3000, mark = \"A\", source = \"made up\" }", "{ setting = 'cost.gold' }"),
         "no such setting in assumptions.toml: cost.gold"),
        (_with("[action.renew]", "[action.nothing]"), "'nothing' is always offered"),
    ],
)  # fmt: skip
def test_a_faulty_catalogue_is_refused_with_file_entry_and_remedy(text: str, says: str) -> None:
    with pytest.raises(CatalogueError) as refused:
        read_catalogue(text, "own.toml", SETTINGS)

    assert says in str(refused.value)
    assert str(refused.value).startswith("own.toml")


def test_a_shops_file_is_laid_over_field_by_field() -> None:
    own = own_catalogue(
        """
        [action.fuel_rule]
        cost_per_l = 0.09
        [action.planned_top_end]
        cost = { value = 2900, mark = "A", source = "quoted" }
        [action.take_out_of_use]
        short = "stays ashore"
        [action.borescope]
        offered = false
        [action.impeller_check]
        label = "Look at the impeller"
        mechanic_h = 0.5
        """,
        "actions.toml",
        SETTINGS,
    )
    base = default_catalogue(SETTINGS)
    rule, top_end = own.actions["fuel_rule"], own.actions["planned_top_end"]

    assert rule.cost_per_l == 0.09
    assert rule.numbers["cost_per_l"].source == "the shop's own, actions.toml"
    assert rule.effects == base.actions["fuel_rule"].effects
    assert (top_end.cost, top_end.cost_item) == (2900.0, None)
    assert top_end.days_off_item == base.actions["planned_top_end"].days_off_item
    assert own.short("take_out_of_use") == "stays ashore"
    assert "borescope" not in own.bundles()
    assert own.label("borescope") == base.label("borescope")
    assert own.bundles()["impeller_check"][0].mechanic_h == 0.5
    assert set(own.bundles()) - {"impeller_check"} == set(base.bundles()) - {"borescope"}


def test_a_bundle_with_an_action_that_is_not_offered_is_not_offered() -> None:
    own = own_catalogue("[action.fuel_rule]\noffered = false", "actions.toml", SETTINGS)

    assert not [name for name in own.bundles() if name.startswith("fuel_")]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[action.fuel_rule]\nprice = 1", "actions.toml: action.fuel_rule: unknown field price"),
        ("action = 3", "actions.toml: action must be a section"),
        ("[action]\nfuel_rule = 3", "actions.toml: action.fuel_rule: must be a section"),
        ("[action.fuel_rule]\ncost_per_l = -1", "action.fuel_rule.cost_per_l.value: is -1"),
        ("[action.fuel_rule]\noffered = 1", "offered: is 1; give true or false"),
        ("[action.polish]\ncost = 3", "action.polish: needs a label"),
        ("[action.repair]\nlabel = 'x'", "'repair' is always offered; take another name"),
        ("[together]\nboth = ['fuel_rule', 'polish']", "together.both: no such action: polish"),
    ],
)
def test_a_wrong_entry_of_a_shops_file_names_the_file_and_the_entry(text: str, says: str) -> None:
    with pytest.raises(CatalogueError, match=says):
        own_catalogue(text, "actions.toml", SETTINGS)


def test_the_shops_own_file_holds_against_the_costs_on_record() -> None:
    """A calibration priced at 99,999 in `actions.toml` was planned at the 390 of the records."""
    text = (
        "[action.mild_calibration]\ncost = 99_999\n"
        '[action.borescope]\nmechanic_h = { value = 9, mark = "CP", source = "our book" }\n'
    )
    catalogue = own_catalogue(text, "actions.toml", SETTINGS)
    costs = replace(
        PRICES,
        amounts={"calibration_change": 390.0, "borescope": 55.0},
        hours={"mild_calibration": 2.0, "calibration_change": 2.0, "borescope": 1.0},
    )

    actions = as_on_record(catalogue, costs).actions

    assert (actions["mild_calibration"].cost, actions["mild_calibration"].mechanic_h) == (99_999, 2)
    assert (actions["borescope"].cost, actions["borescope"].mechanic_h) == (55, 9)
