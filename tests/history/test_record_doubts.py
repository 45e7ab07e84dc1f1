"""Each rule by hand: what is flagged, what is not, and that nothing is changed."""

from datetime import timedelta

import polars as pl

from ringland.contracts.record_tables import RECORD_FLAGS, BenchVerdicts
from ringland.contracts.records import Corrections
from ringland.history.corrections import with_corrections
from ringland.history.record_doubts import record_doubts
from ringland.settings.assumptions import load_assumptions
from ringland.words.doubt_words import DOUBT_LABELS, DOUBT_REMEDIES
from tests.history.record_rows import at, records

ASSUMPTIONS = load_assumptions()


def doubts(verdicts: pl.DataFrame | None = None, **rows: object) -> list[tuple[str, str]]:
    found = record_doubts(
        records(**rows),  # type: ignore[arg-type]
        BenchVerdicts.create_empty() if verdicts is None else verdicts,
        ASSUMPTIONS,
    )
    return found.select("flag", "sentence").rows()


def ride(start: str, end: str, hours: float = 0.5, **more: object) -> dict[str, object]:
    return {
        "hull_id": "H01",
        "started_at": at(f"06-01 {start}"),
        "ended_at": at(f"06-01 {end}"),
        "running_h": hours,
    } | more


def fill(day: str, litres: float, **more: object) -> dict[str, object]:
    return {"hull_id": "H01", "filled_at": at(f"{day} 12:00"), "volume_l": litres} | more


def test_a_rental_that_begins_before_the_last_has_ended_is_flagged_once() -> None:
    rides = [ride("09:00", "10:00"), ride("09:50", "10:30"), ride("10:30", "11:00")]

    assert doubts(sessions=rides) == [
        (
            "sessions_overlap",
            "Hull H01 went out at 2025-06-01 09:50 UTC while an earlier rental lasted until "
            "10:00. Both are counted; look whether the hull or a time is wrong.",
        )
    ]


def test_a_short_rental_within_a_long_one_does_not_hide_the_next_overlap() -> None:
    rides = [ride("09:00", "12:00"), ride("09:10", "09:20"), ride("11:00", "11:30")]

    assert [flag for flag, _ in doubts(sessions=rides)] == ["sessions_overlap"] * 2


def test_other_hulls_do_not_overlap() -> None:
    assert doubts(sessions=[ride("09:00", "10:00"), ride("09:30", "10:30", hull_id="H02")]) == []


def test_months_of_running_without_fuel_and_of_fuel_without_running() -> None:
    found = doubts(
        sessions=[ride("09:00", "15:00", 5.5)],
        fills=[fill("07-01", 50), fill("07-02", 40), fill("08-01", 60)],
    )

    assert [flag for flag, _ in found] == ["sessions_without_fills", "fills_without_sessions"]
    assert found[0][1].startswith("Hull H01 ran 5.5 h in 2025-06 and took no fuel on record.")
    assert found[1][1].startswith("Hull H01 took 90.0 l in 2025-07 and has no rental on record.")


def test_rows_written_down_together_days_later_are_a_batch() -> None:
    friday = at("06-06 17:00")
    rides = [ride(f"{hour:02}:00", f"{hour:02}:30", recorded_at=friday) for hour in range(9, 14)]

    assert doubts(sessions=rides) == [
        (
            "written_in_batches",
            "5 sessions of hull H01 were written down in one go on 2025-06-06, the oldest 5 days "
            "late: their times and figures may be from memory.",
        )
    ]
    assert doubts(sessions=rides[:4]) == []
    same_day = [row | {"recorded_at": at("06-01 20:00")} for row in rides]
    assert doubts(sessions=same_day) == []


def test_a_fill_may_be_a_little_more_than_the_tank_but_not_much() -> None:
    hull = {"hull_id": "H01", "tank_l": 70.0}
    rides = [ride("09:00", "10:00")]

    found = doubts(hulls=[hull], sessions=rides, fills=[fill("06-01", 73), fill("06-02", 74)])

    assert [flag for flag, _ in found] == ["fill_above_tank"]
    assert "A fill of 74.0 l on 2025-06-02 is more than the 70.0 l tank" in found[0][1]


def stay(engine: str, hull: str, start: str, end: str | None) -> dict[str, object]:
    return {
        "engine_id": engine,
        "hull_id": hull,
        "installed_at": at(f"{start} 08:00"),
        "removed_at": at(f"{end} 08:00") if end else None,
    }


def tune(engine: str, day: str) -> dict[str, object]:
    return {"engine_id": engine, "in_force_at": at(f"{day} 08:00")}


