"""The shop's own week and actions reach the pages; a wrong entry ends the week with words."""

import shutil
from pathlib import Path

import polars as pl
import pytest
from click.testing import CliRunner

from pipelines.command_line import main
from pipelines.duckdb_warehouse import warehouse_at
from pipelines.home import Home
from ringland.words.number_words import money_text
from tests.pipelines.demo_run import DEMO_WEEK, run_week, week_table


@pytest.fixture
def home(few_loaded: Home, tmp_path: Path) -> Home:
    """A copy of the small fleet's home that a test may write in."""
    return Home(Path(shutil.copytree(few_loaded.folder, tmp_path / "home")))


def test_a_new_home_holds_a_week_file_with_nothing_in_force(few_loaded: Home) -> None:
    lines = few_loaded.week.read_text().splitlines()

    assert (
        "# [pin]                         # this hull gets this action, whatever it costs" in lines
    )
    assert [line for line in lines if line and not line.startswith("#")] == []


@pytest.fixture(scope="module")
def own(few_loaded: Home, tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A home whose week was worked out with a pin and with prices of its own."""
    home = Home(Path(shutil.copytree(few_loaded.folder, tmp_path_factory.mktemp("own") / "home")))
    home.week.write_text(f'[week.{DEMO_WEEK}.pin]\n"{pinned_hull(home)}" = "impeller_check"\n')
    home.actions.write_text(
        '[action.impeller_check]\nlabel = "Look at the impeller"\ncost = 77\nmechanic_h = 0.5\n'
        "[action.mild_calibration]\ncost = 99_999\n"
        "[action.restrict_throttle]\ncost_per_d = 99_999\n"
    )
    run_week(home)
    return home


def pinned_hull(home: Home) -> str:
    return str(warehouse_at(home.database).read_records()["hulls"]["hull_id"][4])


def test_a_pin_and_a_price_of_ones_own_reach_the_list_and_the_page(own: Home) -> None:
    hull, site = pinned_hull(own), own.site / DEMO_WEEK
    page, sheet = (site / "index.html").read_text(), (site / f"hulls/{hull}.html").read_text()

    assert f"{hull}: pinned to Look at the impeller; costs USD 80 more" in page
    assert "Look at the impeller" in sheet
    assert "USD 80" in sheet  # its price of 77, as an estimate is rounded
    assert "decided by hand" in sheet


def test_the_fuel_rules_are_priced_by_the_shops_own_actions(own: Home) -> None:
    """The fuel-rules page took the packaged prices whatever the shop's `actions.toml` said."""
    page = (own.site / DEMO_WEEK / "fuel-rules.html").read_text()

    rules = week_table(own, "fuel_rules", "outcomes")
    cost = dict(rules.group_by("rule").agg(pl.col("job_cost").max()).iter_rows())
    assert min(cost["throttle"], cost["mild"]) >= 99_999
    assert money_text(cost["throttle"], "USD") in page


def test_a_wrong_entry_ends_the_week_with_its_file_and_remedy(home: Home) -> None:
    home.week.write_text('[pin]\n"ZZ-99" = "borescope"\n')

    arguments = ["--home", str(home.folder), "week", "--as-of", DEMO_WEEK]
    run = CliRunner().invoke(main, arguments)

    assert run.exit_code == 1
    assert "week.toml: pin.ZZ-99: no hull of this name is on record" in run.output
    assert "Traceback" not in run.output
