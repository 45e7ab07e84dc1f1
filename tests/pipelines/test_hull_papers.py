"""Papers of single hulls on demand, and the shop's page settings, by the command line."""

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from pipelines.command_line import main
from pipelines.home import Home
from ringland.words.manner import DEFAULT_MANNER
from tests.pipelines.demo_run import DEMO_WEEK, DemoRun


def run(home: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["--home", str(home), *arguments], catch_exceptions=False)


def hulls_of(demo: DemoRun) -> list[str]:
    return sorted(path.stem for path in (demo.site / "hulls").glob("*.html"))


def told(page: str) -> str:
    """The page's own text and data, without its style and the drawing library."""
    return re.sub(r"<(style|script)>.*?</\1>", "", page, flags=re.DOTALL)


@pytest.fixture
def home(demo: DemoRun, tmp_path: Path) -> Path:
    """A copy of the demo's home that may be changed."""
    return Path(shutil.copytree(demo.home.folder, tmp_path / "home"))


def test_a_customers_copy_names_one_hull_of_the_demo_alone(demo: DemoRun, home: Path) -> None:
    own, *others = hulls_of(demo)
    done = run(home, "customer-copy", own)
    file = Path(done.output.strip())
    page = file.read_text(encoding="utf-8")

    assert done.exit_code == 0
    assert file == Home(home).papers / DEMO_WEEK / f"{own}.html"
    assert own in page
    for other in others:
        assert other not in page
    engines = set(re.findall(r"\bE-\d{4}\b", told(page)))
    assert len(engines) <= 1


def test_a_copy_says_what_the_weeks_page_says(demo: DemoRun, home: Path) -> None:
    own = hulls_of(demo)[0]
    done = run(home, "customer-copy", own, "--as-of", DEMO_WEEK)
    copy = told(Path(done.output.strip()).read_text(encoding="utf-8"))
    page = (demo.site / "hulls" / f"{own}.html").read_text(encoding="utf-8")
    verdict = re.search(r'<section class="verdict.*?</section>', page, re.DOTALL)

    assert verdict is not None
    assert verdict[0] in copy


def test_a_sheet_is_written_for_each_hull_named(demo: DemoRun, home: Path) -> None:
    two = hulls_of(demo)[:2]
    files = [Path(line) for line in run(home, "hull-sheet", *two).output.splitlines()]

    assert [file.name for file in files] == [f"{hull}.pdf" for hull in two]
    assert all(file.read_bytes().startswith(b"%PDF") for file in files)


def test_a_hull_that_is_not_there_and_a_week_not_worked_out_are_said(home: Path) -> None:
    unknown = run(home, "customer-copy", "ZZ-99")
    early = run(home, "hull-sheet", "ZZ-99", "--as-of", "2020-01-06")

    assert unknown.exit_code == early.exit_code == 1
    assert "No hull 'ZZ-99'" in unknown.output
    assert "Did you mean" in unknown.output
    assert "ringland week --as-of 2020-01-06" in early.output


def test_a_new_home_holds_the_commented_settings_and_keeps_what_is_changed(tmp_path: Path) -> None:
    home = Home(tmp_path / "shop").prepare()
    assert home.manner() == DEFAULT_MANNER
    home.page_settings.write_text('units = "us"\n', encoding="utf-8")

    assert home.prepare().manner().units == "us"


def test_a_wrong_setting_is_told_before_a_week_is_worked_out(home: Path) -> None:
    Home(home).page_settings.write_text('units = "feet"\n', encoding="utf-8")
    done = run(home, "week", "--as-of", DEMO_WEEK)

    assert done.exit_code == 1
    assert 'pages.toml: units is "feet"; use one of "metric", "us".' in done.output
