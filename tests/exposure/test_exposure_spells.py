from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.contracts.fuel_tables import SessionExposure
from ringland.exposure.exposure_spells import current_exposure, spells
from ringland.settings.assumptions import load_assumptions
from tests.fuel.small_records import day, life, lives

ASSUMPTIONS = load_assumptions()
COVARIATES = [
    "shortfall_25h_on", "shortfall_25h_low_on", "shortfall_25h_high_on", "shortfall_life_onh",
    "fuel_age_25h_d", "share_over_28d_25h", "full_throttle_25h", "known_share_25h",
]  # fmt: skip


def ride(start_h: float, hours: float = 1.0, name: str = "H1", **cells: Any) -> dict[str, Any]:
    """A ride at a set hour; a set hour is a day of the calendar."""
    started = day(start_h)
    short = cells.pop("short", 1.0)
    share = cells.pop("share", 0.25)
    return {
        "hull_id": name, "dock_id": "north", "engine_id": f"E-{name}",
        "piston_set_id": f"P-{name}", "started_at": started,
        "ended_at": started + timedelta(hours=hours), "engine_h_start": start_h,
        "engine_h_stop": start_h + hours, "set_h_start": start_h,
        "set_h_stop": start_h + hours, "burn_l": 30.0 * hours, "octane_aki": 91.0 - short,
        "octane_need_aki": 91.0, "octane_margin_on": -short, "shortfall_on": short,
        "shortfall_low_on": short / 2, "shortfall_high_on": short * 2,
        "hard_running_h": hours * share, "full_throttle_share": share,
        "is_throttle_assumed": False, "fuel_age_d": 5.0, "share_over_14d": 0.0,
        "share_over_28d": 0.0, "unknown_share": 0.0, "calibration": "stock",
    } | cells  # fmt: skip


def exposure(*rows: dict[str, Any]) -> pl.DataFrame:
    return pl.DataFrame(list(rows), schema=SessionExposure.create_empty().schema)


def rides_at_random(seed: int, hours: float = 60.0, name: str = "H1") -> list[dict[str, Any]]:
    rng = np.random.default_rng(seed)
    rows, at = [], 0.0
    while at < hours - 1.5:
        length = float(rng.uniform(0.3, 1.4))
        rows.append(
            ride(
                at, length, name, short=float(rng.uniform(0, 4)), share=float(rng.uniform(0, 1)),
                fuel_age_d=float(rng.uniform(1, 40)), share_over_28d=float(rng.uniform(0, 1)),
                unknown_share=float(rng.uniform(0, 1)),
            )
        )  # fmt: skip
        at += length
    return rows


def test_trailing_shortfall_is_weighted_by_hard_hours_as_computed_by_hand() -> None:
    """Rides of 10 h: shortfall 0, 3, 1 at throttle shares 0.2, 0.1, 0.4.

    At 30 h the last 25 h hold 5, 10, 10 h of them: hard hours 1, 1, 4, so the mean is
    (1 * 0 + 1 * 3 + 4 * 1) / 6.
    """
    rows = [
        ride(0, 10, short=0.0, share=0.2), ride(10, 10, short=3.0, share=0.1),
        ride(20, 10, short=1.0, share=0.4), ride(30, 5),
    ]  # fmt: skip
    table = spells(exposure(*rows), lives(life(exit_h=35.0)), ASSUMPTIONS)
    row = table.filter(pl.col("start_h") == 30).row(0, named=True)

    assert row["shortfall_25h_on"] == pytest.approx(7 / 6)
    assert row["shortfall_25h_low_on"] == pytest.approx(7 / 12)
    assert row["shortfall_25h_high_on"] == pytest.approx(7 / 3)
    assert row["full_throttle_25h"] == pytest.approx(6 / 25)
    assert row["shortfall_life_onh"] == pytest.approx(10 * 0.1 * 3 + 10 * 0.4 * 1)


def test_trailing_age_is_weighted_by_litres() -> None:
    rows = [
        ride(0, 5, burn_l=100.0, fuel_age_d=2.0, share_over_28d=0.0, unknown_share=0.5),
        ride(5, 5, burn_l=300.0, fuel_age_d=10.0, share_over_28d=0.4, unknown_share=0.0),
        ride(10, 5),
    ]
    table = spells(exposure(*rows), lives(life(exit_h=15.0)), ASSUMPTIONS)
    row = table.filter(pl.col("start_h") == 10).row(0, named=True)

    assert row["fuel_age_25h_d"] == pytest.approx((100 * 2 + 300 * 10) / 400)
    assert row["share_over_28d_25h"] == pytest.approx(300 * 0.4 / 400)
    assert row["known_share_25h"] == pytest.approx((50 + 300) / 400)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(seed=st.integers(0, 1000), entry=st.floats(0, 30), length=st.floats(0.5, 28))
