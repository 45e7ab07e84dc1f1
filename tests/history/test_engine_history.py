from collections.abc import Sequence
from datetime import datetime, timedelta

import polars as pl
import pytest

from ringland.history.engine_history import piston_lives, unplaced_failures
from ringland.history.hour_meter import engine_sessions
from ringland.history.known_then import known_by
from ringland.settings.assumptions import load_assumptions
from tests.history.record_rows import at, records

SETTINGS = load_assumptions()
AS_OF = at("09-01 00:00")
Rows = Sequence[dict[str, object]]


def rental(started_at: datetime, running_h: float = 10.0, hull_id: str = "H1") -> dict[str, object]:
    return {"hull_id": hull_id, "started_at": started_at, "running_h": running_h,
            "ended_at": started_at + timedelta(hours=running_h)}  # fmt: skip


def fitted(number: int, fitted_at: datetime, reason: str, engine_h: float) -> dict[str, object]:
    return {"piston_set_id": f"P{number}", "engine_id": "E1", "fitted_at": fitted_at,
            "fitted_engine_h": engine_h, "reason": reason, "piston_type": "cast",
            "supplier_grade": "original"}  # fmt: skip


def failure(
    found_at: datetime, mode: str, how: str = "ran_to_failure", **more: object
) -> dict[str, object]:
    return {"engine_id": "E1", "found_at": found_at, "mode": mode, "how_found": how, **more}


# One engine, 100 h old when its record begins and on pistons fitted at 40 h; it runs 10 h on
# the 2nd of each month from May to August.
FIRST_SET = fitted(1, at("05-01 00:00"), "factory", 40.0)
FLEET: dict[str, Rows] = {
    "hulls": [{"hull_id": "H1", "dock_id": "north"}],
    "engines": [{"engine_id": "E1", "first_recorded_at": at("05-01 00:00"),
                 "first_recorded_engine_h": 100.0}],
    "installations": [{"engine_id": "E1", "hull_id": "H1", "installed_at": at("05-01 00:00")}],
    "piston_sets": [FIRST_SET],
    "sessions": [rental(at(f"{month}-02 08:00")) for month in ("05", "06", "07", "08")],
}  # fmt: skip


def lives(as_of: datetime = AS_OF, **changed: Rows) -> pl.DataFrame:
    known = known_by(records(**(FLEET | changed)), as_of)
    sessions, _ = engine_sessions(known, SETTINGS)
    return piston_lives(known, sessions, as_of)


def told(rows: pl.DataFrame) -> list[tuple[object, ...]]:
    return rows.select("piston_set_id", "entry_h", "exit_h", "state", "mode").rows()


def test_a_running_set_fitted_before_the_record_enters_late() -> None:
    rows = lives()

    assert told(rows) == [("P1", 60, 100, "running", None)]
    row = rows.row(0, named=True)
    assert (row["hull_id"], row["dock_id"], row["build_number"]) == ("H1", "north", 1)
    assert row["ended_at"] is None


def test_a_planned_new_set_removes_the_old_one() -> None:
    rows = lives(piston_sets=[FIRST_SET, fitted(2, at("06-20 00:00"), "planned", 120.0)])

    assert told(rows) == [("P1", 60, 80, "removed", None), ("P2", 0, 20, "running", None)]
    assert rows["build_number"].to_list() == [1, 2]
    assert rows["ended_at"].to_list() == [at("06-20 00:00"), None]


def test_a_broken_ring_land_ends_the_set_at_the_hours_it_was_found() -> None:
    rows = lives(
        failures=[failure(at("06-02 19:00"), "ring_land_fracture")],
        piston_sets=[FIRST_SET, fitted(2, at("06-20 00:00"), "after_failure", 120.0)],
    )

    assert told(rows) == [
        ("P1", 60, 80, "failed", "ring_land_fracture"),
        ("P2", 0, 20, "running", None),
    ]
    assert rows["ended_at"][0] == at("06-02 19:00")


def test_a_ring_failure_ends_the_set_before_any_new_one_is_on_record() -> None:
    failed = [failure(at("06-02 19:00"), "ring_wear")]

    assert told(lives(failures=failed)) == [("P1", 60, 80, "failed", "ring_wear")]


