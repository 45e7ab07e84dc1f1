"""One hull's fuel in sentences, by standing."""

from typing import Any

import pytest

from ringland.pages.week.fuel_advice_words import (
    age_rule_line,
    dock_rule_line,
    hull_rule_line,
    is_fuel_wrong,
)
from ringland.settings.assumptions import load_assumptions

SETTINGS = load_assumptions()
FINE = {
    "hull_id": "H1",
    "dock_id": "north",
    "calibration": "stock",
    "need_aki": 91.0,
    **{
        f"{whose}_{name}": value
        for whose, level in (("dock", 900.0), ("own", 40.0))
        for name, value in {
            "level_l": level,
            "octane_aki": 93.0,
            "octane_low_aki": 92.5,
            "octane_high_aki": 93.5,
            "fuel_age_d": 8.0,
            "standing": "meets",
            "way": None,
        }.items()
    },
    **{f"is_{whose}_{what}": False for whose in ("dock", "own") for what in ("short", "old")},
}
LOW = {"octane_aki": 89.4, "octane_low_aki": 88.8, "octane_high_aki": 90.0, "standing": "misses"}
LOW_DOCK = {f"dock_{name}": value for name, value in LOW.items()} | {"is_dock_short": True}
LOW_OWN = {f"own_{name}": value for name, value in LOW.items()} | {"is_own_short": True}
OLD_OWN = {"own_fuel_age_d": 40.0, "is_own_old": True}


def rule(**changed: Any) -> str:
    return hull_rule_line(FINE | changed, SETTINGS)


def test_fuel_that_meets_the_need_is_said_without_a_warning() -> None:
    assert rule() == (
        "Fill with 91 AKI or better (stock calibration). north's tank holds 93.0 AKI (92.5 to "
        "93.5). In its own tank: 40 l of 93.0 AKI (92.5 to 93.5), 8 days old on average."
    )
    assert not is_fuel_wrong(FINE)
    assert not is_fuel_wrong({})


def test_a_dock_below_the_need_is_not_to_be_filled_from() -> None:
    """It read 'Fill with 91 AKI or better' beside a dock whose tank held 89.4."""
    line = rule(**LOW_DOCK)

    assert line.startswith(
        "Do not fill from north's tank: it holds 89.4 AKI (88.8 to 90.0), below the need. Fill "
        "outside with 91 AKI or better (stock calibration). No throttle limit makes up for less "
        "than 90 AKI (common practice, no source)."
    )
    assert is_fuel_wrong(FINE | LOW_DOCK)


def test_three_quarter_throttle_is_named_with_its_mark_where_it_does() -> None:
    line = rule(**LOW_DOCK, dock_way="throttle")
    assert "no more than three-quarter throttle: 90 AKI is then enough (common practice" in line
    assert "No throttle limit" not in line
    assert "back to the stock calibration, which needs 91 AKI" in rule(**LOW_DOCK, dock_way="stock")


def test_bounds_below_the_need_and_a_label_without_margin_are_said() -> None:
    open_record = LOW_DOCK | {"dock_standing": "may miss"}
    assert "what the record leaves open may bring it below the need" in rule(**open_record)
    assert "take a higher grade where one is sold" in rule(dock_standing="no margin")
    assert "not on record: see its grade first" in rule(dock_standing="not known")
    assert "empty by the record" in rule(dock_standing="empty")


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        (LOW_OWN, "below its need"),
        (OLD_OWN, "too old"),
        (LOW_OWN | OLD_OWN, "below its need and too old"),
    ],
)
def test_fuel_in_its_own_tank_below_need_or_too_old_is_drained_first(
    changed: dict[str, Any], why: str
) -> None:
    assert f"; {why}: drain it and refill before the next rental." in rule(**changed)
    assert is_fuel_wrong(FINE | changed)


def test_low_fuel_may_be_burned_at_three_quarter_throttle_but_never_old_fuel() -> None:
    eased = LOW_OWN | {"own_way": "throttle"}
    limit = "rent it only with no more than three-quarter throttle until the fuel in its tank is"
    assert f"below its need: {limit} burned." in rule(**eased)
    assert limit not in rule(**eased | OLD_OWN)


def test_fuel_that_grows_too_old_within_the_week_is_to_be_burned_in_time() -> None:
    assert "burn it within 3 days, or drain it" in rule(own_fuel_age_d=25.0)
    assert "burn it" not in rule(own_fuel_age_d=20.0)


def test_old_fuel_in_the_docks_tank_is_not_to_be_filled_either() -> None:
    line = rule(dock_fuel_age_d=40.0, is_dock_old=True)
    assert line.startswith("Do not fill from north's tank: its fuel is 40 days old on average.")
    assert "throttle" not in line


def test_a_hull_whose_need_nobody_wrote_down_says_so() -> None:
    assert rule(need_aki=None).startswith("The octane need of its calibration is not on record")
    assert hull_rule_line({}, SETTINGS).startswith("The octane need of its calibration is not on")


def test_the_age_rule_comes_from_one_setting() -> None:
    assert "older than 28 days" in age_rule_line(SETTINGS)
    assert "older than 21 days" in age_rule_line(SETTINGS.changed(fuel__old_after_d=21.0))


def test_a_docks_rule_counts_the_hulls_its_tank_falls_short_of() -> None:
    dock = {
        "level_l": 900.0, "octane_aki": 89.4, "octane_low_aki": 88.8, "octane_high_aki": 90.0,
        "fuel_age_now_d": 8.0,
    }  # fmt: skip
    hulls = [FINE | LOW_DOCK, FINE | LOW_DOCK | {"need_aki": 93.0}, FINE | {"need_aki": 89.0}]

    assert dock_rule_line(dock, hulls, SETTINGS) == (
        "Fill with 93 AKI or better, the highest need among its hulls. Do not fill 2 of its 3 "
        "hulls from its tank: it holds 89.4 AKI (88.8 to 90.0), below the need. They need 91 to "
        "93 AKI: fill them outside."
    )
    old = dock_rule_line(dock | {"fuel_age_now_d": 40.0}, [FINE | {"need_aki": 89.0}], SETTINGS)
    assert old.endswith("Do not fill from its tank: its fuel is 40 days old on average.")
