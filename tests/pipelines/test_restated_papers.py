"""A week that was restated: pages, papers, exports and backup each speak of the one asked for."""

import csv
import io
import re
import shutil
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import pytest
from click.testing import CliRunner, Result

from pipelines import command_line
from pipelines.command_line import main
from pipelines.home import Home
from pipelines.weekly.store import WeekKey
from tests.pipelines.demo_run import run_week, week_table
from tests.pipelines.tiny_shop import WEEKS

LATER = datetime(2026, 7, 27, 8, 30, tzinfo=UTC)
SAID = "Restated: worked out with what was known on Mon 27 Jul 2026, 08:30 UTC."
WEEK = WEEKS[-1]


class Restated(NamedTuple):
    home: Home
    hull: str
    printed: str


def run(home: Path, *arguments: str) -> Result:
    done = CliRunner().invoke(main, ["--home", str(home), *arguments], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done


@pytest.fixture(scope="module")
def restated(tiny_loaded: Home, tmp_path_factory: pytest.TempPathFactory) -> Restated:
    """A small shop's week, then a failure that came to light three weeks late."""
    folder = tmp_path_factory.mktemp("restated")
    home = Home(Path(shutil.copytree(tiny_loaded.folder, folder / "home")))
    run_week(home, WEEK)
    (folder / "failures late.csv").write_text(
        "engine_id,found_at,mode,how_found,recorded_at\n"
        "E1,2026-07-04T10:00:00Z,ring_land_fracture,teardown,2026-07-24T10:00:00Z\n"
    )
    with pytest.MonkeyPatch.context() as clock:
        clock.setattr(command_line, "_now", lambda: LATER)
        run(home.folder, "load", str(folder / "failures late.csv"))
        printed = run(home.folder, "week", "--as-of", WEEK, "--restate").output
    return Restated(home, "A1", printed)


def verdict(page: str) -> str:
    found = re.search(r'<section class="verdict.*?</section>', page, re.DOTALL)
    assert found is not None
    return found[0]


def call_in_list(table: str, hull: str) -> str:
    (row,) = [row for row in csv.DictReader(io.StringIO(table)) if row["hull"] == hull]
    return " ".join(row.values())


def test_a_paper_says_what_the_page_of_the_same_week_says(restated: Restated) -> None:
    """A restated week rewrote the week's own papers: the page said to rent, the paper to keep
    off, and nothing on the paper said that it was restated."""
    home, hull, _ = restated
    keys = {False: WeekKey(WEEK), True: WeekKey(WEEK, LATER)}
    said = {}
    for is_restated, key in keys.items():
        option = ["--restated"] if is_restated else []
        asked = ["customer-copy", hull, "--as-of", WEEK, *option]
        paper = Path(run(home.folder, *asked).output.strip())
        page = (home.site / key.name / "hulls" / f"{hull}.html").read_text()

        assert paper.parent.name == key.name
        assert verdict(paper.read_text()) == verdict(page)
        assert (SAID in paper.read_text()) == (SAID in page) == is_restated
        said[is_restated] = verdict(page)
    assert "Ring-land fracture found on Sat 4 Jul 2026" in said[True]
    assert "Ring-land fracture" not in said[False]


def test_the_sheet_to_print_says_that_it_is_restated(restated: Restated) -> None:
    home, hull, _ = restated
    option = ["--as-of", WEEK, "--restated"]
    sheet = Path(run(home.folder, "hull-sheet", hull, *option).output.strip())

    assert sheet.parent.name == WeekKey(WEEK, LATER).name


def test_terminal_and_exports_tell_the_week_they_are_of(restated: Restated) -> None:
    home, hull, printed = restated
    lists = {
        key.name: (home.site / key.name / "tables" / "hulls.csv").read_text()
        for key in (WeekKey(WEEK), WeekKey(WEEK, LATER))
    }

    known, told = (call_in_list(table, hull) for table in lists.values())
    assert "restated with what was known on 2026-07-27 08:30 UTC" in printed
    assert f"{WEEK}T00:00:00Z {WEEK}T00:00:00Z" in known  # as of, told by
    assert f"{WEEK}T00:00:00Z 2026-07-27T08:30:00Z" in told


def test_a_backup_holds_both_weeks_as_they_were(restated: Restated, tmp_path: Path) -> None:
    home, _, _ = restated
    run(home.folder, "backup", str(tmp_path / "b.zip"))

    with zipfile.ZipFile(tmp_path / "b.zip") as backup:
        for key in (WeekKey(WEEK), WeekKey(WEEK, LATER)):
            for path in (home.weeks / key.name).iterdir():
                held = backup.read(path.relative_to(home.folder).as_posix())
                assert held == path.read_bytes(), path


def test_a_restated_week_is_not_what_was_said(restated: Restated) -> None:
    home, hull, _ = restated
    said, told = (
        week_table(home, "week_tables", "chances", key).filter(hull_id=hull)["piston_set_id"].item()
        for key in (WeekKey(WEEK), WeekKey(WEEK, LATER))
    )

    assert (said, told) == ("P1", None)
