"""The shop's week file: what it says, what it leaves, and how a wrong entry is told."""

from datetime import date
from importlib.resources import files

import pytest

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.plan.hand_changes import HandChanges
from ringland.decision.plan.week_file import OwnWeek, WeekFileError, read_week
from ringland.decision.week_decisions import default_limits
from ringland.settings.assumptions import load_assumptions

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)
USUAL = default_limits(CATALOGUE, SETTINGS)
MONDAY = date(2026, 8, 17)
HULLS = ["TW-48", "TW-45", "OF-21"]
TEMPLATE = (
    files("ringland.decision.plan").joinpath("week_template.toml").read_text(encoding="utf-8")
)


def week(text: str, monday: date = MONDAY, hulls: list[str] = HULLS) -> OwnWeek:
    return read_week(
        text, "week.toml", monday=monday, usual=USUAL, catalogue=CATALOGUE, hulls=hulls
    )


def test_the_template_changes_nothing_until_its_marks_are_taken_away() -> None:
    assert week(TEMPLATE) == OwnWeek(USUAL, HandChanges())


def test_the_template_with_its_marks_taken_away_is_a_week() -> None:
    lines = TEMPLATE.splitlines()
    in_force = [line[2:] for line in lines if line[:3] in ("# [", '# "') or " = " in line]
    found = week("\n".join(in_force), hulls=["HULL-07", "HULL-12", "HULL-03"])

    assert found.changes.pins == {"HULL-07": "leak_down_check", "HULL-03": "take_out_of_use"}
    assert found.limits.mechanic_h == 24  # of the week of 17 August
    assert found.limits == week("\n".join(in_force), hulls=["HULL-07", "HULL-12", "HULL-03"]).limits
    assert found.limits.parts_on_hand == USUAL.parts_on_hand


TWO_WEEKS = """
[limits]
mechanic_h = 30
kits_on_hand = { top_end_kit = 3 }
[pin]
"TW-48" = "leak_down_check"
[week.2026-08-17.limits]
lift_slots = 1
[week.2026-08-17.pin]
"TW-48" = "planned_top_end"
[week.2026-08-17.forbid]
"OF-21" = ["fuel_rule"]
"""


def test_a_week_is_laid_over_every_week_and_leaves_the_others_alone() -> None:
    this, other = week(TWO_WEEKS), week(TWO_WEEKS, date(2026, 8, 10))

    assert (this.limits.lift_slots, other.limits.lift_slots) == (1, USUAL.lift_slots)
    assert this.limits.mechanic_h == other.limits.mechanic_h == 30
    assert this.limits.parts_on_hand == {"top_end_kit": 3, "bottom_end_kit": 1}
    assert this.changes.pins == {"TW-48": "planned_top_end"}
    assert other.changes == HandChanges({"TW-48": "leak_down_check"}, {})


def test_forbidding_an_action_forbids_what_holds_it() -> None:
    assert set(week(TWO_WEEKS).changes.forbids["OF-21"]) == {
        "fuel_rule", "fuel_and_calibration", "fuel_and_throttle", "fuel_and_check",
        "fuel_and_top_end", "fuel_calibration_and_check", "fuel_calibration_and_top_end",
        "fuel_and_drain", "fuel_and_reading", "fuel_and_leak", "fuel_calibration_and_leak",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[pin", "week.toml: not valid TOML"),
        ("[pins]", "week.toml: unknown entry pins; known: limits, pin, forbid, week"),
        ("[limits]\nlifts = 2", "limits: unknown entry lifts; known: lift_slots"),
        ("[limits]\nmechanic_h = -1", r"limits.mechanic_h: is -1; give a number of zero or more"),
        ("[limits]\nlift_slots = 1.5", r"limits.lift_slots: is 1.5; give a whole number"),
        ("[limits]\nmechanic_h = true", "limits.mechanic_h: is True; give a number"),
        ("[limits.kits_on_hand]\nprop = 1", "kits_on_hand.prop: no action uses such a kit; there"),
        ('[pin]\n"TW-84" = "borescope"', "pin.TW-84: no hull of this name is on record; did you "),
        ('[pin]\n"TW-48" = "top_end"', "pin.TW-48: no such action: 'top_end'; did you mean"),
        ('[forbid]\n"TW-48" = ["polish"]', "forbid.TW-48: no such action: 'polish'"),
        ('pin = "TW-48"', "pin must be a table"),
        ("[week.2026-08-18.limits]", "week.2026-08-18: 2026-08-18 is no Monday"),
        ("[week.monday.limits]", "week.monday: no date; name a week by its Monday"),
        ("week.2026-08-17 = 3", r"must be a section, e.g. \[week.2026-08-17.limits\]"),
        ('[pin]\n"TW-48" = "borescope"\n[forbid]\n"TW-48" = "borescope"', "take one back"),
    ],
)  # fmt: skip
def test_a_wrong_entry_is_told_with_file_entry_and_remedy(text: str, says: str) -> None:
    with pytest.raises(WeekFileError, match=says):
        week(text)


def test_a_fault_in_another_weeks_section_shows_at_once() -> None:
    with pytest.raises(WeekFileError, match=r"week.2026-08-24: pin.TW-84"):
        week('[week.2026-08-24.pin]\n"TW-84" = "borescope"')
