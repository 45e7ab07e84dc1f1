"""The words of a fuel rule: an association, its range, and what it cannot say."""

import pytest

from ringland.service_week.fuel_rules import WHOLE_FLEET
from ringland.week_pages.fuel_rule_words import rule_sentences

ROW = {
    "rule": "r", "dock_id": "north", "failures_today": 9.13, "failures_rule": 6.0,
    "failures_fewer": 3.13, "failures_fewer_low": 0.42, "failures_fewer_high": 6.91,
    "money_fewer": 34_430.0, "job_cost": 0.0, "better_l": 52_000.0, "break_even_per_l": 0.662,
    "break_even_low": 0.089, "break_even_high": 1.46, "risk_ratio": 1.5, "risk_ratio_low": 1.05,
    "risk_ratio_high": 2.3, "e_value": 2.366, "e_value_limit": 1.28, "cannot_separate": None,
}  # fmt: skip


def words(**changes: object) -> str:
    return " ".join(rule_sentences(ROW | changes, "91 or better", "USD"))


def test_a_rule_is_told_as_what_goes_with_failures_and_their_range() -> None:
    text = words()

    assert "north: over the same season of use this goes with 3.1 fewer ring failures" in text
    assert "(0.4 to 6.9) of 9.1 expected" in text
    assert "It breaks even at 0.66 USD more a litre on the 52,000 better litres" in text
    assert "a risk ratio of 2.4 each (1.3 for the limit nearer to no effect; VanderWeele" in text


@pytest.mark.parametrize("changes", [{}, {"dock_id": WHOLE_FLEET}, {"better_l": 0.0}])
def test_every_telling_ends_with_association_and_claims_no_cause(changes: dict[str, str]) -> None:
    text = words(**changes)

    assert text.endswith("it does not prove what causes it.")
    for claim in ("will save", "prevents", "because of"):
        assert claim not in text


def test_a_range_that_holds_no_effect_says_so() -> None:
    assert "The range holds no effect at all" in words(failures_fewer_low=-0.2)
    assert "The range holds no effect at all" not in words()


def test_what_cannot_be_separated_is_printed() -> None:
    assert "Cannot separate: north burned one grade." in words(
        cannot_separate="north burned one grade"
    )


def test_a_rule_that_buys_no_fuel_has_no_break_even_price() -> None:
    text = words(break_even_per_l=None, break_even_low=None, break_even_high=None, job_cost=340.0)

    assert "breaks even" not in text
    assert "The jobs it asks for would have cost 340 USD." in text


def test_a_rule_that_never_pays_names_no_price() -> None:
    never = {"break_even_per_l": -0.1, "break_even_low": -0.3, "break_even_high": -0.02}

    assert "No dearer price would pay" in words(**never)
