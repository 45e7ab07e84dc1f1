from collections.abc import Sequence
from datetime import datetime, timedelta

import polars as pl
import pytest

from ringland.history.hour_meter import engine_hours_at, engine_sessions
from ringland.settings.assumptions import load_assumptions
from tests.history.record_rows import at, records

SETTINGS = load_assumptions()
# sums of tenths: exact but for the last bits of a double
approx = pytest.approx


def rental(hull_id: str, started_at: datetime, running_h: float) -> dict[str, object]:
    return {
        "hull_id": hull_id,
        "started_at": started_at,
        "ended_at": started_at + timedelta(hours=running_h + 0.5),
        "running_h": running_h,
    }


def reading(hull_id: str, meter_id: str, read_at: datetime, meter_h: float) -> dict[str, object]:
    return {"hull_id": hull_id, "meter_id": meter_id, "read_at": read_at, "meter_h": meter_h}


SWAP_AT = at("06-01 08:00")
FLEET: dict[str, Sequence[dict[str, object]]] = {
    "hulls": [
        {"hull_id": "H1", "dock_id": "north", "in_service_at": at("05-01 00:00")},
        {"hull_id": "H2", "dock_id": "south", "in_service_at": at("05-01 00:00")},
    ],
    "engines": [
        {"engine_id": "E1", "first_recorded_at": at("05-01 00:00"),
         "first_recorded_engine_h": 100.0, "full_burn_l_h": 82.0},
        {"engine_id": "E2", "first_recorded_at": at("05-01 00:00"),
         "first_recorded_engine_h": 0.0},
    ],
    "installations": [
        {"engine_id": "E1", "hull_id": "H1", "installed_at": at("05-01 00:00"),
         "removed_at": SWAP_AT},
        {"engine_id": "E2", "hull_id": "H2", "installed_at": at("05-01 00:00"),
         "removed_at": SWAP_AT},
        {"engine_id": "E1", "hull_id": "H2", "installed_at": SWAP_AT},
        {"engine_id": "E2", "hull_id": "H1", "installed_at": SWAP_AT},
    ],
    "piston_sets": [
        {"piston_set_id": "P1", "engine_id": "E1", "fitted_at": at("05-01 00:00"),
         "fitted_engine_h": 40.0},
        {"piston_set_id": "P2", "engine_id": "E2", "fitted_at": at("05-01 00:00"),
         "fitted_engine_h": 0.0},
    ],
    "sessions": [
        rental("H1", at("05-02 09:00"), 1.0),
        rental("H1", at("05-03 09:00"), 2.0),
        rental("H2", at("05-02 09:00"), 3.0),
        rental("H1", at("06-02 09:00"), 4.0),
        rental("H2", at("06-02 09:00"), 5.0),
    ],
}  # fmt: skip


def run(**changed: Sequence[dict[str, object]]) -> tuple[pl.DataFrame, pl.DataFrame]:
    return engine_sessions(records(**(FLEET | changed)), SETTINGS)


def hours(rows: pl.DataFrame) -> list[tuple[object, ...]]:
    return rows.select("hull_id", "engine_id", "engine_h_start", "engine_h_stop").rows()


def test_a_swapped_engine_takes_its_hours_along() -> None:
    rows, flags = run()

    assert hours(rows) == [
        ("H1", "E1", 100, 101),
        ("H1", "E1", 101, 103),
        ("H1", "E2", 3, 7),
        ("H2", "E2", 0, 3),
        ("H2", "E1", 103, 108),
    ]
    assert rows["dock_id"].to_list() == ["north"] * 3 + ["south"] * 2
    assert rows["full_burn_l_h"].to_list() == [82, 82, None, None, 82]
    assert not rows["is_on_meter"].any()
    assert flags.is_empty()


def test_set_hours_of_a_set_fitted_before_the_record_begin_late() -> None:
    rows, _ = run()

    first = rows.filter(pl.col("engine_id") == "E1").row(0, named=True)
    assert (first["set_h_start"], first["set_h_stop"]) == (60, 61)  # 100 h less 40 h


