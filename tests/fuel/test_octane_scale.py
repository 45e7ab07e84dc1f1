"""A bare octane number stays bare, with chances that add up and follow the evidence."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.fuel.octane_scale import scale_chances
from ringland.settings.assumptions import load_assumptions
from tests.history.record_rows import at, records

ASSUMPTIONS = load_assumptions()
HULL = [{"hull_id": "H01", "dock_id": "north"}]


def chances(
    number: float, country: str | None, labelled: list[dict[str, object]], source: str | None
) -> dict[str, object]:
    found = scale_chances(
        records(
            docks=[{"dock_id": "north", "country": country}],
            hulls=HULL,
            fills=[
                {
                    "hull_id": "H01",
                    "filled_at": at("06-01 09:00"),
                    "source_dock_id": source,
                    "octane_unlabelled": number,
                }
            ],
            deliveries=[
                {"dock_id": "north", "delivered_at": at("05-01 09:00"), **row} for row in labelled
            ],
        ),
        ASSUMPTIONS,
    )
    return found.row(0, named=True)


def test_chances_are_the_product_of_habit_neighbours_and_grades_by_hand() -> None:
    # habit US: .97/.02/.01; no neighbours; 91 is sold on all three scales (widths 10, 12, 11)
    by_hand = [0.97 * 0.98 / 10, 0.02 * 0.98 / 12, 0.01 * 0.98 / 11]

    found = chances(91, "US", [], "north")

    assert [found[f"chance_{scale}"] for scale in ("aki", "ron", "mon")] == pytest.approx(
        [chance / sum(by_hand) for chance in by_hand]
    )


def test_ninety_five_is_a_ron_and_eighty_seven_an_aki_where_the_country_is_not_known() -> None:
    assert chances(95, None, [], "north")["chance_ron"] > 0.9
    assert chances(87, None, [], "north")["chance_aki"] > 0.9


def test_ninety_one_without_a_country_is_neither() -> None:
    found = chances(91, None, [], "north")

    assert 0.3 < found["chance_aki"] < 0.7
    assert 0.3 < found["chance_ron"] < 0.7


def test_labelled_neighbours_of_the_dock_pull_but_not_for_fuel_from_outside() -> None:
    ron = [{"octane_ron": 95.0}] * 40

    at_dock = chances(91, "US", ron, "north")
    outside = chances(91, "US", ron, None)

    assert at_dock["chance_ron"] > 0.8
    assert outside["chance_ron"] < 0.05
    assert outside["dock_id"] == "north"


def test_a_row_with_a_labelled_octane_is_resolved_and_not_listed() -> None:
    fill = {
        "hull_id": "H01",
        "filled_at": at("06-01 09:00"),
        "octane_unlabelled": 91.0,
        "octane_aki": 91.0,
    }

    assert scale_chances(records(hulls=HULL, fills=[fill]), ASSUMPTIONS).is_empty()


@settings(derandomize=True, deadline=None, max_examples=50)
@given(
    number=st.floats(60, 130),
    country=st.sampled_from(["US", "de", "JP", None]),
    neighbours=st.lists(st.sampled_from(["octane_aki", "octane_ron", "octane_mon"]), max_size=6),
)
def test_chances_are_chances(number: float, country: str | None, neighbours: list[str]) -> None:
    found = chances(number, country, [{name: 90.0} for name in neighbours], "north")

    three = [found[f"chance_{scale}"] for scale in ("aki", "ron", "mon")]
    assert all(0 <= chance <= 1 for chance in three)
    assert sum(three) == pytest.approx(1, abs=1e-12)  # rounding of three terms
