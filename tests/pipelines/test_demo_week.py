"""The whole flow on the demo fleet: record files in, the week's pages and tables out."""

import json
import re
import shutil
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from click.testing import CliRunner

from pipelines.command_line import DEMO_PAST, main
from pipelines.duckdb_warehouse import DuckDBWarehouse, warehouse_at
from pipelines.home import Home
from pipelines.rooms.history import row_counts
from pipelines.row_accounting import rows_unaccounted, set_aside_rows
from pipelines.weekly.store import WeekKey, WeekStore
from pipelines.weeks import as_of_week
from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.exposure.exposure_spells import spells
from ringland.exposure.octane_margin import session_exposure
from ringland.fuel.session_fuel import session_fuel
from ringland.history.engine_history import piston_lives
from ringland.history.hour_meter import engine_sessions
from ringland.history.known_then import known_by
from ringland.risk.fleet_hazard import FleetFits, fit_fleet
from ringland.settings.assumptions import load_assumptions
from synthetic_data.fleet_simulator import simulate_fleet
from synthetic_data.scenario import Scenario, no_fuel_effect
from tests.pipelines.demo_run import (
    DEMO_RECORDS,
    DEMO_WEEK,
    DemoRun,
    load,
    run_week,
    the_week,
    week_table,
)

AS_OF = as_of_week(DEMO_WEEK)
ROW_FAULTS = {
    "wrong_type",
    "impossible_value",
    "unknown_hull",
    "ends_before_it_starts",
    "duplicate_row",
}