def test_spells_tile_the_observed_life(seed: int, entry: float, length: float) -> None:
    one = life(entry_h=entry, exit_h=entry + length, state="failed", mode="ring_land_fracture")
    table = spells(exposure(*rides_at_random(seed)), lives(one), ASSUMPTIONS)
    start, stop = table.get_column("start_h").to_list(), table.get_column("stop_h").to_list()

    assert start[0] == one["entry_h"]
    assert stop[-1] == one["exit_h"]
    assert start[1:] == stop[:-1]
    assert max(b - a for a, b in zip(start, stop, strict=True)) <= 5 + 1e-9
    assert table.get_column("mode").to_list() == [None] * (len(start) - 1) + ["ring_land_fracture"]


@settings(derandomize=True, deadline=None, max_examples=15)
@given(seed=st.integers(0, 1000), spell_h=st.sampled_from([1.0, 2.5, 7.0, 20.0]))
def test_cutting_otherwise_changes_neither_hours_nor_covariates(seed: int, spell_h: float) -> None:
    rows, one = exposure(*rides_at_random(seed)), lives(life(exit_h=55.0))
    usual = spells(rows, one, ASSUMPTIONS)
    other = spells(rows, one, ASSUMPTIONS.changed(exposure__spell_h=spell_h))
    both = usual.join(other, on="start_h", suffix="_other")

    hours = (other.get_column("stop_h") - other.get_column("start_h")).sum()
    assert hours == pytest.approx(55.0)
    assert both.height >= 1
    for column in COVARIATES:
        assert both.get_column(column).to_list() == both.get_column(f"{column}_other").to_list()


@settings(derandomize=True, deadline=None, max_examples=15)
@given(seed=st.integers(0, 1000))
def test_sessions_after_a_spell_starts_do_not_reach_its_covariates(seed: int) -> None:
    """Everything from 30 h on is replaced by a wild future; spells that start by 30 h stay."""
    past = [row for row in rides_at_random(seed) if row["set_h_stop"] <= 30]
    future = [ride(30 + i, 1.0, short=9.0, fuel_age_d=99.0, share=0.9) for i in range(20)]
    one = lives(life(exit_h=50.0))
    plain = spells(exposure(*rides_at_random(seed)), one, ASSUMPTIONS)
    planted = spells(exposure(*past, *future), one, ASSUMPTIONS)
    seen = [*COVARIATES, "is_raised_calibration", "is_forged"]
    last = past[-1]["set_h_stop"]

    before = pl.col("start_h") <= last
    assert plain.filter(before).height >= 2
    assert planted.filter(before).select(seen).equals(plain.filter(before).select(seen))


def test_row_order_and_names_do_not_matter() -> None:
    rows = rides_at_random(1) + rides_at_random(2, name="H2")
    both = lives(life(exit_h=50.0), life("H2", exit_h=50.0))
    plain = spells(exposure(*rows), both, ASSUMPTIONS)
    shuffled = spells(exposure(*reversed(rows)), both.reverse(), ASSUMPTIONS)
    renamed = spells(
        exposure(*rides_at_random(1, name="Z"), *rides_at_random(2, name="A")),
        lives(life("Z", exit_h=50.0), life("A", exit_h=50.0)), ASSUMPTIONS,
    )  # fmt: skip

    assert shuffled.equals(plain)
    swapped = pl.concat(
        [renamed.filter(pl.col("hull_id") == "Z"), renamed.filter(pl.col("hull_id") == "A")]
    )
    assert swapped.select(COVARIATES).equals(plain.select(COVARIATES))


def test_a_new_set_takes_on_what_its_hull_burned_before() -> None:
    old = [ride(h, piston_set_id="P-old", short=2.0, fuel_age_d=8.0) for h in range(30)]
    new = [ride(30, 5, set_h_start=0.0, set_h_stop=5.0, short=7.0, fuel_age_d=70.0)]
    table = spells(exposure(*old, *new), lives(life(exit_h=5.0)), ASSUMPTIONS)
    row = table.row(0, named=True)

    assert row["shortfall_25h_on"] == pytest.approx(2.0)
    assert row["fuel_age_25h_d"] == pytest.approx(8.0)
    assert row["shortfall_life_onh"] == 0.0


def test_without_any_past_a_set_starts_on_the_fuel_in_its_tank() -> None:
    table = spells(
        exposure(ride(0, 5, short=2.0, fuel_age_d=8.0)), lives(life(exit_h=5.0)), ASSUMPTIONS
    )
    row = table.row(0, named=True)

    assert row["shortfall_25h_on"] == pytest.approx(2.0)
    assert row["fuel_age_25h_d"] == pytest.approx(8.0)
    assert row["full_throttle_25h"] == pytest.approx(
        ASSUMPTIONS.number("exposure.full_throttle_share")
    )


def test_unknown_octane_stands_between_its_bounds_and_is_not_known() -> None:
    unknown = {"octane_aki": None, "octane_margin_on": None, "shortfall_on": None}
    rows = [
        ride(0, 5, unknown_share=1.0, shortfall_low_on=1.0, shortfall_high_on=4.0, **unknown),
        ride(5, 5),
    ]
    table = spells(exposure(*rows), lives(life(exit_h=10.0)), ASSUMPTIONS)
    row = table.row(1, named=True)

    assert row["known_share_25h"] == 0.0
    assert row["shortfall_25h_on"] == pytest.approx(2.5)
    assert (row["shortfall_25h_low_on"], row["shortfall_25h_high_on"]) == (1.0, 4.0)