def test_set_hours_of_a_set_fitted_later_begin_at_nought() -> None:
    sets = [
        *FLEET["piston_sets"],
        {"piston_set_id": "P3", "engine_id": "E1", "fitted_at": at("05-20 00:00"),
         "fitted_engine_h": 104.0},
    ]  # fmt: skip

    rows, flags = run(piston_sets=sets)

    after = rows.filter(pl.col("piston_set_id") == "P3")
    assert after.select("set_h_start", "set_h_stop").rows() == [(0, 5)]
    assert flags.is_empty()  # 1 h off the rentals' 103 h


def test_recorded_hours_at_fitting_that_are_far_off_are_flagged() -> None:
    sets = [
        *FLEET["piston_sets"],
        {"piston_set_id": "P3", "engine_id": "E1", "fitted_at": at("05-20 00:00"),
         "fitted_engine_h": 140.0},
        {"piston_set_id": "P0", "engine_id": "E2", "fitted_at": at("04-01 00:00"),
         "fitted_engine_h": 30.0},
    ]  # fmt: skip

    _, flags = run(piston_sets=sets)

    assert flags.select("flag", "engine_id").rows() == [
        ("fitted_hours_disagree", "E2"),
        ("fitted_hours_disagree", "E1"),
    ]
    assert "at 140.0 engine hours; the rentals say 103.0" in flags["sentence"][1]


def test_rentals_are_stretched_to_the_two_readings_that_enclose_them() -> None:
    rows, flags = run(
        hour_readings=[
            reading("H1", "M1", at("05-01 08:00"), 10.0),
            reading("H1", "M1", at("05-04 08:00"), 13.3),
        ]
    )

    h1 = rows.filter((pl.col("hull_id") == "H1") & (pl.col("engine_id") == "E1"))
    assert h1["is_on_meter"].all()
    assert h1["engine_h_stop"].to_list() == approx([101.1, 103.3])
    assert h1["running_h"].to_list() == [1, 2]
    assert flags.is_empty()


def test_the_meter_stays_with_the_hull_and_its_gain_with_the_engine_that_ran() -> None:
    rows, _ = run(
        hour_readings=[
            reading("H1", "M1", at("05-01 08:00"), 10.0),
            reading("H1", "M1", at("06-03 08:00"), 17.7),  # 7.7 h for 1 + 2 + 4
        ]
    )

    assert rows["is_on_meter"].to_list() == [True, True, True, False, False]
    e1 = rows.filter(pl.col("engine_id") == "E1")["engine_h_stop"].to_list()
    assert e1 == approx([101.1, 103.3, 108.3])
    e2 = rows.filter(pl.col("engine_id") == "E2").sort("started_at")["engine_h_stop"].to_list()
    assert e2 == approx([3.0, 7.4])


def test_a_replaced_meter_does_not_run_the_engine_backwards() -> None:
    rows, flags = run(
        hour_readings=[
            reading("H1", "M1", at("05-01 08:00"), 500.0),
            reading("H1", "M1", at("05-04 08:00"), 503.3),
            reading("H1", "M2", at("05-04 09:00"), 0.0),
            reading("H1", "M2", at("06-03 08:00"), 4.4),
        ]
    )

    h1 = rows.filter(pl.col("hull_id") == "H1")
    assert (h1["engine_h_stop"] - h1["engine_h_start"]).to_list() == approx([1.1, 2.2, 4.4])
    assert flags.is_empty()