def test_a_failure_found_while_the_hull_was_out_has_that_rentals_hours() -> None:
    failed = [failure(at("06-02 17:55"), "ring_land_fracture")]

    assert told(lives(failures=failed)) == [("P1", 60, 80, "failed", "ring_land_fracture")]


def test_another_failure_repaired_on_the_same_set_does_not_end_it() -> None:
    rows = lives(
        failures=[failure(at("06-02 19:00"), "valve_seal")],
        piston_sets=[FIRST_SET, fitted(2, at("07-20 00:00"), "planned", 130.0)],
    )

    assert told(rows) == [("P1", 60, 90, "removed", None), ("P2", 0, 10, "running", None)]


@pytest.mark.parametrize("reason", ["after_failure", "unknown"])
def test_another_failure_ends_the_set_if_it_never_ran_again(reason: str) -> None:
    rows = lives(
        failures=[failure(at("06-02 19:00"), "bearing")],
        piston_sets=[FIRST_SET, fitted(2, at("06-20 00:00"), reason, 120.0)],
    )

    assert told(rows)[0] == ("P1", 60, 80, "failed", "bearing")


def test_a_failed_engine_neither_repaired_nor_run_since_is_withdrawn_until_it_is() -> None:
    failed = [failure(at("08-02 19:00"), "head_gasket")]
    repaired = [{"engine_id": "E1", "rebuilt_at": at("08-10 00:00")}]

    down = lives(failures=failed)
    assert told(down) == [("P1", 60, 100, "withdrawn", None)]
    assert down["ended_at"][0] == at("08-02 19:00")
    assert told(lives(failures=failed, rebuilds=repaired)) == [("P1", 60, 100, "running", None)]


def test_two_failures_on_one_engine_end_two_sets() -> None:
    rows = lives(
        failures=[
            failure(at("07-02 19:00"), "ring_wear", "teardown"),
            failure(at("05-02 19:00"), "ring_land_fracture"),
        ],
        piston_sets=[
            fitted(3, at("07-20 00:00"), "after_failure", 130.0),
            fitted(2, at("05-20 00:00"), "after_failure", 110.0),
            FIRST_SET,
        ],
    )

    assert told(rows) == [
        ("P1", 60, 70, "failed", "ring_land_fracture"),
        ("P2", 0, 20, "failed", "ring_wear"),
        ("P3", 0, 10, "running", None),
    ]
    assert rows["build_number"].to_list() == [1, 2, 3]


def test_of_two_failures_found_at_once_the_rings_are_the_sets_own() -> None:
    rows = lives(
        failures=[
            failure(at("06-02 19:00"), "bearing"),
            failure(at("06-02 19:00"), "ring_land_fracture"),
        ],
        piston_sets=[FIRST_SET, fitted(2, at("06-20 00:00"), "after_failure", 120.0)],
    )

    assert told(rows)[0] == ("P1", 60, 80, "failed", "ring_land_fracture")


@pytest.mark.parametrize(
    ("how", "last_good_at", "last_good_h"),
    [
        ("inspection", at("06-10 00:00"), 80),
        ("teardown", at("05-01 00:00"), 60),
        ("inspection", None, None),
        ("inspection", at("07-15 00:00"), None),  # not run since: known to the hour
        ("ran_to_failure", at("06-10 00:00"), None),
    ],
)
def test_wear_found_by_looking_has_the_hours_it_was_last_good(
    how: str, last_good_at: datetime | None, last_good_h: float | None
) -> None:
    rows = lives(failures=[failure(at("07-20 00:00"), "ring_wear", how, last_good_at=last_good_at)])

    assert rows.select("exit_h", "last_good_h").row(0) == (90, last_good_h)


def test_a_sold_hull_or_a_lifted_engine_withdraws_the_set() -> None:
    sold = [{"hull_id": "H1", "dock_id": "north", "out_of_service_at": at("07-15 00:00")}]
    lifted = [dict(FLEET["installations"][0]) | {"removed_at": at("07-15 00:00")}]

    for rows in (lives(hulls=sold), lives(installations=lifted)):
        assert rows["state"].to_list() == ["withdrawn"]
        assert rows["ended_at"].to_list() == [at("07-15 00:00")]


def test_an_engine_on_the_bench_runs_again_once_it_is_back_in_a_hull() -> None:
    out = dict(FLEET["installations"][0]) | {"removed_at": at("07-15 00:00")}
    back = {"engine_id": "E1", "hull_id": "H1", "installed_at": at("07-25 00:00")}

    assert lives(at("07-20 00:00"), installations=[out, back])["state"].to_list() == ["withdrawn"]
    assert lives(installations=[out, back])["state"].to_list() == ["running"]


