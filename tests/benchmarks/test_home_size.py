"""How a home grows over twelve weekly runs of the demo, and what `ringland retention` leaves.

Run with `pytest -m benchmark tests/benchmarks/test_home_size.py -s`; it takes many minutes.  The
limits are the owner's: after the first week at most 2.5 MB of tables and 6 MB of pages a week,
all counted, and twelve weeks under 60 MB once pruned, every list given out still whole.
"""

from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipelines import command_line
from pipelines.command_line import main
from pipelines.home import Home
from pipelines.week_site import site_of
from pipelines.weekly.store import WeekKey, WeekStore
from tests.pipelines.demo_run import DEMO_RECORDS

WEEKS = [date(2026, 6, 1) + timedelta(weeks=number) for number in range(12)]

pytestmark = pytest.mark.benchmark


def run(home: Home, *arguments: str, at: date) -> str:
    """A command given on the morning of a day; what it printed."""
    with pytest.MonkeyPatch.context() as clock:
        clock.setattr(command_line, "_now", lambda: datetime.fromisoformat(f"{at}T08:00:00Z"))
        done = CliRunner().invoke(main, ["--home", str(home.folder), *arguments])
    assert done.exit_code == 0, done.output
    return done.output


def megabytes(*folders: Path, pages: bool | None = None) -> float:
    """Size of all files; `pages`: of the packed pages alone, or of all but these."""
    files = (path for folder in folders for path in folder.rglob("*") if path.is_file())
    return sum(p.stat().st_size for p in files if pages in (None, p.name.endswith(".zip.xz"))) / 1e6


def test_twelve_weeks_stay_small_and_whole(tmp_path: Path) -> None:
    home = Home(tmp_path / "home").prepare()
    run(home, "load", str(DEMO_RECORDS), at=WEEKS[0])
    grown = []
    for monday in WEEKS:
        run(home, "week", at=monday)
        tables = megabytes(home.weeks, pages=False)
        pages = megabytes(home.weeks, pages=True) + megabytes(home.site)
        grown.append((tables, pages, megabytes(home.folder)))
        print(f"{monday}: tables {tables:.1f}, pages {pages:.1f}, home {grown[-1][2]:.1f} MB")
    said = {monday: site_of(home, WeekKey(str(monday))) for monday in WEEKS}

    run(home, "retention", at=WEEKS[-1])

    left = megabytes(home.folder)
    print(f"after retention {left:.1f} MB")
    after_first = len(WEEKS) - 1
    assert (grown[-1][0] - grown[0][0]) / after_first <= 2.5
    assert (grown[-1][1] - grown[0][1]) / after_first <= 6
    assert left < 60
    for monday, site in said.items():
        key = WeekKey(str(monday))
        assert WeekStore(home.weeks).listed(key).made.is_given_out
        assert site_of(home, key) == site