def site_bytes(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def table_rows(home: Home) -> dict[str, list[tuple[object, ...]]]:
    with warehouse_at(home.database).connect() as con:
        tables = con.sql(
            "select schema_name || '.' || table_name from duckdb_tables() order by all"
        ).fetchall()
        return {name: con.sql(f"from {name} order by all").fetchall() for (name,) in tables}


def kept_bytes(home: Home) -> dict[str, bytes]:
    """All that the weeks' folders hold."""
    return site_bytes(home.weeks)


@pytest.fixture(scope="module")
def warehouse(demo: DemoRun) -> DuckDBWarehouse:
    return warehouse_at(demo.home.database)


def test_every_row_of_the_demo_is_loaded_or_set_aside(warehouse: DuckDBWarehouse) -> None:
    files = warehouse.read("select * from shop_records.files").to_dicts()
    brought = [row for row in files if (DEMO_RECORDS / row["file_name"]).exists()]

    assert rows_unaccounted(warehouse) == []
    assert len(brought) == len(RECORD_KINDS)
    # the demo answers one job of its own list, by the command a shop has: it read a calibration
    told = [row["kind"] for row in files if row not in brought]
    assert sorted(told) == ["calibrations", "jobs_done"]
    for row in brought:
        written = (DEMO_RECORDS / row["file_name"]).read_text().count("\n") - 1
        assert written == row["rows_new"] + row["rows_already_there"] + row["rows_set_aside"]


def test_just_the_planted_row_faults_are_set_aside(warehouse: DuckDBWarehouse) -> None:
    truth = json.loads((DEMO_RECORDS / "truth.json").read_text())
    planted = [fault for fault in truth["faults"] if fault["fault"] in ROW_FAULTS]

    aside = set_aside_rows(warehouse).select("kind", "source_row").unique()

    assert len(planted) > 10
    # the truth counts data rows from 0; the user sees the header as row 1
    assert set(aside.rows()) == {(fault["kind"], fault["row"] + 2) for fault in planted}


def test_the_page_accounts_for_every_row_known_then(demo: DemoRun) -> None:
    accounting = row_counts(the_week(demo.home).value("snapshot"))

    assert (accounting["rows_in"] == accounting["loaded"] + accounting["set_aside"]).all()
    assert accounting["set_aside"].sum() > 0


def test_no_demo_hull_is_sent_to_a_dock_whose_tank_is_below_its_need(
    demo: DemoRun, warehouse: DuckDBWarehouse
) -> None:
    """A last delivery in RON and MON was passed over: eleven hulls read 'fill' unwarned.

    The dock's tank stands at about 92.4 after it: below the need of 93, above that of 91.
    """
    deliveries = warehouse.read_records()["deliveries"]
    delivered = deliveries.filter(pl.col("delivered_at") <= AS_OF, dock_id="osterfen")
    assert delivered.sort("delivered_at")["octane_aki"][-1] is None

    pages = [path.read_text() for path in sorted((demo.site / "hulls").glob("OF-*.html"))]

    warned = [page for page in pages if "Do not fill from osterfen" in page]
    need = [page for page in pages if re.search(r"93 AKI or better \(raised", page)]
    assert len(warned) >= 8
    assert warned == need


def test_loading_the_same_files_again_changes_nothing(
    few_loaded: Home, few_records: Path, tmp_path: Path
) -> None:
    home = Home(Path(shutil.copytree(few_loaded.folder, tmp_path / "home")))
    before = table_rows(home)

    load(home, few_records)

    assert table_rows(home) == before


def test_a_week_asked_for_again_makes_nothing_anew_and_stays_the_same(
    few_week: Home, tmp_path: Path
) -> None:
    home = Home(Path(shutil.copytree(few_week.folder, tmp_path / "home")))
    site, kept = site_bytes(home.site), kept_bytes(home)
    times = {path: path.stat().st_mtime_ns for path in home.weeks.rglob("*.*")}

    run_week(home)

    again = kept_bytes(home)
    assert [name for name in kept if again[name] != kept[name]] == []
    assert site_bytes(home.site) == site
    fresh = {path.name for path in times if path.stat().st_mtime_ns != times[path]}
    # what was known is looked at again; all that rests on it is left alone
    assert {name.split(".")[1] for name in fresh if name != "week.json"} == {"snapshot"}


def test_another_home_with_the_same_files_gives_the_same_bytes(
    new_home: Callable[[str], Home], few_records: Path, few_week: Home
) -> None:
    home = new_home("other")
    load(home, few_records)
    run_week(home)

    assert site_bytes(home.site) == site_bytes(few_week.site)
    assert kept_bytes(home) == kept_bytes(few_week)


def plant_later_records(folder: Path, as_of: datetime) -> None:
    """Add files of records that happened, or were written down, after `as_of`."""
    hulls = pl.read_csv(folder / "hulls.csv")["hull_id"].to_list()
    engines = pl.read_csv(folder / "engines.csv")["engine_id"].to_list()
    later = [as_of + timedelta(hours=5 * number + 1) for number in range(len(hulls))]
    text = [at.strftime("%Y-%m-%dT%H:%M:%SZ") for at in later]
    ended = [(at + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M:%SZ") for at in later]
    pl.DataFrame(
        {"hull_id": hulls, "started_at": text, "ended_at": ended, "running_h": 1.5,
         "full_throttle_share": 1.0}
    ).write_csv(folder / "sessions later.csv")  # fmt: skip
    pl.DataFrame(
        {"hull_id": hulls, "filled_at": text, "volume_l": 30.0, "source": "outside",
         "octane_aki": 70.0}
    ).write_csv(folder / "fills later.csv")  # fmt: skip
    broken = pl.DataFrame(
        {"engine_id": engines, "found_at": text[0], "mode": "ring_land_fracture",
         "how_found": "ran_to_failure", "recorded_at": None}
    )  # fmt: skip
    # found before, but written down after: not known then either
    backfilled = broken.with_columns(
        found_at=pl.lit((as_of - timedelta(days=9)).strftime("%Y-%m-%dT%H:%M:%SZ")),
        mode=pl.lit("bearing"),
        recorded_at=pl.lit(text[1]),
    )
    pl.concat([broken.cast(backfilled.schema), backfilled]).write_csv(folder / "failures later.csv")


def test_a_past_week_shows_only_what_was_known_then(
    new_home: Callable[[str], Home], few_records: Path, few_week: Home, tmp_path: Path
) -> None:
    with_later = shutil.copytree(few_records, tmp_path / "later")
    plant_later_records(with_later, AS_OF)
    planted = new_home("planted")
    load(planted, with_later)

    assert row_count(planted, "sessions") > row_count(few_week, "sessions")
    assert row_count(planted, "failures") > row_count(few_week, "failures")
    assert site_bytes(run_week(planted)) == site_bytes(few_week.site / DEMO_WEEK)


def row_count(home: Home, kind: str) -> int:
    return warehouse_at(home.database).read(f"select count(*) from shop_records.{kind}").item()


def shortfall_limits(fits: FleetFits) -> dict[str, tuple[float, float]]:
    """95 % limits of the log hazard per octane number, of Cox and of the Weibull hazard."""
    cox = fits.cox.fit
    assert cox is not None
    at = cox.names.index("shortfall_25h_on")
    error = np.sqrt(cox.robust_covariance[at, at])
    effect = next(row for row in fits.ring_land.effects(0.95) if row.name == "shortfall_25h_on")
    return {
        "Cox": (cox.coef[at] - 1.96 * error, cox.coef[at] + 1.96 * error),
        "Weibull": (float(np.log(effect.low)), float(np.log(effect.high))),
    }


def test_the_true_effect_of_octane_lies_in_its_interval(demo: DemoRun) -> None:
    truth = json.loads((DEMO_RECORDS / "truth.json").read_text())
    stretches = week_table(demo.home, "spells")

    limits = shortfall_limits(fit_fleet(stretches, load_assumptions(), np.random.default_rng(1)))

    true_effect = truth["scenario"]["ring_land"]["beta_shortfall"]
    assert true_effect > 0
    for low, high in limits.values():
        assert low < true_effect < high
        assert low > 0  # the demo fleet is large enough to tell it from none


def test_a_fleet_without_fuel_effect_shows_none() -> None:
    assumptions = load_assumptions()
    records = known_by(
        simulate_fleet(no_fuel_effect(Scenario(with_faults=False)), 20260817).records, AS_OF
    )
    sessions, _ = engine_sessions(records, assumptions)
    fuel = session_fuel(records, sessions, assumptions, AS_OF)
    exposure = session_exposure(fuel.sessions, sessions, assumptions)
    stretches = spells(exposure, piston_lives(records, sessions, AS_OF), assumptions)

    limits = shortfall_limits(fit_fleet(stretches, assumptions, np.random.default_rng(1)))

    for low, high in limits.values():
        assert low < 0 < high


def test_the_list_is_printed_with_where_the_report_is(demo: DemoRun) -> None:
    assert f"Report: {demo.site / 'index.html'}" in demo.printed.replace("\n", "")
    assert "Week of 2026-08-17" in demo.printed
    assert "rows were set aside" in demo.printed
    assert "never clearance to run" in demo.printed
    in_service = week_table(demo.home, "week_decisions", "calls")["hull_id"]
    assert in_service.len() > 40
    assert [hull for hull in in_service if hull not in demo.printed] == []


def test_the_demos_proof_stands_on_its_own_tables(demo: DemoRun) -> None:
    rules = week_table(demo.home, "fuel_rules", "outcomes")
    docks = week_table(demo.home, "dock_comparison")
    lives = week_table(demo.home, "piston_lives")
    page = (demo.site / "fuel-rules.html").read_text()
    behind = pl.read_csv(demo.site / "tables" / "piston_sets_behind.csv")

    assert rules["rule"].n_unique() == 7
    assert set(docks["dock_id"]) <= set(rules["dock_id"])
    for dock in docks["dock_id"]:
        assert dock in page
    assert behind.height == lives.height
    failed = behind.filter(pl.col("how it stands") == "failed")
    # every failure leads back to its row: that row of the demo's file names its engine
    lines = (DEMO_RECORDS / "failures.csv").read_text().splitlines()
    assert failed["row of the failure (row number)"].null_count() == 0
    for engine, row in failed.select("engine", "row of the failure (row number)").iter_rows():
        assert lines[row - 1].startswith(f"{engine},")


def test_every_page_says_the_records_are_invented(demo: DemoRun) -> None:
    pages = sorted(demo.site.rglob("*.html"))

    assert len(pages) > 40
    assert [page for page in pages if "Invented demo data" not in page.read_text()] == []


def test_the_demo_has_advice_that_is_scored_and_changes_to_tell(demo: DemoRun) -> None:
    """A newcomer found *Was it right?* and *What changed* empty."""
    score = (demo.site / "score.html").read_text()
    page = (demo.site / "index.html").read_text()
    made = [WeekStore(demo.home.weeks).listed(WeekKey(key)).made for key in DEMO_PAST]

    assert "followed by a failure within 30 days" in score
    assert "since the list given out on Mon 10 Aug 2026" in page
    assert "(worked out afterwards" not in page  # the last of them counts as given out
    assert [one.is_given_out for one in made] == [False, False, True]


def test_a_backfill_that_begins_too_late_says_so(new_home: Callable[[str], Home]) -> None:
    home = new_home("late")
    arguments = ["backfill", "--since", "2026-07-06", "--as-of", "2026-07-06"]
    run = CliRunner().invoke(main, ["--home", str(home.folder), *arguments])

    assert run.exit_code == 2
    assert "before the week of 2026-07-06" in run.output