def test_a_set_fitted_on_the_bench_ends_no_earlier_than_it_was_fitted() -> None:
    out = dict(FLEET["installations"][0]) | {"removed_at": at("08-10 00:00")}

    rows = lives(
        installations=[out],
        piston_sets=[FIRST_SET, fitted(2, at("08-20 00:00"), "planned", 140.0)],
    )

    assert told(rows) == [("P1", 60, 100, "removed", None), ("P2", 0, 0, "withdrawn", None)]
    assert rows["ended_at"][1] == at("08-20 00:00")


def test_nothing_is_known_of_a_failure_before_it_was_found() -> None:
    failed = [failure(at("06-02 19:00"), "ring_land_fracture")]

    assert told(lives(at("06-02 18:30"), failures=failed)) == [("P1", 60, 80, "running", None)]


def test_a_life_that_follows_its_engine_is_credited_to_the_hull_it_sat_in_last() -> None:
    rows = lives(
        hulls=[{"hull_id": "H1", "dock_id": "north"}, {"hull_id": "H2", "dock_id": "south"}],
        installations=[
            {"engine_id": "E1", "hull_id": "H1", "installed_at": at("05-01 00:00"),
             "removed_at": at("06-20 00:00")},
            {"engine_id": "E1", "hull_id": "H2", "installed_at": at("06-20 00:00")},
        ],
        sessions=[rental(at("05-02 08:00")), rental(at("07-02 08:00"), hull_id="H2")],
        piston_sets=[FIRST_SET, fitted(2, at("06-20 00:00"), "planned", 110.0)],
    )  # fmt: skip

    assert told(rows) == [("P1", 60, 70, "removed", None), ("P2", 0, 10, "running", None)]
    # the first set came out at the very instant its engine went into the other hull
    assert rows["hull_id"].to_list() == ["H1", "H2"]
    assert rows["dock_id"].to_list() == ["north", "south"]


def test_failures_that_belong_to_no_life_are_flagged() -> None:
    known = records(
        **(FLEET | {
            "failures": [
                failure(at("04-01 00:00"), "bearing"),
                failure(at("06-02 19:00"), "ring_land_fracture"),
                failure(at("07-02 19:00"), "valve_seal"),
            ]
        })
    )  # fmt: skip
    sessions, _ = engine_sessions(known, SETTINGS)

    flags = unplaced_failures(known, sessions)

    assert flags.select("flag", "noted_at").rows() == [
        ("failure_without_piston_set", at("04-01 00:00")),
        ("failure_on_failed_set", at("07-02 19:00")),
    ]
    assert "found on set P1, which had ended by ring_land_fracture" in flags["sentence"][1]


def test_no_records_give_no_lives() -> None:
    known = records()
    sessions, _ = engine_sessions(known, SETTINGS)

    assert piston_lives(known, sessions, AS_OF).is_empty()
    assert unplaced_failures(known, sessions).is_empty()


def test_a_ride_that_began_as_the_failure_was_found_has_run_since() -> None:
    """A bearing failed at 08:00 on a day a ride began at 08:00: the engine is not down."""
    found = at("08-02 08:00")
    (row,) = told(lives(failures=[failure(found, "bearing")]))

    assert row[3] == "running"
    (row,) = told(lives(failures=[failure(found + timedelta(minutes=1), "bearing")]))
    assert row[3] == "withdrawn"


def test_a_rebuild_at_the_moment_of_the_failure_answers_it() -> None:
    found = at("08-20 08:00")
    sheet = {"engine_id": "E1", "rebuilt_at": found, "scope": "full"}
    (row,) = told(lives(failures=[failure(found, "bearing")], rebuilds=[sheet]))

    assert row[3] == "running"


def test_an_engine_lifted_out_at_the_very_moment_looked_at_is_withdrawn() -> None:
    stay = FLEET["installations"][0]
    (row,) = told(lives(installations=[stay | {"removed_at": AS_OF}]))
    assert row[3] == "withdrawn"
    (row,) = told(lives(installations=[stay | {"removed_at": AS_OF + timedelta(minutes=1)}]))
    assert row[3] == "running"
