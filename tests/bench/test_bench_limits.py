"""A shop's own limits of the bench tests, laid over the project's."""

import tomllib
from pathlib import Path

import pytest

from pipelines.home import Home
from pipelines.weekly.givens import givens_of
from pipelines.weekly.store import WeekKey
from ringland.bench.bench_limits import default_bench_limits, load_bench_limits
from ringland.bench.bench_tests import judge_bench_tests
from ringland.settings.assumptions import AssumptionError, assumptions_text, read_assumptions
from tests.bench.test_bench_tests import ENGINES, cylinders, inspections, station

STRICTER = (
    '[leak_down]\nweak_from = {{ value = {}, unit = "{}", mark = "A", source = "our book" }}\n'
)


def written(folder: Path, text: str) -> Path:
    path = folder / "bench_limits.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_limit_in_the_homes_file_judges_the_weeks_tests(tmp_path: Path) -> None:
    """A shop's own limits file in the home was ignored."""
    frame = inspections(*cylinders("leak_down", "%", [6.0, 6.5]))
    key = WeekKey.of("2026-07-06")
    usual = givens_of(Home(tmp_path), key)["bench_limits"]()
    written(tmp_path, STRICTER.format(5, "%"))

    own = givens_of(Home(tmp_path), key)["bench_limits"]()

    by_project, by_shop = (
        judge_bench_tests(frame, ENGINES, station(frame), limits[0])["verdict"].to_list()
        for limits in (usual, own)
    )
    assert (by_project, by_shop) == (["pass"] * 2, ["fail"] * 2)
    assert usual[1] != own[1], "the week's tests must be judged anew"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (STRICTER.format(5, "share"), "leak_down.weak_from is in 'share'; write it in '%'"),
        (STRICTER.format(-5, "%"), "leak_down.weak_from is -5 %; give a number from 0 to 100."),
        (STRICTER.format("inf", "%"), "give a number"),
        (STRICTER.format('"five"', "%"), "give a number"),
        (STRICTER.format(5, "%").replace("weak_from", "week_from"), "'leak_down.weak_from'"),
        ("weak_from = 5\n", "put it under its [group]"),
        ("[leak_down\n", "not valid TOML"),
        ("[leak_down]\nweak_from = 5\n", "must have exactly"),
    ],
)
def test_a_bad_limit_is_refused_with_file_entry_and_remedy(
    tmp_path: Path, text: str, said: str
) -> None:
    path = written(tmp_path, text)
    with pytest.raises(AssumptionError) as refused:
        load_bench_limits(path)
    assert str(path) in str(refused.value)
    assert said in str(refused.value)


def test_limits_in_force_are_written_as_a_file_that_reads_back() -> None:
    limits = default_bench_limits()
    text = assumptions_text(limits)
    assert dict(read_assumptions("as used", text)) == dict(limits)
    assert tomllib.loads(text)["leak_down"]["weak_from"]["value"] == 10.0
