import math
from typing import Any

import polars as pl
import pytest

from ringland.contracts.fuel_tables import SessionFuel
from ringland.exposure.octane_margin import (
    chance_need_unmet,
    octane_index_trials,
    on_octane_index,
    session_exposure,
)
from ringland.settings.assumptions import load_assumptions
from tests.fuel.small_records import engine_sessions, session

ASSUMPTIONS = load_assumptions()


def fuel(*rows: dict[str, Any]) -> pl.DataFrame:
    schema = SessionFuel.create_empty().schema
    usual = {
        "burn_l": 30.0, "octane_aki": 89.0, "octane_low_aki": 88.0, "octane_high_aki": 90.0,
        "fuel_age_d": 5.0, "fuel_age_low_d": 5.0, "fuel_age_high_d": 5.0, "fuel_age_p90_d": 5.0,
        "share_over_14d": 0.0, "share_over_28d": 0.0, "unknown_share": 0.0,
        "tank_before_l": 60.0, "tank_after_l": 30.0,
    }  # fmt: skip
    return pl.DataFrame([usual | row for row in rows], schema=schema)


def exposed(cells: dict[str, Any], burned: dict[str, Any] | None = None) -> dict[str, Any]:
    ride = session(3, **cells)
    key = {"hull_id": ride["hull_id"], "started_at": ride["started_at"]}
    table = session_exposure(fuel(key | (burned or {})), engine_sessions(ride), ASSUMPTIONS)
    return table.row(0, named=True)


def test_shortfall_is_need_less_supply_with_its_bounds() -> None:
    row = exposed({"octane_need_aki": 91.0})

    assert row["octane_margin_on"] == -2.0
    assert row["shortfall_on"] == 2.0
    assert row["shortfall_low_on"] == 1.0
    assert row["shortfall_high_on"] == 3.0


def test_octane_to_spare_is_no_shortfall() -> None:
    row = exposed({"octane_need_aki": 87.0})

    assert row["octane_margin_on"] == 2.0
    assert row["shortfall_on"] == 0.0


@pytest.mark.parametrize(("calibration", "need"), [("stock", 91.0), ("raised", 93.0)])
def test_need_follows_the_class_where_no_number_is_on_record(calibration: str, need: float) -> None:
    row = exposed({"calibration": calibration, "octane_need_aki": None})

    assert row["octane_need_aki"] == need


@pytest.mark.parametrize("calibration", [None, "mild"])
def test_unknown_need_gives_unknown_margin(calibration: str | None) -> None:
    row = exposed({"calibration": calibration, "octane_need_aki": None})

    assert row["octane_margin_on"] is None
    assert row["shortfall_on"] is None
    assert row["shortfall_low_on"] is None
    assert row["shortfall_high_on"] is None


def test_unknown_octane_gives_unknown_margin_between_bounds() -> None:
    row = exposed({}, {"octane_aki": None, "unknown_share": 1.0})

    assert row["octane_margin_on"] is None
    assert row["shortfall_on"] is None
    assert (row["shortfall_low_on"], row["shortfall_high_on"]) == (1.0, 3.0)


def test_hard_running_is_full_throttle_share_of_meter_hours() -> None:
    row = exposed({"full_throttle_share": 0.4, "engine_h_start": 10.0, "engine_h_stop": 12.0})

    assert row["hard_running_h"] == pytest.approx(0.8)
    assert not row["is_throttle_assumed"]


def test_missing_throttle_share_is_the_hulls_middle_then_the_fleets_then_the_settings() -> None:
    rides = [
        session(1, full_throttle_share=0.1), session(2, full_throttle_share=0.2),
        session(3, full_throttle_share=0.6), session(4, full_throttle_share=None),
        session(4, "H2", full_throttle_share=None), session(5, "H3", full_throttle_share=0.9),
    ]  # fmt: skip
    keys = [{"hull_id": ride["hull_id"], "started_at": ride["started_at"]} for ride in rides]
    table = session_exposure(fuel(*keys), engine_sessions(*rides), ASSUMPTIONS)
    assumed = table.filter(pl.col("is_throttle_assumed"))
    alone = exposed({"full_throttle_share": None})

    assert assumed.get_column("full_throttle_share").to_list() == pytest.approx([0.2, 0.4])
    assert alone["full_throttle_share"] == ASSUMPTIONS.number("exposure.full_throttle_share")


