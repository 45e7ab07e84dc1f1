"""The words of a fuel rule: what goes with it, its range, and what it cannot say."""

import pytest

from ringland.decision.value.fuel_rules import WHOLE_FLEET
from ringland.pages.fuel_rules.fuel_rule_words import rule_sentences
from ringland.words.manner import Manner, in_manner

ROW = {
    "rule": "r", "label": "At least 91 AKI at every dock", "dock_id": "north",
    "failures_today": 9.13, "failures_rule": 6.0,
    "failures_fewer": 3.13, "failures_fewer_low": 0.42, "failures_fewer_high": 6.91,
    "money_fewer": 34_430.0, "job_cost": 0.0, "better_l": 52_000.0, "break_even_per_l": 0.662,
    "break_even_low": 0.089, "break_even_high": 1.46, "dearer_per_l": 0.16, "verdict": "pays",
    "cannot_separate": None,
}  # fmt: skip


def words(**changes: object) -> str:
    row = ROW | changes
    return " ".join(rule_sentences(row, "USD", is_fleet=row["dock_id"] == WHOLE_FLEET))


def test_a_rule_is_told_as_what_goes_with_failures_and_their_range() -> None:
    text = words()

    assert "At least 91 AKI, north: over the year's use this goes with 3.1 (0.4 to 6.9)" in text
    assert "fewer ring failures of 9.1 expected" in text
    assert "breaks even at USD 0.66 a litre (USD 0.09 to USD 1.46) more on 52,000 l" in text
    assert "as paid, the better grade was USD 0.16 a litre dearer: pays" in text


@pytest.mark.parametrize("changes", [{}, {"dock_id": WHOLE_FLEET}, {"better_l": 0.0}])
def test_no_telling_claims_a_cause(changes: dict[str, object]) -> None:
    text = words(**changes)

    assert "goes with" in text
    for claim in ("will save", "prevents", "because of", "causes"):
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
    assert "The jobs it asks for would have cost USD 340." in text


def test_a_rule_that_never_pays_names_no_price() -> None:
    never = {"break_even_per_l": -0.1, "break_even_low": -0.3, "break_even_high": -0.02}

    assert "No dearer price would pay" in words(**never)


def test_a_price_that_is_not_on_record_is_said() -> None:
    assert "the price step is not on record" in words(dearer_per_l=None, verdict="no price")


def test_a_better_grade_that_was_cheaper_is_called_so() -> None:
    assert "was USD 0.04 a litre cheaper" in words(dearer_per_l=-0.04)


def test_us_units_price_the_gallon() -> None:
    # 0.662 a litre x 3.785411784 l in a US gallon (NIST Handbook 44) = 2.51
    with in_manner(Manner(units="us")):
        assert "breaks even at USD 2.51 a gallon" in words()