@pytest.mark.parametrize("gained_h", [1.0, 30.0])
def test_an_implausible_gain_is_not_used_and_flagged(gained_h: float) -> None:
    rows, flags = run(
        hour_readings=[
            reading("H1", "M1", at("05-01 08:00"), 10.0),
            reading("H1", "M1", at("05-04 08:00"), 10.0 + gained_h),
        ],
        sessions=[ride | {"running_h": float(str(ride["running_h"])) + 0.02}
                  for ride in FLEET["sessions"]],
    )  # fmt: skip

    assert not rows["is_on_meter"].any()
    assert rows["engine_h_stop"][1] == approx(103.04)
    assert flags["flag"].to_list() == ["meter_and_sessions_disagree"]
    assert flags["sentence"][0] == (
        f"Meter M1 gained {gained_h} h from 2025-05-01 to 2025-05-04; rentals on record ran "
        "3.0 h. The rentals' own hours are used."
    )


def test_hours_on_the_meter_without_any_rental_are_flagged() -> None:
    _, flags = run(
        hour_readings=[
            reading("H1", "M1", at("05-10 08:00"), 10.0),
            reading("H1", "M1", at("05-12 08:00"), 12.0),
            reading("H1", "M1", at("05-14 08:00"), 12.5),  # half an hour of trials is no news
        ]
    )

    assert flags.select("flag", "noted_at").rows() == [
        ("meter_and_sessions_disagree", at("05-12 08:00"))
    ]


def test_a_rental_across_a_reading_is_not_called_on_the_meter() -> None:
    rows, _ = run(
        hour_readings=[
            reading("H1", "M1", at("05-01 08:00"), 10.0),
            reading("H1", "M1", at("05-03 10:30"), 13.0),  # read while it was out
        ]
    )

    assert rows["is_on_meter"].to_list() == [True, False, False, False, False]


def test_a_rental_without_an_engine_in_the_hull_is_flagged_and_counts_for_none() -> None:
    stays = [dict(row) for row in FLEET["installations"]]
    stays[0]["removed_at"] = at("05-03 00:00")

    rows, flags = run(installations=stays)

    assert rows.height == 4
    assert rows.filter(pl.col("engine_id") == "E1")["engine_h_stop"].to_list() == [101, 106]
    assert flags.select("flag", "hull_id", "engine_id", "noted_at").rows() == [
        ("no_engine_in_hull", "H1", None, at("05-03 09:00"))
    ]


def test_a_rental_before_the_engines_record_begins_is_flagged() -> None:
    engines = [dict(row) for row in FLEET["engines"]]
    engines[0]["first_recorded_at"] = at("05-02 12:00")

    rows, flags = run(engines=engines)

    assert rows["engine_h_start"][0] == 100
    assert rows.height == 4
    assert flags.select("flag", "engine_id").rows() == [("before_engine_record", "E1")]


def test_the_calibration_is_the_one_in_force_at_the_start() -> None:
    rows, _ = run(
        calibrations=[
            {"engine_id": "E1", "in_force_at": at("05-03 00:00"), "calibration": "stock",
             "octane_need_aki": 91.0},
            {"engine_id": "E1", "in_force_at": at("06-02 09:00"), "calibration": "raised",
             "octane_need_aki": 93.0},
        ]
    )  # fmt: skip

    e1 = rows.filter(pl.col("engine_id") == "E1").sort("started_at")
    assert e1["calibration"].to_list() == [None, "stock", "raised"]
    assert e1["octane_need_aki"].to_list() == [None, 91, 93]


def test_no_records_give_empty_tables() -> None:
    rows, flags = engine_sessions(records(), SETTINGS)

    assert rows.is_empty()
    assert flags.is_empty()


def test_engine_hours_at_an_instant_count_a_rental_from_its_start() -> None:
    rows, _ = run()
    points = pl.DataFrame(
        {
            "engine_id": ["E1", "E1", "E1", "E9"],
            "then": [at("05-01 12:00"), at("05-02 09:30"), at("05-02 23:00"), at("06-01 00:00")],
        }
    )

    found = engine_hours_at(rows, records(**FLEET)["engines"], points, "then")

    assert found.sort("engine_id", "then")["engine_h"].to_list() == [100, 101, 101, None]
