from datetime import timedelta

import polars as pl

from ringland.bench.bench_limits import default_bench_limits
from ringland.bench.bench_station import station_pressures
from ringland.bench.bench_tests import judge_bench_tests
from ringland.bench.build_lines import BuildTime
from ringland.causes.cause_findings import engine_findings
from ringland.causes.cause_table import default_cause_table
from ringland.contracts.records import Inspections
from ringland.rebuilds.rebuild_scope import (
    RebuildBasis,
    RebuildSheet,
    can_close,
    default_rebuild_table,
    propose_rebuild,
)
from ringland.rebuilds.rebuild_work_lines import acceptance_rows, closing_lines
from tests.bench import build_rows
from tests.bench.build_rows import AS_OF, FAILED
from tests.causes.cause_rows import OPENED, teardown

TABLE = default_cause_table()
LIMITS = default_bench_limits()
REBUILT = OPENED + timedelta(days=10)
ENGINE = {
    "engine_id": "E1",
    "family": "S3",
    "induction": "supercharged",
    "cylinders": 2,
    "bore_mm": 100.0,
    "journal_mm": 50.0,
    "book_compression_kpa": None,
}
GOOD = {
    ("valve_seal_vacuum", "port"): (29.5, "inHg"),
    ("ring_end_gap", "cylinder"): (0.62, "mm"),
    ("bore_taper", "cylinder"): (0.02, "mm"),
    ("deck_flatness", "engine"): (0.02, "mm"),
    ("bearing_clearance", "cylinder"): (0.05, "mm"),
    ("compression", "cylinder"): (165.0, "psi"),
    ("leak_down", "cylinder"): (4.0, "%"),
}


def readings() -> list[dict[str, object]]:
    """A good and signed reading at every place."""
    rows = []
    for (measure, by), (value, unit) in GOOD.items():
        places = {"engine": [None], "cylinder": [1, 2], "port": [1, 2]}[by]
        for cylinder in places:
            for port in ["intake", "exhaust"] if by == "port" else [None]:
                rows += [
                    {
                        "engine_id": "E1",
                        "inspected_at": REBUILT,
                        "measure": measure,
                        "cylinder": cylinder,
                        "port": port,
                        "state": "measured",
                        "value": value,
                        "unit": unit,
                        "barometer_kpa": 101.325,
                        "rebuilt_at": REBUILT,
                        "signed_by": "mechanic A",
                    }
                ]
    return rows


def judged(rows: list[dict[str, object]]) -> pl.DataFrame:
    schema = {name: column.dtype for name, column in Inspections.columns().items()}
    frame = pl.DataFrame(rows, schema=schema)
    none = pl.DataFrame(
        schema={
            "engine_id": pl.String,
            "hull_id": pl.String,
            "installed_at": pl.Datetime("us", "UTC"),
        }
    )
    station = station_pressures(
        frame,
        none,
        pl.DataFrame(schema={"hull_id": pl.String, "dock_id": pl.String}),
        pl.DataFrame(schema={"dock_id": pl.String, "altitude_m": pl.Float64}),
    )
    return judge_bench_tests(frame, pl.DataFrame([ENGINE]), station, LIMITS)


def sheet(
    mode: str | None = "ring_land_fracture",
    seen: list[str] | None = None,
    before: list[dict[str, object]] | None = None,
    built: pl.DataFrame | None = None,
    engine: dict[str, object] | None = None,
) -> RebuildSheet:
    findings = engine_findings(teardown(seen or []), TABLE, "E1", 2)
    basis = RebuildBasis(
        engine or ENGINE,
        judged(before or []),
        BuildTime(FAILED, AS_OF, 0.0),
        build_rows.readings([]) if built is None else built,
        build_rows.book(),
    )
    return propose_rebuild(basis, mode, findings, TABLE)


def keys(of: RebuildSheet) -> set[str]:
    return {item.key for item in of.items}


def test_a_broken_land_opens_the_bottom_end_and_tests_every_port() -> None:
    # common practice, no source: bottom end, bearings, pump, relief valve, ports, valves and
    # seats, decks, diamond-honed bores, ring gaps for boost
    assert keys(sheet()) >= {
        "bottom_end_opened",
        "bearings_renewed",
        "oil_pump_checked",
        "relief_valve_new",
        "ports_vacuum_tested",
        "valves_and_seats_cut",
        "decks_faced",
        "bore_honed",
        "pistons_and_rings",
    }
    assert sheet().scope == "full"


def test_flat_decks_and_tight_ports_spare_no_work_after_a_broken_land() -> None:
    """A deck that was flat two years before the failure took its facing off the sheet."""
    good = [row | {"rebuilt_at": None} for row in readings()]
    since, before = (
        [row | {"inspected_at": at} for row in good]
        for at in (FAILED + timedelta(hours=5), FAILED - timedelta(days=700))
    )
    cut = {"valves_and_seats_cut", "decks_faced"}

    assert keys(sheet(before=since)) >= cut
    assert keys(sheet("ring_wear", before=before)) >= cut
    assert not keys(sheet("ring_wear", before=since)) & cut


def test_a_leaking_seat_alone_leaves_the_bottom_end_closed() -> None:
    head = sheet("valve_seal", ["valve | valve seal poor on the vacuum test"])
    assert head.scope == "top_end"
    assert not keys(head) & {"bottom_end_opened", "bearings_renewed", "pistons_and_rings"}
    assert keys(head) >= {"relief_valve_new", "ports_vacuum_tested", "valves_and_seats_cut"}
    assert "main_clearance" not in {line.check.key for line in head.build.lines}