def test_a_need_below_what_the_spark_advance_asks_is_doubted() -> None:
    """SAE 960497 (abstract): one octane number a degree of spark; 91 for stock is common practice,
    no source."""
    found = doubts(
        installations=[stay("E1", "H01", "05-01", None)],
        calibrations=[
            tune("E1", "05-01") | {"octane_need_aki": 93.0, "spark_advance_change_deg": 2.0},
            tune("E1", "05-20") | {"octane_need_aki": 91.0, "spark_advance_change_deg": 3.0},
            tune("E1", "05-30") | {"octane_need_aki": 91.0, "spark_advance_change_deg": None},
        ],
    )

    assert found == [
        (
            "need_below_spark",
            "Engine E1: its calibration of 2025-05-20 is written with an octane need of 91.0 AKI "
            "and 3.0 degrees of spark advance over stock, which asks for about 94.0 AKI "
            "(SAE 960497: one number a degree).",
        )
    ]


def test_an_engine_is_without_calibration_until_its_first() -> None:
    found = doubts(
        installations=[stay("E1", "H01", "05-01", None), stay("E2", "H02", "05-01", None),
                       stay("E3", "H03", "05-01", None)],
        calibrations=[tune("E1", "05-01"), tune("E2", "06-01")],
    )  # fmt: skip

    assert sorted(found) == [
        (
            "calibration_gap",
            "Engine E2 has no calibration on record from 2025-05-01 until 2025-06-01: its octane "
            "need then is not known.",
        ),
        (
            "calibration_gap",
            "Engine E3 has no calibration on record from 2025-05-01 to this day: its octane "
            "need then is not known.",
        ),
    ]


def test_two_engines_in_one_hull_and_one_engine_in_two_hulls() -> None:
    tunes = [tune(engine, "04-01") for engine in ("E1", "E2", "E3")]

    def flags(*stays: dict[str, object]) -> list[str]:
        return [flag for flag, _ in doubts(installations=stays, calibrations=tunes)]

    assert flags(stay("E1", "H01", "05-01", "06-01"), stay("E2", "H01", "06-01", None)) == []
    assert flags(stay("E1", "H01", "05-01", "06-02"), stay("E2", "H01", "06-01", None)) == [
        "two_engines_in_hull"
    ]
    assert flags(stay("E1", "H01", "05-01", None), stay("E1", "H02", "06-01", None)) == [
        "engine_in_two_hulls"
    ]


def test_a_vacuum_no_gauge_can_show_is_flagged_with_its_reason() -> None:
    verdict = {
        "engine_id": "E1", "inspected_at": at("06-01 08:00"), "measure": "valve_seal_vacuum",
        "state": "measured", "standard_unit": "inHg", "verdict": "cannot be",
        "reason": "31 inHg is above the barometer.",
    }  # fmt: skip
    verdicts = pl.DataFrame([verdict], schema=BenchVerdicts.create_empty().schema)

    assert doubts(verdicts) == [
        (
            "reading_cannot_be",
            "Engine E1, valve-seal vacuum: 31 inHg is above the barometer. The reading counts "
            "neither as passed nor as failed.",
        )
    ]
    assert doubts(verdicts.with_columns(verdict=pl.lit("pass"))) == []


def test_a_clean_season_has_no_doubts() -> None:
    rides = [
        ride("09:00", "10:00") | {
            "started_at": at("06-01 09:00") + timedelta(days=day),
            "ended_at": at("06-01 10:00") + timedelta(days=day),
        }
        for day in range(28)
    ]  # fmt: skip

    assert (
        doubts(
            hulls=[{"hull_id": "H01", "tank_l": 70.0}],
            sessions=rides,
            fills=[fill(f"06-{day:02}", 30) for day in range(1, 28)],
        )
        == []
    )


def test_every_doubt_has_a_name_and_a_remedy() -> None:
    assert set(DOUBT_LABELS) == set(RECORD_FLAGS)
    assert set(DOUBT_REMEDIES) == set(RECORD_FLAGS)


def test_a_doubted_fill_leaves_the_doubts_once_it_is_corrected_by_its_key() -> None:
    """The key that the doubt gives is the one a correction is written with."""
    known = records(hulls=[{"hull_id": "H01", "tank_l": 70.0}], fills=[fill("06-01", 300.0)])
    doubted = record_doubts(known, BenchVerdicts.create_empty(), ASSUMPTIONS)
    (row,) = doubted.filter(pl.col("flag") == "fill_above_tank").to_dicts()
    correction = pl.DataFrame(
        [
            {
                "record_kind": row["record_kind"],
                "record_key": row["record_key"],
                "change": "corrected",
                "field": "volume_l",
                "new_value": "30",
                "reason": "one zero too many",
                "recorded_at": at("06-02 08:00"),
            }
        ],
        schema_overrides=Corrections.create_empty().schema,
    )

    corrected = with_corrections(known, correction)

    left = record_doubts(corrected, BenchVerdicts.create_empty(), ASSUMPTIONS)
    assert "fill_above_tank" not in left["flag"].to_list()
    assert "Put it right in a file of corrections" in row["remedy"]
