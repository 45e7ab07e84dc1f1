"""An octane number without its scale in the ledger: mean, bounds and open share by hand.

Conversions use RON - MON = octane.sensitivity_on (DOMAIN.md section 2: AKI = RON - S/2).
"""

from typing import Any

import polars as pl
import pytest

from ringland.fuel.octane import SCALE_CHANCES, with_aki, with_scale_chances
from ringland.fuel.session_fuel import session_fuel
from ringland.settings.assumptions import load_assumptions
from tests.fuel.small_records import (
    day,
    delivery,
    dock_fill,
    engine_sessions,
    outside_fill,
    records,
    session,
)

ASSUMPTIONS = load_assumptions()
HALF = ASSUMPTIONS.number("octane.sensitivity_on") / 2
SPREAD = ASSUMPTIONS.number("octane.sensitivity_spread_on") / 2
LABEL = ASSUMPTIONS.number("octane.label_spread_on")


def in_country(country: str | None, **kinds: list[dict[str, Any]]) -> dict[str, pl.DataFrame]:
    dock = {"dock_id": "north", "bulk_tank_l": 5000.0, "time_zone": "UTC", "country": country}
    return records(docks=[dock], **kinds)


def graded(**chances: float) -> dict[str, Any]:
    columns = {
        "octane_aki": None,
        "octane_ron": None,
        "octane_mon": None,
        "octane_unlabelled": 92.0,
        **{name: chances.get(name, 0.0) for name in SCALE_CHANCES},
    }
    frame = pl.DataFrame([columns], schema=dict.fromkeys(columns, pl.Float64))
    return with_aki(frame, ASSUMPTIONS).row(0, named=True)


def test_the_best_estimate_is_the_mean_over_the_scales_and_bounds_hold_the_possible_ones() -> None:
    fuel = graded(chance_aki=0.7, chance_ron=0.29, chance_mon=0.01)

    # MON is below the chance that counts as ruled out: not in the bounds, but in the mean
    mean = 0.7 * 92 + 0.29 * (92 - HALF) + 0.01 * (92 + HALF)
    assert fuel["octane_best_aki"] == pytest.approx(mean)
    assert fuel["octane_low_aki"] == pytest.approx(92 - HALF - SPREAD)
    assert fuel["octane_high_aki"] == 92.0
    assert fuel["octane_open_share"] == pytest.approx(0.3)


def test_a_labelled_number_is_not_touched_by_chances() -> None:
    frame = pl.DataFrame(
        {"octane_aki": [87.0], "octane_ron": [None], "octane_mon": [None]}
        | {"octane_unlabelled": [95.0], "chance_aki": [0.5], "chance_ron": [0.5]}
        | {"chance_mon": [0.0]},
        schema_overrides={"octane_ron": pl.Float64, "octane_mon": pl.Float64},
    )

    fuel = with_aki(frame, ASSUMPTIONS).row(0, named=True)

    assert (fuel["octane_low_aki"], fuel["octane_best_aki"]) == (87.0, 87.0)
    assert fuel["octane_open_share"] == 0.0


def test_records_without_bare_numbers_come_back_as_they_are() -> None:
    known = in_country("US", fills=[outside_fill(1, 30, octane_aki=91.0)])

    assert with_scale_chances(known, ASSUMPTIONS)["fills"].columns == known["fills"].columns


def burned(country: str | None, **kinds: list[dict[str, Any]]) -> dict[str, Any]:
    known = in_country(country, **kinds)
    rides = engine_sessions(session(8, burned_l=20.0))
    fuel = session_fuel(known, rides, ASSUMPTIONS, day(10))
    return fuel.sessions.row(0, named=True)


def test_a_bare_number_bought_outside_is_bounded_by_its_country_s_scales() -> None:
    """A bare 98 is no AKI grade and above every MON: in Germany it is RON, and hardly open."""
    ride = burned("DE", fills=[outside_fill(1, 70, octane_unlabelled=98.0)])

    assert ride["octane_aki"] == pytest.approx(98 - HALF, abs=0.1)  # 0.1: the other scales' rest
    assert ride["octane_low_aki"] == pytest.approx(98 - HALF - SPREAD - LABEL)
    assert ride["octane_high_aki"] == pytest.approx(98 - HALF + SPREAD + LABEL)
    assert ride["unknown_share"] < 0.02


def test_a_bare_number_without_a_country_keeps_both_scales_in_its_bounds_and_stays_open() -> None:
    ride = burned(None, fills=[outside_fill(1, 70, octane_unlabelled=92.0)])

    assert ride["octane_low_aki"] == pytest.approx(92 - HALF - SPREAD - LABEL)
    assert ride["octane_high_aki"] >= 92 + LABEL
    assert 0.3 < ride["unknown_share"] < 0.7


def test_bare_deliveries_reach_the_craft_through_the_dock_s_tank() -> None:
    """Found as a gap: such a delivery counted as unknown over every grade sold in the area."""
    ride = burned(
        "US",
        deliveries=[delivery(0, 2000, octane_unlabelled=87.0)],
        fills=[dock_fill(1, 70)],
    )

    assert ride["octane_aki"] == pytest.approx(87.0, abs=0.3)  # the chance that it was RON
    assert ride["unknown_share"] < 0.1