def test_wiped_bearings_open_the_bottom_end_whatever_the_mode() -> None:
    opened = sheet("valve_seal", ["bearing | bearings wiped or blue"])
    assert opened.scope == "full"
    item = next(item for item in opened.items if item.key == "bottom_end_opened")
    assert item.because == ("seen: bearings wiped or blue",)


def test_a_failed_test_is_a_reason() -> None:
    worn = [row | {"inspected_at": OPENED, "rebuilt_at": None} for row in readings()]
    for row in worn:
        if row["measure"] == "bearing_clearance":
            row["value"] = 0.2
    opened = sheet("valve_seal", before=worn)
    item = next(item for item in opened.items if item.key == "bearings_renewed")
    assert item.because == ("failed: bearing clearance",)


def test_ports_that_all_passed_spare_the_valve_work_but_one_untested_port_does_not() -> None:
    before = [
        row | {"inspected_at": FAILED + timedelta(hours=5), "rebuilt_at": None}
        for row in readings()
    ]
    assert "valves_and_seats_cut" not in keys(sheet("ring_wear", before=before))
    one_short = [
        row
        for row in before
        if (row["measure"], row["cylinder"], row["port"]) != ("valve_seal_vacuum", 2, "exhaust")
    ]
    assert "valves_and_seats_cut" in keys(sheet("ring_wear", before=one_short))


def test_every_port_and_cylinder_has_its_line_with_the_makers_limits() -> None:
    lines = sheet().build.lines
    ports = {line.place for line in lines if line.check.key == "valve_vacuum"}
    assert ports == {"1 intake", "1 exhaust", "2 intake", "2 exhaust"}
    assert all("maker: book, page 7" in line.target for line in lines if line.check.is_measured)
    stages = [line.check.stage for line in lines]
    order = list(dict.fromkeys(stages))
    assert order == ["clean and look", "machine", "measure", "assemble", "first start", "break-in"]
    assert stages == sorted(stages, key=order.index)


def test_a_sheet_closes_on_good_readings_and_not_without_them() -> None:
    good = build_rows.readings(build_rows.good_rows("full", 2))
    assert can_close(sheet(built=good)) == (True, ())
    closed, obstacles = can_close(sheet())
    assert not closed
    assert len(obstacles) == len(sheet().build.lines)
    assert all("missing" in obstacle for obstacle in obstacles)


def test_the_sheet_asks_for_what_the_engine_needs_not_for_what_was_done() -> None:
    top_end = build_rows.readings(build_rows.good_rows("top_end", 2))
    closed, obstacles = can_close(sheet(built=top_end))
    assert not closed
    assert any(obstacle.startswith("Main bearing clearance") for obstacle in obstacles)
    assert can_close(sheet("valve_seal", built=top_end))[0]


def test_before_and_after_stand_side_by_side() -> None:
    before = [
        row | {"inspected_at": OPENED, "rebuilt_at": None, "value": 24.0}
        for row in readings()
        if row["measure"] == "valve_seal_vacuum"
    ]
    good = build_rows.readings(build_rows.good_rows("full", 2))
    rows = acceptance_rows(sheet(before=before, built=good), judged(before))
    row = next(row for row in rows if row[1] == "Valve-seal vacuum")
    assert row[2] == "1 intake"
    assert row[4:6] == ("24 inHg", "29.4 inHg (bore gauge)")
    assert row[6].startswith("pass: holds ")
    # where the reason is only the reading again, the verdict stands alone
    assert {row[6] for row in rows if row[1].startswith("Ring 1 end gap")} == {"pass"}
    assert row[7].startswith("R. Vane, ")


def test_an_engine_of_unknown_cylinders_cannot_be_closed() -> None:
    good = build_rows.readings(build_rows.good_rows("full", 2))
    closed, obstacles = can_close(sheet(built=good, engine=ENGINE | {"cylinders": None}))
    assert not closed
    assert any("number of cylinders is not known" in line for line in obstacles)


def test_what_was_let_go_stays_on_the_sheet_that_closes() -> None:
    rows = build_rows.good_rows("full", 2)
    at = next(n for n, row in enumerate(rows) if row["line"] == "seat_width")
    why = "The seat sits right and seals; owner told in writing."
    rows[at] |= {"value": 5.0, "waived_by": "H. Quist", "waived_because": why}
    lines = closing_lines(sheet(built=build_rows.readings(rows)), None)
    assert lines[0].startswith("Every line passed")
    assert len(lines) == 2
    assert "let go by H. Quist" in lines[1]


def test_cautions_and_break_in_are_on_every_sheet() -> None:
    of = sheet("valve_seal")
    assert any("Compressed air" in line for line in of.cautions)
    assert any("vapour" in line for line in of.cautions)
    assert any("engine on before water" in line for line in of.break_in)
    assert of.break_in_mark == "CP"


def test_the_table_speaks_only_of_findings_and_measures_that_exist() -> None:
    for key, item in default_rebuild_table()["item"].items():
        assert set(item.get("findings", ())) <= set(TABLE.findings), key
        assert {f"{m}.repeatability" for m in item.get("tests", ())} <= set(LIMITS), key
        assert item["hours"] > 0
