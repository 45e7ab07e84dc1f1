from datetime import UTC, datetime
from functools import cache

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from synthetic_data.fleet_simulator import Fleet
from synthetic_data.record_files import record_csv, truth_json
from synthetic_data.write_demo import DEMO_FOLDER, demo_fleet

AS_OF = datetime(2026, 8, 17, tzinfo=UTC)


@cache
def fleet() -> Fleet:
    return demo_fleet()


def text_of(kind: str) -> pl.DataFrame:
    return pl.read_csv(DEMO_FOLDER / f"{kind}.csv", infer_schema=False)


def test_committed_files_are_what_the_generator_makes():
    """After a change of generator or contract run python -m synthetic_data.write_demo."""
    for kind in RECORD_KINDS:
        made = record_csv(fleet(), kind).encode()
        assert (DEMO_FOLDER / f"{kind}.csv").read_bytes() == made, kind
    assert (DEMO_FOLDER / "truth.json").read_bytes() == truth_json(fleet()).encode()


def test_committed_files_stay_small():
    assert sum(path.stat().st_size for path in DEMO_FOLDER.iterdir()) < 4_000_000


def test_headers_are_the_contracts_columns():
    for kind, about in RECORD_KINDS.items():
        assert text_of(kind).columns == about.schema.column_names(), kind


def test_demo_is_as_large_as_it_is_meant_to_be():
    records = fleet().records
    assert records["hulls"].height == 48
    assert records["docks"].height == 3
    assert 60 <= records["piston_sets"].height <= 90
    assert 20_000 <= records["sessions"].height <= 26_000
    assert records["installations"].height > records["engines"].height  # engines move about
    assert 25 <= records["failures"].height <= 40
    assert records["failures"]["mode"].n_unique() >= 5
    by_then = records["failures"].filter(pl.col("found_at") < AS_OF)
    assert by_then.height >= 25
    lands = by_then.filter(pl.col("mode") == "ring_land_fracture").height
    assert 15 <= lands <= 22
    assert records["hour_readings"]["meter_id"].n_unique() > 48
    assert records["hulls"]["out_of_service_at"].is_not_null().sum() == 2
    assert records["sessions"].filter(pl.col("started_at") > AS_OF).height > 1000


def test_every_planted_fault_is_in_the_files():
    for fault in fleet().truth["faults"]:
        rows = text_of(fault["kind"])
        row = rows.row(fault["row"], named=True)
        match fault["fault"]:
            case "duplicate_row":
                assert row == rows.row(fault["repeats"], named=True)
            case "wrong_type":
                assert row[fault["column"]] == "n/a"
            case "impossible_value":
                assert float(row["volume_l"]) > 400
            case "unknown_hull":
                assert row["hull_id"] not in set(fleet().records["hulls"]["hull_id"])
            case "ends_before_it_starts":
                assert row["ended_at"] < row["started_at"]
            case "no_grade_at_outside_pump":
                assert (row["source"], row["octane_aki"], row["octane_ron"]) == (
                    "outside",
                    None,
                    None,
                )
            case "stated_ok_without_number":
                assert (row["state"], row["value"]) == ("stated_ok", None)
            case "digits_swapped" | "ten_times_too_high":
                mine = (
                    fleet()
                    .records["hour_readings"]
                    .filter(
                        (pl.col("hull_id") == row["hull_id"])
                        & (pl.col("meter_id") == row["meter_id"])
                    )
                )
                steps = mine.sort("read_at")["meter_h"].diff().drop_nulls()
                assert steps.min() < 0  # a meter never runs backward
            case other:
                raise AssertionError(other)


def test_each_kind_of_ordinary_fault_is_there_by_the_handful():
    counts: dict[str, int] = {}
    for fault in fleet().truth["faults"]:
        counts[fault["fault"]] = counts.get(fault["fault"], 0) + 1
    assert set(counts) == {
        "duplicate_row",
        "wrong_type",
        "impossible_value",
        "unknown_hull",
        "ends_before_it_starts",
        "no_grade_at_outside_pump",
        "stated_ok_without_number",
        "digits_swapped",
        "ten_times_too_high",
    }
    assert all(2 <= count <= 20 for count in counts.values())
    assert 50 <= len(fleet().truth["unrecorded_fills"]) <= 250


def test_unrecorded_fills_are_not_on_record():
    fills = (
        fleet()
        .records["fills"]
        .with_columns(at=pl.col("filled_at").dt.strftime("%Y-%m-%dT%H:%M:%SZ"))
    )
    on_record = set(zip(fills["hull_id"], fills["at"], strict=True))
    lost = {(f["hull_id"], f["filled_at"]) for f in fleet().truth["unrecorded_fills"]}
    assert not lost & on_record


def test_every_run_meets_what_nobody_keeps_tidy():
    """Fills inside rentals, two grades at a dock, pump-outs, heels, fill and drain in a minute."""
    records = fleet().records
    rides = records["sessions"].sort("started_at").select("hull_id", "started_at", "ended_at")
    inside = (
        records["fills"]
        .sort("filled_at")
        .join_asof(rides, left_on="filled_at", right_on="started_at", by="hull_id",
                   check_sortedness=False)
        .filter(pl.col("filled_at").is_between("started_at", "ended_at", closed="none"))
    )  # fmt: skip
    at_once = records["fills"].join(
        records["drains"], left_on=["hull_id", "filled_at"], right_on=["hull_id", "drained_at"]
    )
    assert inside.height > 100
    assert at_once.height > 10
    assert records["dock_tanks"].height == 2
    assert records["pump_outs"].height > 0
    assert fleet().truth["litres"]["opening_l"] > 0


def test_some_rows_are_written_down_after_the_event():
    fills = fleet().records["fills"]
    late = fills.filter(pl.col("recorded_at").is_not_null())
    assert 0.02 < late.height / fills.height < 0.15
    assert (late["recorded_at"] > late["filled_at"]).all()
    assert (late["recorded_at"].dt.weekday() == 5).all()  # Friday
