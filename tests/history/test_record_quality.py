from datetime import timedelta

from ringland.history.hour_meter import engine_sessions
from ringland.history.record_quality import record_quality
from ringland.settings.assumptions import load_assumptions
from tests.history.record_rows import at, records

AS_OF = at("06-11 00:00")


def test_each_hull_in_service_has_the_facts_of_its_own_record() -> None:
    known = records(
        hulls=[
            {"hull_id": "full", "dock_id": "north", "in_service_at": at("05-01 00:00")},
            {"hull_id": "bare", "dock_id": "north", "in_service_at": at("05-01 00:00")},
            {"hull_id": "sold", "dock_id": "north", "in_service_at": at("05-01 00:00"),
             "out_of_service_at": at("06-01 00:00")},
        ],
        engines=[{"engine_id": "E1", "first_recorded_at": at("05-01 00:00"),
                  "first_recorded_engine_h": 0.0}],
        installations=[{"engine_id": "E1", "hull_id": "full", "installed_at": at("05-01 00:00")}],
        piston_sets=[{"piston_set_id": "P1", "engine_id": "E1", "fitted_at": at("05-01 00:00"),
                      "fitted_engine_h": 0.0}],
        calibrations=[{"engine_id": "E1", "in_force_at": at("05-01 00:00")}],
        inspections=[{"engine_id": "E1", "inspected_at": at("05-05 00:00"),
                      "measure": "compression", "state": "measured"}],
        hour_readings=[
            {"hull_id": "full", "meter_id": "M", "read_at": at("05-01 08:00"), "meter_h": 0.0},
            {"hull_id": "full", "meter_id": "M", "read_at": at("06-01 00:00"), "meter_h": 3.0},
        ],
        sessions=[
            {"hull_id": "full", "started_at": start, "ended_at": start + timedelta(hours=6),
             "running_h": hours}
            for start, hours in ((at("05-02 00:00"), 3.0), (at("06-10 06:00"), 1.0))
        ],
    )  # fmt: skip
    sessions, _ = engine_sessions(known, load_assumptions())

    quality = record_quality(known, sessions, AS_OF)

    assert quality.rows() == [
        ("bare", None, None, None, None, False, False, None, None),
        # ended 12:00 the day before; 3 of 4 h; no fill on record; 3 h on the meter, 3 written
        ("full", "E1", 0.5, 10.0, 0.75, True, True, None, 1.0),
    ]


def test_a_bench_test_of_the_set_before_does_not_count() -> None:
    known = records(
        hulls=[{"hull_id": "H1", "dock_id": "north", "in_service_at": at("05-01 00:00")}],
        installations=[{"engine_id": "E1", "hull_id": "H1", "installed_at": at("05-01 00:00")}],
        piston_sets=[
            {"piston_set_id": "P1", "engine_id": "E1", "fitted_at": at("05-01 00:00")},
            {"piston_set_id": "P2", "engine_id": "E1", "fitted_at": at("05-20 00:00")},
        ],
        inspections=[
            {"engine_id": "E1", "inspected_at": at("05-10 00:00"), "measure": "leak_down",
             "state": "measured"},
            {"engine_id": "E1", "inspected_at": at("05-25 00:00"), "measure": "leak_down",
             "state": "stated_ok"},
        ],
    )  # fmt: skip
    sessions, _ = engine_sessions(known, load_assumptions())

    assert record_quality(known, sessions, AS_OF)["has_bench_test"].to_list() == [False]


def test_fuel_is_labelled_by_its_own_octane_or_by_an_earlier_delivery_to_the_dock() -> None:
    fill = {"hull_id": "H1", "filled_at": at("06-01 00:00")}
    known = records(
        hulls=[{"hull_id": "H1", "dock_id": "north", "in_service_at": at("05-01 00:00")}],
        deliveries=[
            {"dock_id": "north", "delivered_at": at("05-20 00:00"), "octane_ron": 95.0},
            {"dock_id": "south", "delivered_at": at("06-02 00:00"), "octane_aki": 91.0},
        ],
        fills=[
            fill | {"volume_l": 10.0, "octane_aki": 91.0},
            fill | {"volume_l": 20.0, "source_dock_id": "north"},
            fill | {"volume_l": 30.0, "source_dock_id": "south"},
            fill | {"volume_l": 40.0, "octane_unlabelled": 91.0},
        ],
    )
    sessions, _ = engine_sessions(known, load_assumptions())

    quality = record_quality(known, sessions, AS_OF)

    assert quality["labelled_fuel_share"].to_list() == [0.3]  # 30 of 100 l
