"""That the suite's weeks can be worked out by workers: what goes along, and what can reach one."""

from pathlib import Path
from typing import Any

import pytest

from tests import on_a_cluster
from tests.on_a_cluster import make, plant

TESTS = Path(__file__).parents[2]
KNOW_THE_SHELL = {
    "bench/test_bench_limits.py",  # a home's limits as a week is given them
    "decision/test_one_valuing.py",  # the text of its modules
    "test_house_rules.py",
    "test_reached_names.py",
}
"""Tests outside tests/pipelines, studies and benchmarks that name the shell."""


def _breaks(*_: Any) -> None:
    raise ZeroDivisionError("planted")


def test_a_planted_fault_goes_along_with_the_step_and_not_beyond_the_test() -> None:
    name = "pipelines.rooms.risk.fit_fleet"
    with pytest.MonkeyPatch.context() as patched:
        plant(patched, name, _breaks)
        told = on_a_cluster.PLANTED

    assert told == [(name, _breaks)]
    assert on_a_cluster.PLANTED == []


def test_a_worker_makes_a_step_with_the_fault_in_place() -> None:
    name = "pipelines.rooms.risk.fit_fleet"
    inputs = {"spells": None, "assumptions": None, "shared_effects": None}

    with pytest.raises(ZeroDivisionError, match="planted"):
        make(("fleet_fits", inputs, [(name, _breaks)]))


def test_buckets_are_run_by_the_commands_of_a_network_alone() -> None:
    """So the port is reached by their tests and no other (`KNOW_THE_SHELL` beside them)."""
    shell = TESTS.parent / "pipelines"
    users = {
        path.relative_to(shell).as_posix()
        for path in shell.rglob("*.py")
        if "pipelines.network" in path.read_text(encoding="utf-8")
    }
    assert {name for name in users if not name.startswith("network/")} == {"command_line.py"}


def test_no_other_test_can_reach_a_step() -> None:
    """The library knows no shell (import-linter), so who does not name it works nothing out by it.

    A run of tests/pipelines and of these files with RINGLAND_TESTS_ON is the whole suite's.
    """
    found = {
        path.relative_to(TESTS).as_posix()
        for path in TESTS.rglob("test_*.py")
        if "pipelines" in path.read_text(encoding="utf-8")
    }
    apart = ("pipelines/", "studies/", "benchmarks/")
    assert {name for name in found if not name.startswith(apart)} == KNOW_THE_SHELL