def test_a_session_without_fuel_is_an_error_not_a_gap() -> None:
    with pytest.raises(ValueError, match="1 sessions have no row of fuel"):
        session_exposure(fuel().clear(), engine_sessions(session(3)), ASSUMPTIONS)


def test_octane_index_moves_the_margin_only_by_a_gap_in_sensitivity() -> None:
    """By hand from OI = RON - K S: AKI 89, S 7.5 and need 91 set with S 9, K = -0.3.

    Fuel: RON 92.75, OI 92.75 + 0.3 * 7.5 = 95.0.  Need: RON 95.5, OI 95.5 + 0.3 * 9 = 98.2.
    """
    ride = session(3, octane_need_aki=91.0)
    key = {"hull_id": ride["hull_id"], "started_at": ride["started_at"]}
    table = session_exposure(fuel(key), engine_sessions(ride), ASSUMPTIONS)
    moved = on_octane_index(table, -0.3, 7.5 - 9.0)

    assert moved.get_column("octane_margin_on").to_list() == pytest.approx([95.0 - 98.2])
    assert moved.get_column("shortfall_on").to_list() == pytest.approx([3.2])
    assert on_octane_index(table, 0.5, -1.5).equals(table)
    assert on_octane_index(table, -0.3, 0.0).equals(table)


def test_of_engines_alike_half_need_more_than_fuel_that_just_meets_the_stated_need() -> None:
    """Normal table: 15.87 % beyond one standard deviation (any table of the distribution)."""
    sd = ASSUMPTIONS.number("octane.need_spread_on")
    more = chance_need_unmet([0.0, sd, -sd, float("nan")], ASSUMPTIONS)

    assert more[:3].tolist() == pytest.approx([0.5, 0.1587, 0.8413], abs=5e-5)  # four digits
    assert math.isnan(more[3])


def test_index_trials_move_the_shortfall_only_by_a_gap_in_sensitivity() -> None:
    """By hand: margins -1 and +1 with 1 h hard each; K = 0 and a gap of -1.5 moves both by -0.75,
    K = -0.3 and -1.5 by -1.2, so the second falls short too."""
    margins = pl.DataFrame(
        {
            "octane_margin_on": [-1.0, 1.0, None],
            "shortfall_on": [1.0, 0.0, None],
            "hard_running_h": [1.0, 1.0, 1.0],
            "burn_l": [30.0, 10.0, 50.0],
        }
    )
    trials = octane_index_trials(margins, ASSUMPTIONS)

    assert trials["weight_k"].to_list() == [0.5, 0.0, 0.0, -0.3, -0.3]
    assert trials["sensitivity_gap_on"].to_list() == [0.0, -1.5, 1.5, -1.5, 1.5]
    assert trials["shortfall_on"].to_list() == pytest.approx(
        [0.5, 1.75 / 2, 0.25 / 2, (2.2 + 0.2) / 2, 0.0]
    )
    assert trials["below_need_share"].to_list() == pytest.approx([0.75, 0.75, 0.75, 1.0, 0.0])


def test_index_trials_of_nothing_known_are_null() -> None:
    margins = pl.DataFrame(
        {"octane_margin_on": [], "shortfall_on": [], "hard_running_h": [], "burn_l": []},
        schema_overrides=dict.fromkeys(
            ("octane_margin_on", "shortfall_on", "hard_running_h", "burn_l"), pl.Float64
        ),
    )
    trials = octane_index_trials(margins, ASSUMPTIONS)

    assert trials["shortfall_on"].null_count() == trials["below_need_share"].null_count() == 5