@pytest.mark.parametrize(
    ("octane", "bounds"), [(90.0, (1.0, 3.0)), (92.5, (0.0, 0.5)), (94.0, (0.0, 0.0))]
)
def test_unknown_need_is_bounded_by_stock_and_raised_and_not_known(
    octane: float, bounds: tuple[float, float]
) -> None:
    gaps = dict.fromkeys(
        ["octane_need_aki", "octane_margin_on", "shortfall_on", "shortfall_low_on",
         "shortfall_high_on", "calibration"]
    )  # fmt: skip
    rows = [ride(0, 5, **(gaps | {"octane_aki": octane})), ride(5, 5)]
    row = spells(exposure(*rows), lives(life(exit_h=10.0)), ASSUMPTIONS).row(1, named=True)

    assert row["known_share_25h"] == 0.0
    assert (row["shortfall_25h_low_on"], row["shortfall_25h_high_on"]) == bounds


def test_spells_carry_the_state_in_force_at_their_start() -> None:
    rows = [ride(0, 5), ride(5, 5, "H1", calibration="raised"), ride(10, 5, hull_id="H7")]
    table = spells(
        exposure(*rows), lives(life(exit_h=15.0, piston_type="forged", build_number=3)),
        ASSUMPTIONS,
    )  # fmt: skip

    assert table.get_column("is_raised_calibration").to_list() == [False, True, False]
    assert table.get_column("hull_id").to_list() == ["H1", "H1", "H7"]
    assert table.get_column("is_forged").all()
    assert table.get_column("build_number").to_list() == [3, 3, 3]
    assert (table.get_column("start_at") < table.get_column("stop_at")).all()


def test_current_exposure_is_the_next_spells_covariates() -> None:
    rows = rides_at_random(3)
    now = current_exposure(
        exposure(*rows), lives(life(exit_h=40.0), life("H2", state="removed")), ASSUMPTIONS
    )
    later = spells(exposure(*rows), lives(life(exit_h=45.0)), ASSUMPTIONS)

    assert now.get_column("piston_set_id").to_list() == ["P-H1"]
    assert now.get_column("age_h").to_list() == [40.0]
    at_40 = later.filter(pl.col("start_h") == 40)
    assert now.select(COVARIATES).equals(at_40.select(COVARIATES))


def test_a_life_that_ends_by_rounding_beyond_a_cut_ends_at_the_cut() -> None:
    """A failure at 250.00000000000026 h once stood in a row of its own no time long.

    Cox regression rightly refuses such a row, so the week's evidence of every effect was lost.
    """
    ends = 250.00000000000026
    assert ends > 250
    frame = lives(
        life("H1", exit_h=ends, state="failed", mode="ring_land_fracture"),
        life("H2", entry_h=5 - 1e-13, exit_h=20.0),
        life("H3", entry_h=7.0, exit_h=7.0 + 1e-12),
    )

    found = spells(exposure(), frame, ASSUMPTIONS)

    last = found.filter(pl.col("piston_set_id") == "P-H1").row(-1, named=True)
    assert last["stop_h"] == ends
    assert last["mode"] == "ring_land_fracture"
    assert (found["stop_h"] - found["start_h"]).min() > 1.0
    assert set(found["piston_set_id"]) == {"P-H1", "P-H2"}


def test_a_life_without_observed_hours_gives_no_spell() -> None:
    table = spells(exposure(ride(0)), lives(life(entry_h=3.0, exit_h=3.0)), ASSUMPTIONS)

    assert table.height == 0


def test_a_life_without_sessions_is_tiled_but_nothing_is_known_of_it() -> None:
    table = spells(exposure(), lives(life(exit_h=7.0, ended_at=day(9))), ASSUMPTIONS)

    assert table.get_column("stop_h").to_list() == [5.0, 7.0]
    assert table.get_column("known_share_25h").to_list() == [0.0, 0.0]


def test_a_set_that_has_not_run_takes_on_its_hulls_then_its_docks_past_as_unknown() -> None:
    rows = [ride(h, piston_set_id="P-old", short=2.0, fuel_age_d=8.0) for h in range(30)]
    fitted = {"fitted_at": day(31), "exit_h": 0.0}
    now = current_exposure(
        exposure(*rows),
        lives(life(piston_set_id="P-new", **fitted), life("H2", **fitted)), ASSUMPTIONS,
    )  # fmt: skip

    assert now.get_column("shortfall_25h_on").to_list() == pytest.approx([2.0, 2.0])
    assert now.get_column("fuel_age_25h_d").to_list() == pytest.approx([8.0, 8.0])
    assert now.get_column("known_share_25h").to_list() == [0.0, 0.0]
    assert now.get_column("last_session_at").to_list() == [None, None]
